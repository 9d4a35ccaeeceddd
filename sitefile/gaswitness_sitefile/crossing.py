r"""The matrix as people draw it, one row a cause and one column an effect, and its notation.

The corner says what the table is, and may say the response time of all cells without their own:

    cause \ effect, within 4s   |  K1   |  V1              |  F1          |  # remarks
    AT-101.A1                   |       |                  |  X off 30s   |
    AT-101.A2                   |  X    |  L 10s within 5s |              |  both shifts
    AT-102.fault                |       |  X 10s early 2s note 1 |        |
    note 1                      |  A blind detector shuts the gas off

A cell says how its effect follows the cause; empty, `-` and `.` mean no cell. Columns whose heading
begins with `#` are remarks. The general idea, causes down and effects across with the way of acting
at the crossing, is that of IEC 62881; the marks are our own.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from gaswitness_sitefile.columns import RawRecord
from gaswitness_sitefile.complaints import decimal_comma
from gaswitness_sitefile.matrix import Cell, parse_cause
from gaswitness_sitefile.problems import Loc, Place, Problem
from gaswitness_sitefile.tables import CellValue, Row, Table

ACTS: Final = "X"
LATCHES: Final = "L"
NO_CELL: Final = ("-", ".")
REMARK: Final = "#"

LEGEND: Final = (
    ("X", "the effect acts while its cause stands"),
    ("L", "the effect acts and latches: it stays until a reset that comes when the cause is gone"),
    ("10s", "on-delay: the cause must stand for so long without a break (s, min or h)"),
    ("off 30s", "off-delay: the effect stays for so long after the cause has gone"),
    ("within 4s", "the response allowed, from the end of the on-delay to the effect"),
    ("early 2s", "how much before the end of the on-delay it may come; else a tenth of the delay"),
    ("note 1", "see the row `note 1` below the causes"),
    ("2oo3(a, b, c)", "as a cause: a vote, true while at least 2 of the 3 are"),
    ("AND, OR, NOT", "as a cause: joined causes; AND binds before OR"),
    ("", "an empty cell, - or .: this cause does not drive this effect"),
    ("#", "a column or row that begins so is a remark and counts for nothing"),
)
"""The notation in words, mark by mark."""

_CORNER: Final = re.compile(r"cause\s*[\\/|x\u00d7]\s*effect\b(?P<rest>.*)", re.I | re.S)
_NOTE_ROW: Final = re.compile(r"note\s*([0-9]{1,4})\.?", re.I)
_PART: Final = re.compile(
    r"[\s,;]*(?:(?P<word>[a-z]+)\s*)?(?P<number>[0-9]+(?:\.[0-9]+)?)\s*(?P<unit>[a-z]*)", re.I
)
_UNITS: Final = {"s": Decimal(1), "min": Decimal(60), "h": Decimal(3600)}
_FIELDS: Final = {
    "": "on_delay_s",
    "on": "on_delay_s",
    "off": "off_delay_s",
    "within": "response_s",
    "early": "early_s",
}
_EXAMPLE: Final = "write for example X, L, X 10s, or L 10s off 30s within 5s"


@dataclass(frozen=True, slots=True)
class Crossing:
    """A matrix laid out: `marks` by (cause, effect); `notes` by number, from 1.

    `within_s`: the response of cells that do not say their own, in seconds; None if all do.
    """

    within_s: float | None
    causes: tuple[str, ...]
    effects: tuple[str, ...]
    marks: Mapping[tuple[str, str], str]
    notes: tuple[str, ...] = field(default=())

    @property
    def corner(self) -> str:
        """The heading of the first column, by which the table is known again."""
        within = "" if self.within_s is None else f", within {seconds_text(self.within_s)}"
        return f"cause \\ effect{within}"


def crossing_of(cells: Sequence[Cell], effects: Sequence[str]) -> Crossing:
    """Lay out a matrix; `effects`: the columns, in their order, those that nothing drives too."""
    known = dict.fromkeys((*effects, *(cell.effect for cell in cells)))
    allowed = [cell.response_s for cell in cells]
    within_s = max(dict.fromkeys(allowed), key=allowed.count) if allowed else None
    notes = tuple(dict.fromkeys(cell.note for cell in cells if cell.note))
    number = {note: at for at, note in enumerate(notes, 1)}
    return Crossing(
        within_s,
        tuple(dict.fromkeys(cell.cause for cell in cells)),
        tuple(known),
        {(cell.cause, cell.effect): _mark(cell, within_s, number.get(cell.note)) for cell in cells},
        notes,
    )


def seconds_text(seconds: float) -> str:
    """A time as the notation has it, exactly: 10s, 0.5s."""
    return f"{Decimal(repr(seconds)).normalize():f}s"


def _mark(cell: Cell, within_s: float | None, note: int | None) -> str:
    parts = [LATCHES if cell.latching else ACTS]
    if cell.on_delay_s:
        parts.append(seconds_text(cell.on_delay_s))
    if cell.off_delay_s:
        parts.append(f"off {seconds_text(cell.off_delay_s)}")
    if cell.response_s != within_s:
        parts.append(f"within {seconds_text(cell.response_s)}")
    if cell.early_s is not None:
        parts.append(f"early {seconds_text(cell.early_s)}")
    if note is not None:
        parts.append(f"note {note}")
    return " ".join(parts)


def is_crossing(table: Table) -> bool:
    r"""Whether the table's first heading is the corner `cause \ effect`."""
    return _CORNER.match(_corner(table)) is not None


def _corner(table: Table) -> str:
    return next(iter(table.columns))


def crossing_records(table: Table) -> tuple[list[RawRecord], list[Problem]]:
    """The crossings as raw records, row by row, and all that is wrong with marks and causes."""
    problems: list[Problem] = []
    corner = _corner(table)
    general = _general(corner, table.columns[corner], problems)
    effects = [name for name in table.columns if name != corner and not name.startswith(REMARK)]
    notes = {
        int(found[1]): " ".join(str(row.cells[name]) for name in effects if name in row.cells)
        for row in table.rows
        if (found := _note_row(row, corner))
    }
    refused = {problem.place for problem in table.problems}
    records: list[RawRecord] = []
    for row in table.rows:
        if _note_row(row, corner) or row.places.get(corner) in refused:
            continue
        if (cause := _cause(row, corner, effects, problems)) is None:
            continue
        for effect in effects:
            text = str(row.cells.get(effect, ""))
            if not text or text in NO_CELL:
                continue
            place = row.places[effect]
            try:
                data = {**general, **_read(row.cells[effect], notes)}
            except ValueError as error:
                what, _, remedy = str(error).rpartition(": ")
                problems.append(Problem(place, what, remedy))
                continue
            data |= {"cause": cause, "effect": effect.split("\n")[0].strip()}
            if "response_s" not in data:
                what = f"{text!r} says no response time"
                remedy = "write within and a time into it, such as within 4s, or into the corner"
                problems.append(Problem(place, what, remedy))
                continue
            places = {"cause": row.places[corner], "effect": table.columns[effect]}
            records.append(RawRecord(data, _locate(place, places)))
    return records, problems


def _locate(place: Place, places: Mapping[str, Place]) -> Callable[[Loc], Place]:
    return lambda loc: places.get(str(loc[0]), place) if loc else place


def _note_row(row: Row, corner: str) -> re.Match[str] | None:
    return _NOTE_ROW.fullmatch(str(row.cells.get(corner, "")))


def _cause(row: Row, corner: str, effects: Sequence[str], problems: list[Problem]) -> str | None:
    """The row's cause, if it can be read; what is wrong with it is said once a row."""
    if corner not in row.cells:
        marked = next((row.places[name] for name in effects if name in row.cells), None)
        if marked is not None:
            what = "a mark stands in a row without a cause"
            problems.append(Problem(marked, what, "write its cause into the first column"))
        return None
    text = str(row.cells[corner])
    try:
        parse_cause(text)
    except ValueError as error:
        what, _, remedy = str(error).rpartition(": ")
        problems.append(Problem(row.places[corner], what, remedy))
        return None
    return text


def _general(corner: str, place: Place, problems: list[Problem]) -> dict[str, Any]:
    """What the corner says of all cells."""
    found = _CORNER.match(corner)
    rest = "" if found is None else found["rest"].strip(" ,;()")
    try:
        data = dict(_parts(rest, {}))
        if set(data) - {"response_s"}:
            raise ValueError(
                f"the corner {corner!r} says more than a response time: {_CORNER_WANTS}"
            )
    except ValueError as error:
        what, _, remedy = str(error).rpartition(": ")
        problems.append(Problem(place, what, remedy if "corner" in what else _CORNER_WANTS))
        return {}
    return data


_CORNER_WANTS: Final = "write cause \\ effect, within 4s"


def _read(cell: CellValue, notes: Mapping[int, str]) -> dict[str, Any]:
    """What a mark says. Raises ValueError, `what: remedy`."""
    text = str(cell).strip()
    head, rest = text[:1].upper(), text[1:]
    if head not in (ACTS, LATCHES) or isinstance(cell, int | float) or rest[:1].isalnum():
        raise ValueError(f"{text!r} does not begin with X or L: {_EXAMPLE}")
    return {"latching": head == LATCHES, **dict(_parts(rest, notes))}


def _parts(text: str, notes: Mapping[int, str]) -> Iterator[tuple[str, Any]]:
    at = 0
    seen: set[str] = set()
    text = text.rstrip(" \t\n,;")
    while at < len(text):
        found = _PART.match(text, at)
        if found is None:
            raise ValueError(f"{text[at:].strip()!r} is no part of a mark: {_EXAMPLE}")
        whole = text[at:].split()[0].strip(",;") if text[at:].split() else ""
        if decimal_comma(whole.rstrip("smhin")):
            raise ValueError(f"{whole!r} has a decimal comma: write {whole.replace(',', '.')}")
        word = (found["word"] or "").lower()
        if word == "note":
            name: str = "note"
            value: str | float = _note(found, notes)
        else:
            name, value = _time(found, word)
        if name in seen:
            raise ValueError(f"{found[0].strip(' ,;')!r} says a second time what is said: keep one")
        seen.add(name)
        yield name, value
        at = found.end()


def _note(found: re.Match[str], notes: Mapping[int, str]) -> str:
    number = found["number"]
    if found["unit"] or "." in number or int(number) not in notes:
        said = found[0].strip(" ,;")
        raise ValueError(f"there is no row {said!r}: add one below the causes, with its text")
    return notes[int(number)]


def _time(found: re.Match[str], word: str) -> tuple[str, float]:
    said = found[0].strip(" ,;\n")
    if word not in _FIELDS:
        raise ValueError(f"{word!r} is no word of a mark: {_EXAMPLE}")
    unit = _UNITS.get(found["unit"].lower())
    if unit is None:
        raise ValueError(f"{said!r} has no unit of time: write s, min or h behind the number")
    return _FIELDS[word], float(Decimal(found["number"]) * unit)
