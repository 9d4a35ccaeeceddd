"""The report as one HTML file: no outside address, no script, readable on screen and on paper, by
keyboard and with a screen reader. Pure: blocks in, text out.
"""

from importlib.resources import files
from typing import Final

from gaswitness.page import Markup, bullets, document, element, joined, scrolled
from gaswitness.report_blocks import (
    Block,
    Cell,
    Facts,
    Figure,
    Group,
    Items,
    Paragraph,
    Section,
    Sheets,
    SignatureBox,
    Signatures,
    Span,
    Style,
    Table,
    Text,
    Tone,
    sections_of,
)

TAGS: Final = {Style.STRONG: "strong", Style.MONO: "code", Style.MARKED: "mark"}
DEEPEST_HEADING: Final = 6
TO_FILL_IN: Final = "to be filled in"


def report_html(sheets: Sheets) -> str:
    """The whole file as text."""
    running = f"Document {sheets.number}, revision {sheets.revision}, panel {sheets.tag}"
    head = element("header", element("h1", sheets.title), element("p", running, class_="document"))
    drawn = _Pages()
    body = [head, *(drawn.block(block, 2) for block in sheets.front), _contents(sheets)]
    body += [drawn.block(section, 2) for section in sheets.sections]
    css = files("gaswitness").joinpath("report.css").read_text("utf-8")
    return document(sheets.title, *body, foot=running, css=css)


def _contents(sheets: Sheets) -> Markup:
    items = []
    for section in sheets.sections:
        inner = [element("li", _link(one)) for one in sections_of(section.blocks)]
        items.append(element("li", _link(section), *([element("ol", *inner)] if inner else [])))
    title = element("h2", "Contents", id="contents")
    return element("nav", title, element("ol", *items), aria_labelledby="contents")


def _link(section: Section) -> Markup:
    return element("a", section.title, href=f"#{section.id}")


def _text(text: Text) -> Markup:
    return joined(_span(span) for span in text)


def _span(span: Span) -> Markup:
    lines = joined(span.text.split("\n"), element("br"))
    name = TAGS.get(span.style)
    return element(name, lines) if name else lines


def _kind(*names: str) -> str | None:
    return " ".join(name for name in names if name) or None


def _tone(tone: Tone) -> str:
    return "" if tone is Tone.PLAIN else str(tone)


class _Pages:
    """Blocks to markup; counts the tables, so that each caption has an id of its own."""

    def __init__(self) -> None:
        self._tables = 0

    def block(self, block: Block, level: int) -> Markup:
        match block:
            case Paragraph(text, tone):
                return element("p", _text(text), class_=_kind(_tone(tone)))
            case Items(items, numbered):
                return bullets([_text(item) for item in items], numbered=numbered)
            case Facts(rows):
                pairs = (
                    element("div", element("dt", name), element("dd", _text(text)))
                    for name, text in rows
                )
                return element("dl", *pairs)
            case Table():
                return self._table(block)
            case Figure(svg, caption, _):
                words = element("figcaption", caption)
                return element("figure", Markup(svg.strip()), words, tabindex=0)
            case Signatures(boxes):
                return element("div", *map(_signature, boxes), class_="signatures")
            case Section():
                return self._section(block, level)

    def _section(self, section: Section, level: int) -> Markup:
        title = f"{section.id}-title"
        heading = element(f"h{min(level, DEEPEST_HEADING)}", section.title, id=title)
        return element(
            "section",
            heading,
            *(self.block(block, level + 1) for block in section.blocks),
            id=section.id,
            aria_labelledby=title,
            class_=_kind("landscape" * section.wide, "new-page" * section.new_page),
        )

    def _table(self, table: Table) -> Markup:
        self._tables += 1
        caption_id = f"table-{self._tables}"
        heads = (
            element("th", element("span", column.title), scope="col") for column in table.columns
        )
        whole = element(
            "table",
            element("caption", table.caption, id=caption_id),
            _widths(table),
            element("thead", element("tr", *heads)),
            *(_group(group, table) for group in table.groups),
            class_=_kind("turned" * table.turned),
        )
        return scrolled(whole, caption_id)


def _widths(table: Table) -> Markup:
    if table.turned:
        return Markup("")
    total = sum(column.share for column in table.columns)
    shares = (100 * column.share / total for column in table.columns)
    return element("colgroup", *(element("col", style=f"width:{one:.2f}%") for one in shares))


def _group(group: Group, table: Table) -> Markup:
    rows = []
    if group.head:
        wide = len(table.columns)
        head = element("th", _text(group.head), scope="rowgroup", colspan=wide)
        rows.append(element("tr", head, class_="group"))
    for row in group.rows:
        cells = (
            _cell(cell, head=table.row_heads and at == 0, numbers=table.columns[at].numbers)
            for at, cell in enumerate(row)
        )
        rows.append(element("tr", *cells))
    return element("tbody", *rows)


def _cell(cell: Cell, *, head: bool, numbers: bool) -> Markup:
    inner = joined((_text(line) for line in cell.lines), element("br"))
    kind = _kind(_tone(cell.tone), "number" * numbers)
    if head:
        return element("th", inner, scope="row", class_=kind)
    return element("td", inner, class_=kind)


def _signature(box: SignatureBox) -> Markup:
    rows = (("Name", box.name), ("Company", box.company), ("Date", ""), ("Signature", ""))
    pairs = (element("div", element("dt", name), element("dd", _filled(v))) for name, v in rows)
    party = element("p", box.party, class_="party")
    return element(
        "div", party, element("dl", *pairs), class_="signature", role="group", aria_label=box.party
    )


def _filled(value: str) -> Markup:
    return element("span", value or TO_FILL_IN, class_=None if value else "blank")
