"""From the addresses that people write to PDU addresses: the one place where notations meet."""

import re
from typing import Any, Final

from gaswitness_sitefile.points import FIRST_REFERENCE, Notation, Table
from gaswitness_sitefile.problems import an

LAST_ADDRESS: Final = 0xFFFF
_HEX: Final = re.compile(r"0[xX][0-9a-fA-F]{1,8}$")
_DIGITS: Final = re.compile(r"[0-9]{1,10}$")


def pdu_address(written: Any, table: Table | None, notation: Notation) -> int:
    """The PDU address, 0..65535, of `written`: a number, or text such as "0x006B" or "00001".

    `table` is None where the file's is unknown; a reference's first digit is then not checked.
    Raises ValueError, `what: remedy`. Sources: V1.1b3 clause 4.4 for `one-based`; references of
    five or six digits are a convention, common practice, no source.
    """
    if notation is Notation.REFERENCE:
        return _from_reference(written, table)
    number = _number(written)
    first = 0 if notation is Notation.PDU else 1
    if not first <= number <= LAST_ADDRESS + first:
        raise ValueError(
            f"address {written} is outside {first}..{LAST_ADDRESS + first}: "
            f"write the {notation} address{_hint(number, notation)}"
        )
    return number - first


def _hint(number: int, notation: Notation) -> str:
    if number >= 100_001:
        return ", or set map.notation to reference"
    return ", which begins at 1, or set map.notation to pdu" if notation is not Notation.PDU else ""


def _number(written: Any) -> int:
    if isinstance(written, bool) or not isinstance(written, int | float | str):
        raise ValueError("address has no number: write a whole number, such as 107 or 0x006B")
    text = str(written).strip()
    if isinstance(written, float) and written.is_integer() and abs(written) < 1e9:
        return int(written)
    if _HEX.match(text):
        return int(text, 16)
    if _DIGITS.match(text.removeprefix("+").removeprefix("-")):
        return int(text)
    raise ValueError(
        f"address must be a whole number, found {text[:40]!r}: write for example 107 or 0x006B"
    )


def _from_reference(written: Any, table: Table | None) -> int:
    number = _number(written)
    text = str(written).strip()
    if _HEX.match(text):
        raise ValueError(
            f"address {text} is hexadecimal, but references are decimal: write for example 400108, "
            "or set map.notation to pdu"
        )
    digits = text if _DIGITS.match(text) and len(text) > 4 else f"{number:05d}"
    if number < 0 or len(digits) not in (5, 6):
        raise ValueError(
            f"address {text} is not a reference of five or six digits: write for example "
            f"{_example(table)}, or set map.notation to pdu or one-based"
        )
    head, element = int(digits[0]), int(digits[1:])
    if table is not None and head != FIRST_REFERENCE[table]:
        meant = next((t.value for t, first in FIRST_REFERENCE.items() if first == head), None)
        is_one = f"names {an(meant)}" if meant else f"begins with {head}, which names no table"
        raise ValueError(
            f"address {digits} {is_one}, but the table is {table.value}: write a reference such as "
            f"{_example(table)}, or correct the table"
        )
    if not 1 <= element <= LAST_ADDRESS + 1:
        raise ValueError(
            f"address {digits} is outside its table, which begins at {_example(table)} and ends at "
            f"{FIRST_REFERENCE[table or Table.HOLDING]}65536: correct it"
        )
    return element - 1


def _example(table: Table | None) -> str:
    return f"{FIRST_REFERENCE[table or Table.HOLDING]}00001"
