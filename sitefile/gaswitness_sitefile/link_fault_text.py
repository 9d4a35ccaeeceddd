"""How a link fault is written, on one line: its kind and values, then whom it meets and how long.

    late 0.2..1.5 s, 5 %, unit 1
    exception 0B, function 03, for 30 s
    flipped 2 bits, connection 1, 10 times

Text to records and back; nothing is done to a link here.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from gaswitness_sitefile.link_fault import (
    KINDS,
    NAMES,
    OF_CONNECTIONS,
    SECONDS,
    Delay,
    FaultKind,
    Lasting,
    LinkFault,
    Scope,
    summary,
    values_of,
)
from gaswitness_sitefile.problems import one_of

_NUMBER = r"0[xX][0-9A-Fa-f]+|0[0-9A-Fa-f](?![0-9A-Za-z.])|[0-9]+(?:\.[0-9]+)?"
_QUANTITY = re.compile(
    rf"(?P<about>about\s+)?(?P<low>{_NUMBER})(?:\s*\.\.\s*(?P<high>{_NUMBER}))?"
    r"(?:\s*(?P<unit>ms|milliseconds?|s|seconds?|bits?|bytes?|pieces?|registers?|connections?))?"
    r"(?=\s|$)",
    re.IGNORECASE,
)
_WORD = re.compile(r"\S+")
_UNITS: Final = {
    "second": "s",
    "seconds": "s",
    "millisecond": "ms",
    "milliseconds": "ms",
    "bit": "bits",
    "byte": "bytes",
    "piece": "pieces",
    "register": "registers",
    "connection": "connections",
}
_TIMES: Final = (SECONDS, None)
HEAVY_TAIL: Final = 100.0
"""A heavy-tailed delay written without its longest is never longer than so many medians."""

LONGEST_S: Final = 86_400.0

NOTATION: Final = (
    "KIND VALUES, then any of: unit N, connection N, function N, P %, for T s, N times, every Nth"
)
EXAMPLE: Final = "late 0.2..1.5 s, 5 %, unit 1"


@dataclass(frozen=True, slots=True)
class _Quantity:
    low: float
    high: float
    unit: str
    about: bool
    written: str
    ranged: bool


def parse_link_fault(text: str) -> LinkFault:
    """Read a link fault. Raises ValueError that says what was found and what to write."""
    head, *clauses = (part.strip() for part in text.split(","))
    if not head:
        raise ValueError(f"a link fault begins with its kind: {one_of('', KINDS, most=99)}")
    kind, rest = _kind(head)
    fault = LinkFault(_valued(kind, rest), *_clauses(kind, clauses))
    _check_meets(fault)
    return fault


def parse_link_fault_kind(written: str) -> type[FaultKind]:
    """The kind of this name. Raises ValueError that lists all kinds."""
    kind, rest = _kind(written.strip())
    if rest:
        raise ValueError(f"{written!r} is more than a kind of link fault: write its name alone")
    return kind


def _kind(head: str) -> tuple[type[FaultKind], str]:
    words = head.split()
    for count in (2, 1):
        name = "-".join(words[:count]).lower().replace("_", "-")
        if name in KINDS:
            return KINDS[name], " ".join(words[count:])
    word = words[0] if words else ""
    raise ValueError(f"{word!r} is no kind of link fault: {one_of(word, KINDS, most=99)}")


def _valued(kind: type[FaultKind], written: str) -> FaultKind:
    """The kind with its values: quantities by their units, words by what may be chosen."""
    open_values = dict(values_of(kind))
    given: dict[str, Any] = {}
    at = 0
    while at < len(written):
        found = _QUANTITY.match(written, at)
        if found is not None:
            quantity = _quantity(found)
            name = _fitting(open_values, quantity.unit)
            if name is not None:
                given[name] = _taken(kind, name, quantity)
        else:
            found = _WORD.match(written, at)
            assert found is not None
            name = _choosing(open_values, found[0].lower())
            given |= {} if name is None else {name: found[0].lower()}
        if name is None:
            raise ValueError(
                f"{kind_name(kind)} does not take {found[0].strip()!r}: write {form(kind)}"
            )
        del open_values[name]
        at = found.end()
        at += len(written[at:]) - len(written[at:].lstrip())
    return kind(**given)


def _quantity(found: re.Match[str]) -> _Quantity:
    unit = (found["unit"] or "").lower()
    unit = _UNITS.get(unit, unit)
    low = _number(found["low"])
    high = low if found["high"] is None else _number(found["high"])
    if unit == "ms":
        low, high, unit = low / 1000, high / 1000, SECONDS
    ranged = found["high"] is not None
    return _Quantity(low, high, unit, bool(found["about"]), found[0].strip(), ranged)


def _number(written: str) -> float:
    if re.fullmatch(r"0[xX][0-9A-Fa-f]+|0[0-9A-Fa-f]", written):
        return int(written, 16)
    return float(written)


def _fitting(values: Mapping[str, Mapping[str, Any]], unit: str) -> str | None:
    """The value of this unit; a number alone means the first one that is no time."""
    for name, facts in values.items():
        if facts.get("unit") == unit or (not unit and facts.get("unit") not in _TIMES):
            return name
    return None


def _choosing(values: Mapping[str, Mapping[str, Any]], word: str) -> str | None:
    return next((n for n, facts in values.items() if word in facts.get("words", ())), None)


def _taken(kind: type[FaultKind], name: str, quantity: _Quantity) -> int | Delay:
    facts = values_of(kind)[name]
    if facts["unit"] == SECONDS:
        return _delay(kind, quantity)
    least, most = facts["least"], facts["most"]
    if quantity.ranged or quantity.about or quantity.low != int(quantity.low):
        raise ValueError(f"{kind_name(kind)}: {quantity.written!r} is not one whole number")
    if not least <= quantity.low <= most:
        raise ValueError(
            f"{kind_name(kind)}: {quantity.written!r} is out of bounds: write {least:g} to {most:g}"
        )
    return int(quantity.low)


def _delay(kind: type[FaultKind], quantity: _Quantity) -> Delay:
    low_s, high_s = quantity.low, quantity.high
    if quantity.about and not quantity.ranged:
        high_s = min(HEAVY_TAIL * low_s, LONGEST_S)
    spread = kind in (KINDS["late"], KINDS["bytewise"], KINDS["split"], KINDS["twice"])
    if (quantity.about or quantity.ranged) and not spread:
        raise ValueError(f"{kind_name(kind)} takes one time, not {quantity.written!r}")
    if low_s > high_s or high_s > LONGEST_S or (quantity.about and low_s == 0):
        raise ValueError(
            f"{kind_name(kind)}: {quantity.written!r} is no delay: write the shorter first, at "
            "most "
            f"{LONGEST_S:g} s, 'about' something above 0"
        )
    return Delay(low_s, high_s, quantity.about)


def _clauses(kind: type[FaultKind], written: list[str]) -> tuple[Scope, Lasting]:
    scope: dict[str, Any] = {}
    lasting: dict[str, Any] = {}
    for clause in written:
        name, value, into = _clause(clause, scope, lasting)
        if name in into:
            raise ValueError(f"{kind_name(kind)}: {clause!r} comes twice: write one of them")
        into[name] = value
    return Scope(**scope), Lasting(**lasting)


def _clause(
    clause: str, scope: dict[str, Any], lasting: dict[str, Any]
) -> tuple[str, float | int, dict[str, Any]]:
    number = rf"({_NUMBER})"
    forms: tuple[tuple[str, str, dict[str, Any], Callable[[str], float | int]], ...] = (
        (rf"unit {number}", "unit", scope, _up_to(255)),
        (rf"connection {number}", "connection", scope, _from_1),
        (rf"function {number}", "function", scope, _up_to(255)),
        (rf"{number} ?(?:%|percent)", "percent", lasting, _percent),
        (rf"for {number} ?(?:s|seconds?)", "for_s", lasting, _above_0),
        (rf"{number} times?", "times", lasting, _from_1),
        (rf"every {number}(?:st|nd|rd|th)?", "every", lasting, _from_1),
    )
    plain = " ".join(clause.split()).lower()
    for form_, name, into, read in forms:
        found = re.fullmatch(form_, plain, re.IGNORECASE)
        if found is not None:
            try:
                return name, read(found[1]), into
            except ValueError as error:
                raise ValueError(f"{clause!r}: {error}") from error
    raise ValueError(f"{clause!r} says neither whom nor how long: write {NOTATION}")


def _whole(written: str) -> int:
    found = _number(written)
    if found != int(found):
        raise ValueError("write a whole number")
    return int(found)


def _up_to(most: int) -> Callable[[str], int]:
    def read(written: str) -> int:
        found = _whole(written)
        if found > most:
            raise ValueError(f"write a number from 0 to {most}")
        return found

    return read


def _from_1(written: str) -> int:
    found = _whole(written)
    if found < 1:
        raise ValueError("write 1 or more")
    return found


def _above_0(written: str) -> float:
    found = float(_number(written))
    if found <= 0:
        raise ValueError("write more than 0")
    return found


def _percent(written: str) -> float:
    found = float(_number(written))
    if not 0 < found <= 100:
        raise ValueError("write more than 0 and at most 100 %")
    return found


def _check_meets(fault: LinkFault) -> None:
    if not isinstance(fault.kind, OF_CONNECTIONS):
        return
    if fault.scope != Scope() or fault.lasting != Lasting(for_s=fault.lasting.for_s):
        raise ValueError(
            f"{kind_name(type(fault.kind))} is about connections as such: only 'for T s' may follow"
        )


def kind_name(kind: type[FaultKind]) -> str:
    """The kind's name, as it is written."""
    return NAMES[kind]


def form(kind: type[FaultKind]) -> str:
    """How the kind is written, with its values: those in brackets may be left out."""
    parts = [kind_name(kind)]
    for facts in values_of(kind).values():
        if "words" in facts:
            parts.append(f"[{'|'.join(word for word in facts['words'] if word)}]")
        elif facts["unit"] == SECONDS:
            parts.append("[T s]")
        else:
            parts.append(f"[N {facts['unit']}]" if facts["unit"] else "[N]")
    return " ".join(parts)


def all_forms() -> list[tuple[str, str]]:
    """Every kind as it is written, and what it does, in a sentence."""
    return [(form(kind), summary(kind)) for kind in KINDS.values()]


def written_fault(fault: LinkFault) -> str:
    """The fault in the notation; reads back as itself."""
    scope, lasting = fault.scope, fault.lasting
    parts = [_written_kind(fault)]
    parts += [
        f"{name} {number}"
        for name, number in (("unit", scope.unit), ("connection", scope.connection))
        if number is not None
    ]
    parts += [] if scope.function is None else [f"function {_code(scope.function)}"]
    parts += [] if lasting.percent == 100 else [f"{lasting.percent:.10g} %"]
    parts += [] if lasting.every == 1 else [f"every {lasting.every}"]
    parts += [] if lasting.times is None else [f"{lasting.times} times"]
    parts += [] if lasting.for_s is None else [f"for {lasting.for_s:.10g} s"]
    return ", ".join(parts)


def _written_kind(fault: LinkFault) -> str:
    parts = [fault.name]
    for one in fields(fault.kind):
        value, unit = getattr(fault.kind, one.name), one.metadata.get("unit")
        if value is None or value == "":
            continue
        if isinstance(value, int) and not unit:
            coded = one.name in ("code", "function")
            parts.append(_code(value) if coded else str(value))
        else:
            counted = unit[:-1] if value == 1 and unit else unit
            parts.append(f"{value} {counted}" if isinstance(value, int) else str(value))
    return " ".join(parts)


def _code(number: int) -> str:
    """As the protocol prints it: two hexadecimal digits."""
    return f"0x{number:02X}" if number > 15 else f"{number:02X}"
