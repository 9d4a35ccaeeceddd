"""Records of a site to the rows of a table, so that reading the table gives the records back.

The other way of `columns`. What equals its default is left out, but for the columns that every
reader of a points list looks for.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pydantic import BaseModel

from gaswitness_sitefile.columns import Column, columns_of
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.points import NUMERIC, MapRules, Notation, Point, reference
from gaswitness_sitefile.tables import CellValue, guarded

EXACT_DIGITS: Final = 15
"""Decimal digits that a spreadsheet keeps of a number; longer ones are written as text."""


@dataclass(frozen=True, slots=True)
class Rows:
    """`names`: of the columns. A cell that is None is empty."""

    names: tuple[str, ...]
    rows: tuple[tuple[CellValue | None, ...], ...]


def matrix_rows(cells: Sequence[Cell]) -> Rows:
    """The matrix as a list, one row a cell."""
    return _rows(cells, Cell, lambda _, name: name == "latching")


def point_rows(points: Sequence[Point], rules: MapRules) -> Rows:
    """The points list, addresses in the map's notation."""
    rows = _rows(points, Point, lambda point, name: _always(point, name, rules))
    at = rows.names.index("address")
    written = tuple(
        (*row[:at], _address(point, rules.notation), *row[at + 1 :])
        for point, row in zip(points, rows.rows, strict=True)
    )
    return _first_cell_is_no_remark(Rows(rows.names, written))


def _always(point: Point, name: str, rules: MapRules) -> bool:
    if name == "order":
        return point.order != rules.order or point.width > 1
    if name == "scale":
        return point.type in NUMERIC
    return name == "access"


def _address(point: Point, notation: Notation) -> CellValue:
    match notation:
        case Notation.PDU:
            return point.address
        case Notation.ONE_BASED:
            return point.address + 1
        case _:
            text = reference(point.table, point.address)
            return text if text.startswith("0") else int(text)


def _first_cell_is_no_remark(rows: Rows) -> Rows:
    """A row whose first cell begins with # would be passed over: then the table comes first."""
    if not any(str(row[0] or "").lstrip().startswith("#") for row in rows.rows):
        return rows
    at = rows.names.index("table")

    def moved(row: Sequence[Any]) -> tuple[Any, ...]:
        return (row[at], *row[:at], *row[at + 1 :])

    return Rows(moved(rows.names), tuple(moved(row) for row in rows.rows))


def _rows(
    records: Sequence[Any], model: type[BaseModel], always: Callable[[Any, str], bool]
) -> Rows:
    columns = columns_of(model)
    return Rows(
        tuple(columns),
        tuple(
            tuple(_cell(record, name, column, always) for name, column in columns.items())
            for record in records
        ),
    )


def _cell(
    record: BaseModel, name: str, column: Column, always: Callable[[Any, str], bool]
) -> CellValue | None:
    field = str(column.path[0])
    value = getattr(record, field)
    if value is None or value == "":
        return None
    if always(record, name):
        return _written(value, column.kind)
    info = type(record).model_fields[field]
    usual = not info.is_required() and value == info.get_default(call_default_factory=True)
    # The order of a row that says none is the map's, not the model's.
    return None if usual or name == "order" else _written(value, column.kind)


def _written(value: Any, kind: str) -> CellValue:
    match kind:
        case "yes-no":
            return "yes" if value else "no"
        case "codes":
            return "; ".join(f"{number}={name}" for number, name in value.items())
        case "number":
            return number_cell(value)
        case "value":
            return value if isinstance(value, str) else number_cell(value)
        case _:
            return str(value)


def number_cell(value: float) -> CellValue:
    """The number, as text where a spreadsheet would lose digits of it."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 10**EXACT_DIGITS:
        return int(value)
    return value if float(f"{value:.{EXACT_DIGITS}g}") == value else repr(value)


def csv_text(rows: Rows, remarks: Iterable[str] = (), delimiter: str = ",") -> str:
    """The table as CSV. Text that a spreadsheet would take for a formula is guarded."""
    out = io.StringIO()
    for remark in remarks:
        out.write(f"# {remark}\n")
    writer = csv.writer(out, lineterminator="\n", delimiter=delimiter)
    out.write(delimiter.join(_heading(name) for name in rows.names) + "\n")
    for row in rows.rows:
        writer.writerow(["" if cell is None else _csv_cell(cell) for cell in row])
    return out.getvalue()


def _heading(name: str) -> str:
    """The name, in quotes where any separator is in it: readers tell the separator by the first
    line."""
    quoted = name.replace('"', '""')
    return f'"{quoted}"' if any(sign in name for sign in ',;\t"\r\n') else name


def _csv_cell(cell: CellValue) -> str:
    if isinstance(cell, str):
        return cell if _is_number(cell) else guarded(cell)
    return repr(cell)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
