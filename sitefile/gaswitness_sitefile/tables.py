"""CSV and XLSX files to rows of named cells with their places. Knows nothing of what columns mean.

A first row names the columns. Empty rows, and rows that begin with `#`, are skipped. In CSV a text
that begins with `'` before a sign that a spreadsheet takes for a formula (`= + - @`) loses the `'`.
"""

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any, Final

from gaswitness_sitefile.document import decoded
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem, one_of
from gaswitness_sitefile.source_file import SourceFile, read_source

CellValue = str | int | float | bool
WORKBOOKS: Final = (".xlsx", ".xlsm")
_OTHER_SHEETS: Final = (".xls", ".ods", ".xlsb", ".numbers")
_MOST_COLUMNS: Final = 1000
_GUARDED: Final = re.compile(r"'+[=+\-@\t\r]")

_WORKBOOK_RAISES: Final = (
    zipfile.BadZipFile,
    zlib.error,
    OSError,
    EOFError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    SyntaxError,
    RuntimeError,
    AssertionError,
    OverflowError,
)
"""What openpyxl and the parsers beneath it let escape on a damaged file."""


@dataclass(frozen=True, slots=True)
class Row:
    """`cells`: by column name, empty ones left out. `place`: of the row's first cell."""

    place: Place
    cells: Mapping[str, CellValue]
    places: Mapping[str, Place]


@dataclass(frozen=True, slots=True)
class Table:
    """`columns`: the place of each column's name. `problems`: of cells that are left out."""

    source: SourceFile
    columns: Mapping[str, Place]
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class _Cell:
    value: Any
    place: Place


def read_table(
    path: Path, *, name: str, sheet: str | None = None, asked_at: Place | None = None
) -> Table:
    """Read a table file; `name` is how the site file calls it, `sheet` a sheet of a workbook.

    Cells that cannot be taken stand in its `problems`. Raises SiteFileError if there is no table.
    """
    place = asked_at or Place(str(path), 1, 1)
    suffix = path.suffix.casefold()
    if suffix in _OTHER_SHEETS:
        what = f"tables of kind {suffix} are not read"
        raise SiteFileError([Problem(place, what, "save it as .xlsx or .csv")])
    source = read_source(path, name, "table file", asked_at)
    if suffix in WORKBOOKS:
        lines = _workbook_lines(source, str(path), sheet, place)
    elif sheet is not None:
        what = f"{name} is no workbook and has no sheet {sheet!r}"
        raise SiteFileError([Problem(place, what, "take 'sheet' out, or name an .xlsx file")])
    else:
        lines = _csv_lines(source, str(path))
    return _table(source, str(path), lines)


def sheet_names(path: Path) -> list[str]:
    """The names of a workbook's sheets. Raises SiteFileError."""
    place = Place(str(path), 1, 1)
    if path.suffix.casefold() not in WORKBOOKS:
        raise SiteFileError([Problem(place, f"{path.name} is no workbook", "name an .xlsx file")])
    source = read_source(path, path.name, "workbook")
    book = _open_workbook(source, str(path), values=False)
    return [sheet.title for sheet in book.worksheets]


def _table(source: SourceFile, file: str, lines: Iterable[list[_Cell]]) -> Table:
    used = [line for line in lines if not _skipped(line)]
    if not used:
        what = f"the table {source.name} is empty"
        raise SiteFileError(
            [Problem(Place(file, 1, 1), what, "write the names of the columns into its first row")]
        )
    problems: list[Problem] = []
    names = _header(used[0], problems)
    if problems:
        raise SiteFileError(problems)
    rows = [_row(line, names, problems) for line in used[1:]]
    columns = {name: place for name, place in names if name}
    return Table(source, columns, tuple(rows), tuple(problems))


def _skipped(line: list[_Cell]) -> bool:
    first = next((cell.value for cell in line if not _blank(cell.value)), None)
    return first is None or (isinstance(first, str) and first.lstrip().startswith("#"))


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _header(line: list[_Cell], problems: list[Problem]) -> list[tuple[str, Place]]:
    names: list[tuple[str, Place]] = []
    seen: set[str] = set()
    for cell in line:
        name = "" if _blank(cell.value) else str(cell.value).strip()
        if name and name.casefold() in seen:
            problems.append(
                Problem(cell.place, f"the column {name!r} stands twice", "keep one of the two")
            )
        seen.add(name.casefold())
        names.append((name, cell.place))
    return names


def _row(line: list[_Cell], names: list[tuple[str, Place]], problems: list[Problem]) -> Row:
    cells: dict[str, CellValue] = {}
    places: dict[str, Place] = {}
    for at, cell in enumerate(line):
        name = names[at][0] if at < len(names) else ""
        if name:
            places[name] = cell.place
        if _blank(cell.value):
            continue
        if not name:
            what = f"{str(cell.value).strip()!r} stands in a column without a name"
            remedy = (
                "name the column in the first row, or put text that holds the separator in quotes"
            )
            problems.append(Problem(cell.place, what, remedy))
            break
        value = cell.value.strip() if isinstance(cell.value, str) else cell.value
        refusal = _refused(value)
        if refusal:
            problems.append(Problem(cell.place, f"{name}: {refusal[0]}", refusal[1]))
            continue
        cells[name] = value
    return Row(line[0].place, cells, places)


def _refused(value: Any) -> tuple[str, str] | None:
    if isinstance(value, date | time | timedelta):
        return f"the cell holds a date or time ({value})", "format the cell as text, write it again"
    if not isinstance(value, str | int | float | bool):
        return "the cell holds a formula", "save the workbook in a spreadsheet program, or values"
    if isinstance(value, str) and value in ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!"):
        return (
            f"the cell shows the spreadsheet's error {value}",
            "mend the formula, or write a value",
        )
    return None


def _csv_lines(source: SourceFile, file: str) -> Iterator[list[_Cell]]:
    text = decoded(source.content, file, "table file")
    reader = csv.reader(io.StringIO(text), delimiter=delimiter_of(text), strict=True)
    line = 1
    try:
        for values in reader:
            yield [_Cell(_bare(v), Place(file, line, at + 1)) for at, v in enumerate(values)]
            line = reader.line_num + 1
    except csv.Error as error:
        what = f"the table cannot be read ({error})"
        raise SiteFileError(
            [Problem(Place(file, line, 1), what, "close quotes, and double those inside text")]
        ) from error


def guarded(text: str) -> str:
    """The text as a cell of CSV that no spreadsheet takes for a formula; reading takes it back."""
    return f"'{text}" if _GUARDED.match(f"'{text}") else text


def _bare(text: str) -> str:
    return text[1:] if _GUARDED.match(text) else text


def delimiter_of(text: str) -> str:
    """The mark that separates the names in the first line that is used."""
    lines = (line for line in text.splitlines() if line.strip(' ;,\t"'))
    header = next((line for line in lines if not line.lstrip(' "').startswith("#")), text)
    return max(",;\t", key=re.sub('"[^"]*"', "", header).count)


def _workbook_lines(
    source: SourceFile, file: str, sheet: str | None, place: Place
) -> Iterator[list[_Cell]]:
    book = _open_workbook(source, file, values=False)
    found = _sheet(book, source.name, sheet, place)
    merged = [
        Problem(
            Place(file, area.min_row, area.min_col, f"{found.title}!{area.coord}"),
            "the cells are merged",
            "unmerge them and write the value into each",
        )
        for area in found.merged_cells.ranges
    ]
    if merged:
        raise SiteFileError(merged)
    cached = None
    for row in found.iter_rows(max_col=min(found.max_column, _MOST_COLUMNS)):
        line: list[_Cell] = []
        for cell in row:
            value: Any = cell.value
            if cell.data_type == "f":
                if cached is None:
                    cached = _open_workbook(source, file, values=True)[found.title]
                value = cached[cell.coordinate].value
                value = _Formula() if value is None else value
            name = f"{found.title}!{cell.coordinate}"
            line.append(_Cell(value, Place(file, cell.row, cell.column, name)))
        yield line


class _Formula:
    """A formula that no spreadsheet program has worked out yet."""

    def __str__(self) -> str:
        return "a formula"


def _open_workbook(source: SourceFile, file: str, *, values: bool) -> Any:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(io.BytesIO(source.content), data_only=values)
    except _WORKBOOK_RAISES as error:
        what = f"{source.name} is not a workbook that can be read"
        raise SiteFileError(
            [Problem(Place(file, 1, 1), what, "save it anew as .xlsx, or as .csv")]
        ) from error


def _sheet(book: Any, name: str, sheet: str | None, place: Place) -> Any:
    titles: list[str] = [found.title for found in book.worksheets]
    if sheet is None:
        if len(titles) == 1:
            return book[titles[0]]
        what = f"{name} has {len(titles)} sheets, and none is named"
        raise SiteFileError([Problem(place, what, f"add 'sheet:' with {one_of('', titles)[6:]}")])
    if sheet not in titles:
        what = f"{name} has no sheet {sheet!r}"
        raise SiteFileError([Problem(place, what, one_of(sheet, titles))])
    return book[sheet]
