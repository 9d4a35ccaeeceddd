"""Which column of a table is which part of a record, and how its cells are read.

Cells become plain data like those of YAML; whether they make sense is not asked here.
"""

import re
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final, Union, get_args, get_origin

from pydantic import BaseModel

from gaswitness_sitefile.channel import LEVEL_NAMES, AlarmLevel, Channel, Exposure
from gaswitness_sitefile.complaints import decimal_comma
from gaswitness_sitefile.problems import Loc, Place, Problem, near_match
from gaswitness_sitefile.tables import CellValue, Row, Table

YES: Final = ("yes", "true", "1", "x")
NO: Final = ("no", "false", "0", "-")


@dataclass(frozen=True, slots=True)
class Column:
    """`path`: where its cells go in the record. `kind`: text, number, yes-no, codes or value."""

    path: Loc
    kind: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class RawRecord:
    """One record before validation: plain data, and where each part of it stands."""

    data: Any
    locate: Callable[[Loc], Place]


def columns_of(model: type[BaseModel]) -> dict[str, Column]:
    """Every column that a table of such records may have, by name."""
    found: dict[str, Column] = {}
    for name, info in model.model_fields.items():
        if model is Channel and name == "range":
            found["range_low"] = Column(("range", 0), "number", required=True)
            found["range_high"] = Column(("range", 1), "number", required=True)
        elif model is Channel and name == "levels":
            for level in LEVEL_NAMES:
                for part, inner in AlarmLevel.model_fields.items():
                    path = ("levels", level, part)
                    found[f"{level}.{part}"] = Column(path, _kind(inner.annotation))
        elif model is Channel and name == "exposure":
            for part in Exposure.model_fields:
                found[f"exposure.{part}"] = Column(("exposure", part), "number")
        elif model is Channel and name == "cross_sensitivity":
            found[name] = Column((name,), "shares")
        else:
            found[name] = Column((name,), _kind(info.annotation), info.is_required())
    return found


def records(table: Table, model: type[BaseModel]) -> tuple[list[RawRecord], list[Problem]]:
    """The rows as raw records, and what is wrong with columns and cells.

    Where a needed column is missing altogether, there are no records but one problem a column.
    """
    known = columns_of(model)
    renamed: dict[str, str] = {}
    problems: list[Problem] = []
    by_folded = {name.casefold(): name for name in known}
    for name, place in table.columns.items():
        plain = by_folded.get(name.casefold())
        if plain is None:
            near = near_match(name, known)
            ask = f"did you mean {near}?" if near else f"known are {', '.join(known)}"
            problems.append(Problem(place, f"{name} is not a known column", ask))
        else:
            renamed[name] = plain
    top = next(iter(table.columns.values()))
    missing = [n for n, c in known.items() if c.required and n not in renamed.values()]
    for name in missing:
        what = f"the column {name} is missing"
        problems.append(Problem(top, what, "add it to the first row, and fill it"))
    if missing:
        return [], problems
    columns = {name: known[plain] for name, plain in renamed.items()}
    found = [_record(row, columns, problems) for row in table.rows]
    return found, problems


def _record(row: Row, columns: Mapping[str, Column], problems: list[Problem]) -> RawRecord:
    data: dict[str | int, Any] = {}
    places: dict[Loc, Place] = {(): row.place}
    for name, column in columns.items():
        place = row.places.get(name, row.place)
        places[column.path] = place
        if name not in row.cells:
            continue
        for depth in range(1, len(column.path)):
            places.setdefault(column.path[:depth], place)
        try:
            _put(data, column.path, _read(row.cells[name], column.kind))
        except ValueError as error:
            what, _, remedy = str(error).partition(": ")
            problems.append(Problem(place, f"{name} {what}", remedy))
    if "value" in data:
        named = data["value"] in (data.get("codes") or {}).values()
        if not named:
            data["value"] = _number_or_text(data["value"], data.get("type"))
    if "range" in data:
        data["range"] = [data["range"][at] for at in (0, 1) if at in data["range"]]

    def locate(loc: Loc) -> Place:
        while loc not in places:
            loc = loc[:-1]
        return places[loc]

    return RawRecord(data, locate)


def _put(data: dict[str | int, Any], path: Loc, value: Any) -> None:
    for part in path[:-1]:
        data = data.setdefault(part, {})
    data[path[-1]] = value


def _kind(annotation: Any) -> str:
    kinds = set(_leaves(annotation))
    if dict in kinds:
        return "codes"
    if bool in kinds:
        return "yes-no"
    if {str, float} <= kinds:
        return "value"
    return "number" if kinds & {int, float} else "text"


def _leaves(annotation: Any) -> Iterator[Any]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _leaves(get_args(annotation)[0])
    elif origin in (Union, types.UnionType):
        for one in get_args(annotation):
            yield from _leaves(one)
    else:
        yield origin or annotation


def _read(cell: CellValue, kind: str) -> Any:
    """The cell's value as YAML would have it. Raises ValueError, `what: remedy`."""
    match kind:
        case "yes-no":
            return _yes_no(cell)
        case "codes":
            return _codes(_text(cell))
        case "shares":
            return _shares(_text(cell))
        case "number":
            return _number(cell)
        case "value":
            return cell
        case _:
            return _text(cell)


def _text(cell: CellValue) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return f"{cell:g}" if isinstance(cell, float) and cell.is_integer() else str(cell)


def _yes_no(cell: CellValue) -> bool:
    word = _text(cell).casefold()
    if word in YES:
        return True
    if word in NO:
        return False
    raise ValueError(f"must be yes or no, found {word!r}: write yes or no, or leave it empty")


def _number(cell: CellValue) -> Any:
    if isinstance(cell, str):
        if decimal_comma(cell):
            plain = cell.replace(",", ".")
            raise ValueError(f"has a decimal comma, found {cell!r}: write {plain}, with a point")
        if "_" in cell:
            raise ValueError(f"must be a number, found {cell!r}: write digits only")
    return cell


def _number_or_text(cell: Any, point_type: Any) -> Any:
    """A constant's value: text for strings, a number for all else where it is one."""
    if point_type == "string":
        return _text(cell)
    try:
        return float(cell)
    except ValueError:
        return cell


def _codes(text: str) -> dict[int, str]:
    """Read `0=normal; 1=A1`."""
    found: dict[int, str] = {}
    for part in text.split(";"):
        if not part.strip():
            continue
        number, sign, name = part.partition("=")
        if not sign or not name.strip() or not re.fullmatch("[0-9]{1,9}", number.strip()):
            raise ValueError(
                f"cannot be read at {part.strip()!r}: write number=name; number=name, such as "
                "0=normal; 1=A1"
            )
        if int(number) in found:
            raise ValueError(f"has {int(number)} twice: keep one of the two")
        found[int(number)] = name.strip()
    return found


def _shares(text: str) -> dict[str, str]:
    """Read `H2=0.2; CO=0.01`; whether these are numbers, the record itself says."""
    found: dict[str, str] = {}
    for part in filter(str.strip, text.split(";")):
        name, sign, share = part.partition("=")
        if not sign or not name.strip() or not share.strip():
            raise ValueError(
                f"cannot be read at {part.strip()!r}: write gas=share; gas=share, such as H2=0.2"
            )
        found[name.strip()] = share.strip()
    return found
