"""The handover sheet's tables as a workbook and as CSV, for import into other programs."""

from io import BytesIO

from openpyxl.styles import Alignment

from gaswitness.handover import Handover, Listing, listings
from gaswitness.handover_polling import client_rules, cycle, gap_rows, liveness, way_facts
from gaswitness.sheets import new_book, put_table, settle
from gaswitness.wording import shown
from gaswitness_sitefile.crossing import LEGEND
from gaswitness_sitefile.rows import Rows, csv_text
from gaswitness_sitefile.tables import CellValue


def listing_text(sheet: Handover) -> dict[str, str]:
    """The CSV files, by name."""
    return {
        f"{one.name}.csv": csv_text(Rows(one.columns, _cleaned(one))) for one in listings(sheet)
    }


def handover_book(sheet: Handover) -> bytes:
    """The workbook: panel, points, example values, poll blocks, cause and effect, its notation."""
    found = list(listings(sheet))
    book, sheets = new_book("panel", *(one.name for one in found), "notation")
    put_table(sheets["panel"], ("what", "is"), _panel(sheet), foot=sheet.edition)
    sheets["panel"].column_dimensions["B"].width = 110
    for one in found:
        put_table(sheets[one.name], one.columns, _cleaned(one), foot=sheet.edition)
    drawing = sheets["cause-and-effect"]
    settle(drawing, head_row=1, foot=sheet.edition, one_page=True)
    for row in drawing.iter_rows(min_row=1, min_col=2):
        for cell in row:
            cell.alignment = Alignment(horizontal="center", vertical="top", wrap_text=True)
    put_table(sheets["notation"], ("mark", "means"), LEGEND, foot=sheet.edition)
    sheets["notation"].column_dimensions["B"].width = 100
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _cleaned(listing: Listing) -> tuple[tuple[CellValue | None, ...], ...]:
    """The rows with control characters made visible: a workbook cannot hold them."""
    return tuple(
        tuple(shown(cell) if isinstance(cell, str) else cell for cell in row)
        for row in listing.rows
    )


def _panel(sheet: Handover) -> list[tuple[str, str]]:
    panel = sheet.site.panel
    rows = [
        ("panel", panel.tag),
        ("name", panel.name),
        ("document", f"{panel.document} {panel.document_revision}".strip()),
        ("site file (SHA-256)", sheet.sha256),
        ("made by", sheet.made_by),
    ]
    for way in sheet.ways:
        rows += [(f"{way.name}: {what.lower()}", said) for what, said in way_facts(way)]
        rows.append((f"{way.name}: polling", cycle(way)))
    rows += [
        (f"{table}, function {code}", f"mapped: {mapped or 'nothing'}; {gaps}")
        for table, code, mapped, gaps in gap_rows(sheet.site)
    ]
    rows += [(f"a good client ({at})", said) for at, said in enumerate(client_rules(sheet.site), 1)]
    rows.append(("does it live?", liveness(sheet.site)))
    return [(what, shown(said)) for what, said in rows if said]
