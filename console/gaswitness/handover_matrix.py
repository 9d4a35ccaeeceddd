"""The cause-and-effect matrix drawn on one page: causes down, effects across, a mark at each
crossing; the sheet and the size of its letters chosen so that it fits. Layout only."""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from gaswitness.handover_words import cause_words
from gaswitness.page import Markup, bullets, element, joined, markup, paragraph, scrolled
from gaswitness_sitefile.crossing import ACTS, LATCHES, Crossing, crossing_of, seconds_text
from gaswitness_sitefile.matrix import Cell, Vote
from gaswitness_sitefile.site import Site

SHEETS: Final = (("A4", 297, 210), ("A3", 420, 297), ("A2", 594, 420), ("A1", 841, 594))
"""Name, width and height in mm, landscape (ISO 216)."""
MARGIN_MM: Final = 8
LARGEST_PT: Final = 9.0
SMALLEST_PT: Final = 5.5
"""Below this print is no longer read with ease (common practice, no source)."""
STEP_PT: Final = 0.25
_MM: Final = 25.4 / 72
_WIDE: Final = 0.54
"""Width of a character in font sizes, on the safe side for common sans-serif faces."""
_LINE: Final = 1.25
_PAD: Final = 0.5
_CAUSE: Final = 34
_SAYS: Final = 36
_EFFECT: Final = 34
_AROUND_MM: Final = 24
"""Heading, caption and foot of the page."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The paper for the drawing, and the size of its letters in points."""

    paper: str
    points: float
    fits: bool


@dataclass(frozen=True, slots=True)
class _Extent:
    """The drawing in font sizes: width and height, letters aside."""

    wide: float
    high: float


def matrix_block(site: Site) -> tuple[Markup, str]:
    """The drawing with its legend, and the style sheet that puts it on a page of its own."""
    drawing = crossing_of(site.matrix, [output.tag for output in site.outputs])
    cells = {(cell.cause, cell.effect): cell for cell in site.matrix}
    legend = list(_legend(site, drawing))
    notes = list(drawing.notes)
    sheet = sheet_for(_extent(site, drawing, cells, len(legend) + len(notes)))
    table = _table(site, drawing, cells)
    block = joined(
        [
            scrolled(table, "matrix-caption"),
            element("div", *(paragraph(line) for line in legend), class_="legend"),
            _notes(notes),
        ]
    )
    return block, _CSS % {"paper": sheet.paper, "points": f"{sheet.points:g}", "margin": MARGIN_MM}


def sheet_for(extent: _Extent) -> Sheet:
    """The smallest sheet on which the drawing can be read, and the largest letters that fit."""
    for paper, width_mm, height_mm in SHEETS:
        free = (width_mm - 2 * MARGIN_MM, height_mm - 2 * MARGIN_MM - _AROUND_MM)
        size = min(free[0] / extent.wide, free[1] / extent.high) / _MM
        points = min(LARGEST_PT, math.floor(size / STEP_PT) * STEP_PT)
        if points >= SMALLEST_PT:
            return Sheet(paper, points, fits=True)
    return Sheet(SHEETS[-1][0], max(points, STEP_PT), fits=False)


def _extent(
    site: Site, drawing: Crossing, cells: Mapping[tuple[str, str], Cell], below: int
) -> _Extent:
    cause = min(_CAUSE, max(map(len, drawing.causes), default=1))
    says = min(_SAYS, max((len(cause_words(site, one)) for one in drawing.causes), default=1))
    effects = sum(_column(drawing, cells, effect) for effect in drawing.effects)
    wide = (cause + says) * _WIDE + 2 * 2 * _PAD + effects
    head = min(_EFFECT, max((len(_effect_name(site, e)) for e in drawing.effects), default=1))
    rows = sum(_row(site, drawing, cells, one, (cause, says)) for one in drawing.causes)
    return _Extent(wide, head * _WIDE + 2 + rows + below * _LINE)


def _column(drawing: Crossing, cells: Mapping[tuple[str, str], Cell], effect: str) -> float:
    lines = [
        len(line)
        for cause in drawing.causes
        if (cell := cells.get((cause, effect)))
        for line in _mark_lines(cell, drawing)
    ]
    return max(2 * _LINE, max(lines, default=1) * _WIDE) + 2 * _PAD


def _row(
    site: Site,
    drawing: Crossing,
    cells: Mapping[tuple[str, str], Cell],
    cause: str,
    widths: tuple[int, int],
) -> float:
    marks = [
        len(_mark_lines(cell, drawing))
        for effect in drawing.effects
        if (cell := cells.get((cause, effect)))
    ]
    texts = zip((cause, cause_words(site, cause)), widths, strict=True)
    wrapped = [math.ceil(len(text) * 1.12 / max(width, 1)) for text, width in texts]
    return max([1, *marks, *wrapped]) * _LINE + _PAD


def _effect_name(site: Site, tag: str) -> str:
    output = site.output_of[tag]
    return f"{tag} {output.name or output.kind}"


def _mark_lines(cell: Cell, drawing: Crossing) -> list[str]:
    """What stands at the crossing, line by line; the note's number goes to the first."""
    first = LATCHES if cell.latching else ACTS
    if cell.on_delay_s:
        first += f" {seconds_text(cell.on_delay_s)}"
    if cell.note:
        first += f" {drawing.notes.index(cell.note) + 1}"
    lines = [first]
    if cell.off_delay_s:
        lines.append(f"off {seconds_text(cell.off_delay_s)}")
    if cell.response_s != drawing.within_s:
        lines.append(f"in {seconds_text(cell.response_s)}")
    return lines


def _mark(cell: Cell | None, drawing: Crossing) -> Markup:
    if cell is None:
        return Markup("")
    lines = _mark_lines(cell, drawing)
    first = lines[0]
    parts: list[str] = []
    if cell.note:
        first, _, number = first.rpartition(" ")
        parts = [element("sup", number)]
    letter, _, delay = first.partition(" ")
    said = [element("strong", letter), f" {delay}" if delay else "", *parts]
    return joined([joined(said), *lines[1:]], Markup("<br>"))


def _table(site: Site, drawing: Crossing, cells: Mapping[tuple[str, str], Cell]) -> Markup:
    heads = [
        element(
            "th",
            element("span", element("strong", tag), f" {_effect_name(site, tag)[len(tag) + 1 :]}"),
            scope="col",
            class_="effect",
        )
        for tag in drawing.effects
    ]
    head = element(
        "tr",
        element("th", "Cause", scope="col"),
        element("th", "What it is", scope="col"),
        *heads,
    )
    rows = [
        element(
            "tr",
            element("th", _breakable(cause), scope="row"),
            element("td", cause_words(site, cause)),
            *(
                element("td", _mark(cells.get((cause, tag)), drawing), class_="mark")
                for tag in drawing.effects
            ),
        )
        for cause in drawing.causes
    ]
    return element(
        "table",
        element("caption", _caption(site, drawing), id="matrix-caption"),
        element("thead", head),
        element("tbody", *rows),
        class_="matrix",
    )


def _breakable(cause: str) -> Markup:
    """The cause, which may break after a comma of a vote or a blank only."""
    return markup(re.sub("-", "\u2011", cause))


def _caption(site: Site, drawing: Crossing) -> str:
    panel = site.panel
    parts = [f"Cause and effect of {panel.tag}"]
    parts += [part for part in (panel.document, panel.document_revision) if part]
    within = drawing.within_s
    allowed = "" if within is None else f"; response within {within:g} s unless the cell says so"
    return f"{', '.join(parts)}: causes down, effects across{allowed}"


def _legend(site: Site, drawing: Crossing) -> Iterable[str]:
    yield (
        "X acts while the cause stands. L latches: acts until a reset that comes when the cause is "
        "gone. X 10s: the cause must stand for 10 s first (on-delay). off 30s: acts for 30 s after "
        "the cause has gone (off-delay). in 5s: response within 5 s. Small figure: note below."
    )
    if any(isinstance(cell.cause_tree, Vote) for cell in site.matrix):
        yield "2oo3(a, b, c): a vote, true while at least 2 of the 3 are. AND, OR, NOT as written."
    energised = [output.tag for output in site.outputs if output.normally_energised]
    if energised:
        yield f"Energised at rest, dropping to act (fail-safe): {', '.join(energised)}."
    mutable = [output.tag for output in site.outputs if output.mutable]
    if mutable:
        yield f"Silenced by mute until a new cause comes: {', '.join(mutable)}."
    if unused := [tag for tag in drawing.effects if not site.cells_of.get(tag)]:
        yield f"Driven by no cause: {', '.join(unused)}."
    yield "An inhibited channel drives nothing, in votes and any-channel causes neither."


def _notes(notes: list[str]) -> Markup:
    return element("div", bullets(notes, numbered=True), class_="notes") if notes else Markup("")


_CSS: Final = """
.matrix { font-size: .8rem; }
.matrix .effect { vertical-align: bottom; padding: .4em .2em; }
.matrix .effect span { writing-mode: vertical-rl; transform: rotate(180deg); max-height: 18em;
  line-height: 1.25; font-weight: 400; }
.matrix .mark { text-align: center; white-space: nowrap; line-height: 1.25; }
.matrix tbody th { min-width: 10em; }
.matrix tbody tr:nth-child(even) td, .matrix tbody tr:nth-child(even) th { background: #f6f7f9; }
.legend p { margin: .2rem 0; font-size: .85rem; }
.notes ol { margin: .2rem 0; font-size: .85rem; }
@page matrix { size: %(paper)s landscape; margin: %(margin)smm; }
@media print {
  #matrix { page: matrix; break-before: page; break-after: page; break-inside: avoid; }
  #matrix h2 { margin: 0 0 1mm; font-size: 12pt; }
  #matrix .wide { margin: 0; }
  #matrix .matrix, #matrix .legend p, #matrix .notes ol { font-size: %(points)spt; }
  #matrix .legend p, #matrix .notes ol { margin: 0; max-width: none; line-height: 1.25; }
  #matrix .matrix th, #matrix .matrix td { padding: .18em .35em; line-height: 1.2; }
  #matrix p.lead { display: none; }
}
"""
