"""Sheets of a workbook as people expect them: a head that stays, widths, choices, print set.

Text is always text: nothing that a cell begins with makes it a formula. Layout only.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.tables import CellValue

FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")
WIDEST: Final = 48
_HEAD: Final = PatternFill("solid", fgColor="E6E9EE")
_LINE: Final = Side(style="thin", color="9A9A9A")
_BORDER: Final = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
AS_TEXT: Final = "@"
PLAIN_CELL: Final = "Table cell"
TEXT_CELL: Final = "Table text"
"""Names of the styles of cells beneath a table's head, as a spreadsheet program lists them."""
A4: Final = 9
"""Number of the paper size (ECMA-376 part 1, 18.3.1.63 pageSetup)."""


def new_book(*titles: str) -> tuple[Workbook, dict[str, Worksheet]]:
    """A workbook with these sheets, in their order."""
    book = Workbook()
    for sheet in tuple(book.worksheets):
        book.remove(sheet)
    for name, wraps in ((PLAIN_CELL, False), (TEXT_CELL, True)):
        style = NamedStyle(name)
        style.border = _BORDER
        style.alignment = Alignment(vertical="top", wrap_text=wraps)
        style.number_format = AS_TEXT if wraps else "General"
        book.add_named_style(style)
    return book, {title: book.create_sheet(title) for title in titles}


def put(sheet: Worksheet, row: int, column: int, value: CellValue | None) -> Cell:
    """Write one value. Raises GaswitnessError for characters that no workbook can hold."""
    cell = sheet.cell(row, column)
    assert isinstance(cell, Cell)
    if value is None:
        return cell
    if isinstance(value, str):
        if ILLEGAL_CHARACTERS_RE.search(value):
            raise GaswitnessError(
                f"{value!r} has a control character, which no workbook can hold: take it out"
            )
        cell.value = value
        cell.data_type = "s"
        if cell.number_format != AS_TEXT:
            cell.number_format = AS_TEXT
        if value.startswith(FORMULA_SIGNS):
            cell.quotePrefix = True
    else:
        cell.value = value
    return cell


def put_row(sheet: Worksheet, row: int, values: Sequence[CellValue | None]) -> None:
    """Write a row of values with borders; long text wraps."""
    for column, value in enumerate(values, 1):
        # Set by its name a style costs little; what `put` adds comes on top of it.
        sheet.cell(row, column).style = TEXT_CELL if isinstance(value, str) else PLAIN_CELL
        put(sheet, row, column, value)


def put_head(sheet: Worksheet, row: int, names: Sequence[str], remarks: Sequence[str] = ()) -> None:
    """Write the names of the columns, each with a remark that a pointer shows."""
    for column, name in enumerate(names, 1):
        cell = put(sheet, row, column, name)
        cell.font = Font(bold=True)
        cell.fill = _HEAD
        cell.border = _BORDER
        cell.alignment = Alignment(vertical="top", wrap_text=True)
        remark = remarks[column - 1] if column <= len(remarks) else ""
        if remark:
            note = Comment(remark, "gaswitness")
            note.width, note.height = 320, 30 + 18 * (1 + len(remark) // 45)
            cell.comment = note


def put_table(
    sheet: Worksheet,
    names: Sequence[str],
    rows: Iterable[Sequence[CellValue | None]],
    *,
    remarks: Sequence[str] = (),
    frozen_columns: int = 1,
    foot: str = "",
) -> None:
    """A whole sheet: the head in row 1, the rows below, widths, panes and print set."""
    put_head(sheet, 1, names, remarks)
    for at, values in enumerate(rows, 2):
        put_row(sheet, at, values)
    fit_widths(sheet)
    settle(sheet, head_row=1, frozen_columns=frozen_columns, foot=foot)


def fit_widths(sheet: Worksheet, *, least: float = 6, most: float = WIDEST) -> None:
    """As wide as the longest line in each column, within bounds."""
    for at, column in enumerate(sheet.iter_cols(), 1):
        lines = [len(line) for cell in column for line in str(cell.value or "").split("\n")]
        width = min(most, max(least, max(lines, default=0) + 2))
        sheet.column_dimensions[get_column_letter(at)].width = width


def settle(
    sheet: Worksheet,
    *,
    head_row: int,
    frozen_columns: int = 1,
    foot: str = "",
    one_page: bool = False,
) -> None:
    """Hold the head while scrolling, and print landscape, one page wide, the head on each."""
    sheet.freeze_panes = f"{get_column_letter(frozen_columns + 1)}{head_row + 1}"
    setup = sheet.page_setup
    setup.orientation = "landscape"
    setup.paperSize = A4
    setup.fitToWidth = 1
    setup.fitToHeight = 1 if one_page else 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    if not one_page:
        sheet.print_title_rows = f"{head_row}:{head_row}"
    assert sheet.oddFooter is not None
    # & begins a code in feet of pages
    sheet.oddFooter.left.text = foot.replace("&", "&&")
    sheet.oddFooter.right.text = "page &P of &N"


def offer(sheet: Worksheet, column: int, rows: tuple[int, int], choices: Sequence[str]) -> None:
    """A list to choose from in a column; other text is asked about, not refused."""
    listed = DataValidation(
        type="list",
        formula1='"' + ",".join(choices) + '"',
        allow_blank=True,
        errorStyle="warning",
        showErrorMessage=True,
        errorTitle="Not in the list",
        error="Known here: " + ", ".join(choices),
    )
    letter = get_column_letter(column)
    listed.add(f"{letter}{rows[0]}:{letter}{rows[1]}")
    sheet.add_data_validation(listed)


def save_book(book: Workbook, path: Path, *, over: bool = False) -> None:
    """Write the workbook to a new file. Raises GaswitnessError where that cannot be."""
    try:
        with path.open("wb" if over else "xb") as file:
            book.save(file)
    except FileExistsError as error:
        raise GaswitnessError(f"{path} is there already: name a new file") from error
    except OSError as error:
        raise GaswitnessError(f"{path} cannot be written ({error.strerror})") from error
