"""How a difference between two site files is said in one line. Finds no difference itself."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final, Self

from pydantic import BaseModel

from gaswitness_sitefile.bus import OutputSupply
from gaswitness_sitefile.channel import AlarmLevel, Channel
from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.in_force import in_force
from gaswitness_sitefile.points import Point, Table, reference

LEFT_OUT: Final = "left out"
ARROW: Final = " -> "
LONGEST: Final = 60
"""Of a text that is shown whole; a longer one is shown from shortly before its first difference."""

_ROWS: Final = {"matrix": "cell"}
_LABELS: Final = {
    "gaswitness_site": "version of the site file",
    "t90_s": "t90",
    "on_delay_s": "on-delay",
    "off_delay_s": "off-delay",
    "response_s": "response time",
    "early_s": "allowance for coming early",
    "at": "carried by the detector of",
    "notation": "addresses written as",
    "order": "byte order",
    "unit": "unit",
    "low": "lowest value",
    "high": "highest value",
    "clean": "reading in clean air",
    "levels_on_fault": "levels in fault",
    "on_fault": "reading in fault",
}
_UNITS: Final = {
    "s": "s",
    "ms": "ms",
    "v": "V",
    "a": "A",
    "ma": "mA",
    "w": "W",
    "ohm": "ohm",
    "ah": "Ah",
    "h": "h",
    "m": "m",
    "mm2": "mm2",
    "m3": "m3",
    "c": "°C",
    "percent": "%",
}
"""What the last word of a field's name says about the unit of its value."""

_IN_CHANNEL_UNIT: Final = frozenset(
    [
        "setpoint",
        "hysteresis",
        "setpoint_tolerance",
        "range",
        "clean",
        "noise",
        "tolerance",
        "under_range",
        "over_range",
    ]
)


@dataclass(frozen=True, slots=True)
class Scope:
    """Where in the site a difference is. `head` names the thing, `label` the field of it, `of` what
    a field of a channel or of its level belongs to; `records` and `owners` are the two sides'
    records, and the records that hold those."""

    group: str
    path: tuple[str, ...]
    head: str
    label: str = ""
    of: str = ""
    is_row: bool = False
    name: str = ""
    records: tuple[BaseModel, BaseModel] | None = None
    owners: tuple[BaseModel, BaseModel] | None = None

    def row(self, key: str, a: BaseModel | None, b: BaseModel | None) -> Self:
        """A row of a list of records."""
        one = a or b
        kind = _ROWS.get(self.path[-1], self.label or self.head).removesuffix("s")
        if isinstance(one, Output):
            kinds = {str(side.kind) for side in (a, b) if isinstance(side, Output)}
            kind = kinds.pop() if len(kinds) == 1 else "output"
        if isinstance(one, OutputSupply):
            kind = "supply of output"  # the output itself stands elsewhere
        of = f"of {key}" if isinstance(one, Channel) else ""
        before = f"{self.head}: " if self.label else ""
        named = str(getattr(one, "name", ""))
        return replace(
            self,
            path=(*self.path, key),
            head=f"{before}{kind} {key}",
            label="",
            of=of,
            is_row=True,
            name=named if named != key else "",
        )

    def field(self, name: str, a: BaseModel, b: BaseModel) -> Self:
        """A field of two records."""
        head = f"{self.head}, {self.label}" if self.label else self.head
        return replace(
            self,
            path=(*self.path, name),
            head=head,
            label=plain(name),
            is_row=False,
            name="",
            records=(a, b),
            owners=self.records,
        )

    def entry(self, key: Any) -> Self:
        """An entry of keys and values: an alarm level, a code, a bit, a table's gaps."""
        path = (*self.path, str(key))
        match self.path[-1]:
            case "levels":
                of = f"{key} {self.of}".strip()
                return replace(self, path=path, head=f"level {of}", label="", of=of)
            case "codes":
                return replace(self, path=path, label=f"code {key} means")
            case "bits":
                return replace(self, path=path, label=f"bit {key} shows")
            case "gaps":
                return replace(self, path=path, label=f"gaps between {key}s read as")
        return replace(self, path=path, label=f"{self.label} {key}")


def plain(name: str) -> str:
    """A field's name as people say it, without its unit."""
    if name in _LABELS:
        return _LABELS[name]
    stem, _, last = name.rpartition("_")
    return (stem if stem and last in _UNITS else name).replace("_", " ")


def changed(a: Any, b: Any, scope: Scope) -> str:
    """The value was `a` and is `b`."""
    if isinstance(a, bool) and isinstance(b, bool):
        values = f"{scope.label}{ARROW}not" if a else f"not {scope.label}{ARROW}{scope.label}"
        return f"{scope.of.removeprefix('of ') or scope.head}: {values}"
    values = _values(a, b, scope)
    if scope.of and scope.label:
        return f"{scope.label} {scope.of}: {values}"
    return f"{scope.head}: {scope.label} {values}".replace(":  ", ": ")


def missing(a: Any, b: Any, scope: Scope) -> str:
    """Only one side has it."""
    side, value = ("A", b) if a is None else ("B", a)
    if isinstance(value, BaseModel):
        name = f" ({scope.name})" if scope.name else ""
        part = f", {scope.label}" if scope.label else ""
        return f"{scope.head}{part}{name} is missing in {side}"
    what = f"{scope.label} {value_words(value)}".lstrip()
    return f"{scope.head}: {what} is missing in {side}"


def renamed(a: str, b: str, scope: Scope) -> str:
    """The same thing has another name."""
    return f"{scope.head.removesuffix(a)}{a} is called {b} in B"


def _values(a: Any, b: Any, scope: Scope) -> str:
    units = _units(scope)
    if isinstance(a, str) and isinstance(b, str) and not isinstance(a, StrEnum):
        a, b = _around_difference(a, b)
    left, right = _side(a, scope, 0), _side(b, scope, 1)
    if units[0] != units[1]:
        left, right = f"{left} {units[0]}".strip(), f"{right} {units[1]}".strip()
        units = ("", "")
    elif right == LEFT_OUT and units[0]:
        left, units = f"{left} {units[0]}", ("", "")
    tail = f" {units[1]}" if units[1] else ""
    return f"{left}{ARROW}{right}{tail}{_references(scope)}"


def _side(value: Any, scope: Scope, side: int) -> str:
    if value is not None or scope.records is None:
        return value_words(value)
    owner = scope.owners[side] if scope.owners else None
    comes_to = in_force(scope.path[-1], scope.records[side], owner, scope.path[-2])
    return LEFT_OUT if comes_to is None else f"{LEFT_OUT} (that is {value_words(comes_to)})"


def _units(scope: Scope) -> tuple[str, str]:
    if scope.records is None:
        return "", ""
    name, record = scope.path[-1], scope.records[0]
    if isinstance(record, Channel | AlarmLevel) and name in _IN_CHANNEL_UNIT:
        holders = scope.records if isinstance(record, Channel) else scope.owners or ()
        found = [str(one.unit) for one in holders if isinstance(one, Channel)]
        return (found[0], found[1]) if len(found) == 2 else ("", "")
    stem, _, last = name.rpartition("_")
    unit = _UNITS.get(last, "") if stem else ""
    return unit, unit


def _references(scope: Scope) -> str:
    """The printed references of a point that has moved."""
    if scope.records is None or scope.path[-1] not in ("address", "table"):
        return ""
    found = [reference(p.table, p.address) for p in scope.records if isinstance(p, Point)]
    return f" ({ARROW.join(found)})" if len(found) == 2 else ""


def value_words(value: Any) -> str:
    """A value as people write it; texts in quotes."""
    match value:
        case None:
            return "none"
        case bool():
            return "yes" if value else "no"
        case float() | int():
            return _number(value)
        case StrEnum() | Table():
            return str(value)
        case str():
            return f"'{value}'" if value else "none"
        case (float() | int() as low, float() | int() as high):
            return f"{_number(low)}..{_number(high)}"
        case BaseModel():
            return _short(json.dumps(value.model_dump(mode="json", exclude_defaults=True)))
        case Mapping() | tuple():
            return _short(json.dumps(value, default=str))
    return str(value)


def _number(value: float) -> str:
    """As short as it can be without becoming another number."""
    if isinstance(value, float) and math.isfinite(value) and value.is_integer():
        return str(int(value)) if abs(value) < 1e15 else repr(value)
    return repr(value)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def _around_difference(a: str, b: str) -> tuple[str, str]:
    """Both texts on one line, from shortly before the first difference where they are long."""
    if max(len(a), len(b)) > LONGEST:
        at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), None)
        first = min(len(a), len(b)) if at is None else at
        start = max(0, first - LONGEST // 3)
        dots = "..." if start else ""
        a, b = (
            dots + one[start : start + LONGEST] + ("..." if len(one) > start + LONGEST else "")
            for one in (a, b)
        )
    return a.replace("\n", r"\n"), b.replace("\n", r"\n")
