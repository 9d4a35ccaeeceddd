"""The points list and the matrix as a workbook to edit: a list, the drawing, and its notation."""

from typing import Final

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from gaswitness.sheets import new_book, offer, put, put_head, put_row, put_table, settle
from gaswitness_sitefile.crossing import LEGEND, crossing_of
from gaswitness_sitefile.points import Access, Order, PointType, Table
from gaswitness_sitefile.rows import matrix_rows, point_rows
from gaswitness_sitefile.site import Site

POINTS: Final = "points"
MATRIX: Final = "matrix"
CROSSING: Final = "crossing"
NOTATION: Final = "notation"
SPARE_ROWS: Final = 200
"""Rows below the last one that still offer their lists."""

POINT_REMARKS: Final = {
    "name": "The point's name: each its own.",
    "table": "coil, discrete input, holding register or input register.",
    "address": "In the notation of the site file (map.notation): {notation}.",
    "type": "bit for tables of bits; all else for registers.",
    "shows": "What it means: AT-101.reading, AT-101.A1, K1.active, panel.fault, heartbeat, "
    "constant, spare, bits.",
    "order": "Order of the bytes, A the most significant. Empty: the map's, {order}.",
    "bit": "Of a bit in word: 0 to 15, 0 the least significant.",
    "length": "Of a string: registers of two characters.",
    "scale": "Value = raw x scale + offset.",
    "offset": "Value = raw x scale + offset.",
    "unit": "The channel's unit.",
    "access": "r, rw or w. Empty: r.",
    "low": "The least that the point may show, in its unit.",
    "high": "The most that the point may show, in its unit.",
    "sentinel": "The raw value that stands for a fault.",
    "codes": "Of an enumeration: 0=normal; 1=A1; 2=A2.",
    "bits": "Of a bit field: 0=AT-101.A1; 1=AT-101.fault.",
    "value": "Of a constant: what it holds.",
    "note": "For people.",
}
CELL_REMARKS: Final = {
    "cause": "AT-101.A1, DI-1.active, panel.fault, any.A1, 2oo3(a, b, c), AND, OR, NOT.",
    "effect": "Tag of an output.",
    "on_delay_s": "The cause must stand for so long, in seconds.",
    "off_delay_s": "The effect stays for so long after the cause, in seconds.",
    "latching": "yes: until reset.",
    "response_s": "Allowed from the end of the on-delay to the effect, in seconds.",
    "early_s": "How much before the end of the on-delay it may come, in seconds.",
    "note": "For people.",
}


def tables_workbook(site: Site) -> Workbook:
    """The workbook. Raises GaswitnessError where a text cannot stand in one."""
    book, sheets = new_book(POINTS, MATRIX, CROSSING, NOTATION)
    foot = f"{site.panel.tag} {site.panel.document} {site.panel.document_revision}".strip()
    _points(sheets[POINTS], site, foot)
    _matrix(sheets[MATRIX], site, foot)
    _crossing(sheets[CROSSING], site, foot)
    _notation(sheets[NOTATION], foot)
    return book


def _points(sheet: Worksheet, site: Site, foot: str) -> None:
    rows = point_rows(site.points, site.map)
    said = {"notation": site.map.notation, "order": site.map.order}
    remarks = [POINT_REMARKS.get(name, "").format(**said) for name in rows.names]
    put_table(sheet, rows.names, rows.rows, remarks=remarks, foot=foot)
    choices = {"table": Table, "type": PointType, "order": Order, "access": Access}
    last = len(rows.rows) + 1 + SPARE_ROWS
    for name, words in choices.items():
        offer(sheet, rows.names.index(name) + 1, (2, last), [str(word) for word in words])


def _matrix(sheet: Worksheet, site: Site, foot: str) -> None:
    rows = matrix_rows(site.matrix)
    remarks = [CELL_REMARKS.get(name, "") for name in rows.names]
    put_table(sheet, rows.names, rows.rows, remarks=remarks, foot=foot)
    last = len(rows.rows) + 1 + SPARE_ROWS
    offer(sheet, rows.names.index("latching") + 1, (2, last), ["yes", "no"])


def _crossing(sheet: Worksheet, site: Site, foot: str) -> None:
    drawing = crossing_of(site.matrix, [output.tag for output in site.outputs])
    panel = site.panel
    named = " ".join(f"{panel.tag} {panel.name}".split())
    document = " ".join(f"{panel.document} {panel.document_revision}".split())
    of = ", ".join(one for one in (named, document) if one)
    about = f"# Cause and effect of {of}: causes down, effects across; see the sheet {NOTATION}"
    put(sheet, 1, 1, about).font = Font(bold=True)
    names = [site.output_of[tag] for tag in drawing.effects]
    put_row(sheet, 2, ["# what it is", *(one.name or str(one.kind) for one in names)])
    put_head(sheet, 3, [drawing.corner, *drawing.effects])
    for column in range(2, len(drawing.effects) + 2):
        sheet.cell(2, column).alignment = Alignment(text_rotation=90, wrap_text=True)
        sheet.cell(3, column).alignment = Alignment(horizontal="center", wrap_text=True)
        sheet.column_dimensions[get_column_letter(column)].width = 9
    sheet.row_dimensions[2].height = 130
    at = 4
    for cause in drawing.causes:
        put_row(sheet, at, [cause, *(drawing.marks.get((cause, e)) for e in drawing.effects)])
        for column in range(2, len(drawing.effects) + 2):
            sheet.cell(at, column).alignment = Alignment(
                horizontal="center", vertical="top", wrap_text=True
            )
        at += 1
    for number, note in enumerate(drawing.notes, 1):
        put(sheet, at, 1, f"note {number}")
        put(sheet, at, 2, note).alignment = Alignment(wrap_text=False)
        at += 1
    sheet.column_dimensions["A"].width = min(
        60, max([26, *(len(cause) + 2 for cause in drawing.causes)])
    )
    settle(sheet, head_row=3, foot=foot, one_page=True)


def _notation(sheet: Worksheet, foot: str) -> None:
    rows: list[tuple[str, str]] = [(mark, said) for mark, said in LEGEND]
    rows += [
        ("", ""),
        ("matrix", "the same matrix as a list, one row a cell: edit either it or the crossing"),
        ("points", "the points list, one row a point"),
        ("", "To take it back: gaswitness tables SITE --take THIS.xlsx"),
        ("", "Or let the site file read it: points: {file: THIS.xlsx, sheet: points}"),
        ("", "and matrix: {file: THIS.xlsx, sheet: crossing}"),
    ]
    put_table(sheet, ("mark", "means"), rows, foot=foot)
    sheet.column_dimensions["B"].width = 100
