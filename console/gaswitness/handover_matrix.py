"""The cause-and-effect matrix drawn on one page: causes down, effects across, a mark at each
crossing; the sheet and the size of its letters chosen so that it fits. Layout only."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
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
SMALLEST_PT: Final = 6.0
"""Below this print is no longer read with ease (common practice, no source)."""
STEP_PT: Final = 0.25
_MM: Final = 25.4 / 72
_WIDE: Final = 0.54
"""Width of a character in font sizes, on the safe side for common sans-serif faces."""
_LINE: Final = 1.25
_PAD: Final = 0.5
_WIDTHS: Final = (72, 48, 34, 22)
"""Characters at which the words of a cause are broken, at the most."""
_EFFECT: Final = 34
_RAGGED: Final = 1.15
"""How much longer text gets by lines that end before the edge."""
_BELOW: Final = 80
_BELOW_COLUMNS: Final = 3
_AROUND_MM: Final = 16
"""Heading, caption and foot of the page."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The paper for the drawing, its place in `SHEETS`, and the size of its letters in points."""

    paper: str
    size: int
    points: float
    fits: bool

    @property
    def css_size(self) -> str:
        """In mm, since style sheets know no names beyond A3 (CSS Paged Media Level 3, 7.1)."""
        _, width_mm, height_mm = SHEETS[self.size]
        return f"{width_mm}mm {height_mm}mm"


@dataclass(frozen=True, slots=True)
class Extent:
    """Width and height of a drawing, in sizes of its letters."""

    wide: float
    high: float


def matrix_block(site: Site) -> tuple[Markup, str]:
    """The drawing with its legend, and the style sheet that puts it on a page of its own."""
    drawing = crossing_of(site.matrix, [output.tag for output in site.outputs])
    legend = list(_legend(site, drawing))
    notes = list(drawing.notes)
    below = _lines_below([*legend, *notes])
    plans = [
        _Plan(site, drawing, stacked, cause, says)
        for stacked in (False, True)
        for cause in _WIDTHS
        for says in _WIDTHS
    ]
    sheets = [sheet_for(plan.extent(below)) for plan in plans]
    sheet, plan = max(
        zip(sheets, plans, strict=True), key=lambda one: (-one[0].size, one[0].points)
    )
    table = _table(plan)
    block = joined(
        [
            scrolled(table, "matrix-caption"),
            element(
                "div",
                *(paragraph(line) for line in legend),
                bullets(notes, numbered=True),
                class_="legend",
            ),
        ]
    )
    return block, _CSS % {
        "paper": sheet.css_size,
        "points": f"{sheet.points:g}",
        "margin": MARGIN_MM,
        "cause": f"{plan.cause_width * _WIDE + 2 * _PAD:.1f}",
        "says": f"{plan.says_width * _WIDE + 2 * _PAD:.1f}",
    }


def sheet_for(extent: Extent) -> Sheet:
    """The smallest sheet on which the drawing can be read, and the largest letters that fit."""
    points = SMALLEST_PT
    for at, (paper, width_mm, height_mm) in enumerate(SHEETS):
        free = (width_mm - 2 * MARGIN_MM, height_mm - 2 * MARGIN_MM - _AROUND_MM)
        size = min(free[0] / extent.wide, free[1] / extent.high) / _MM
        points = min(LARGEST_PT, math.floor(size / STEP_PT) * STEP_PT)
        if points >= SMALLEST_PT:
            return Sheet(paper, at, points, fits=True)
    return Sheet(SHEETS[-1][0], len(SHEETS) - 1, max(points, STEP_PT), fits=False)


@dataclass(frozen=True)
class _Plan:
    """A way to draw the matrix: with marks on one line each, or `stacked` in narrow columns; causes
    and their words broken at so many characters."""

    site: Site
    drawing: Crossing
    stacked: bool
    cause_width: int
    says_width: int

    @cached_property
    def cells(self) -> dict[tuple[str, str], Cell]:
        """The cells by cause and effect."""
        return {(cell.cause, cell.effect): cell for cell in self.site.matrix}

    @cached_property
    def says(self) -> dict[str, str]:
        """What each cause is, in words."""
        trees = {cell.cause: cell.cause_tree for cell in self.site.matrix}
        return {cause: cause_words(self.site, tree) for cause, tree in trees.items()}

    def lines(self, cause: str, effect: str) -> list[str]:
        """What stands at the crossing, line by line; empty without a cell."""
        cell = self.cells.get((cause, effect))
        if cell is None:
            return []
        parts = _mark_parts(cell, self.drawing)
        return parts if self.stacked else [" ".join(parts)]

    def extent(self, below: int) -> Extent:
        """How large it comes out, with `below` lines under it."""
        drawing = self.drawing
        cause = min(self.cause_width, max(map(len, drawing.causes), default=1))
        says = min(self.says_width, max(map(len, self.says.values()), default=1))
        names = [len(_effect_name(self.site, effect)) for effect in drawing.effects]
        head = min(_EFFECT, max(names, default=1)) * _WIDE + 2
        wide = (cause + says) * _WIDE + 4 * _PAD + sum(map(self._column, drawing.effects))
        rows = sum(self._row(one, (cause, says)) for one in drawing.causes)
        return Extent(wide, head + rows + below * _LINE)

    def _column(self, effect: str) -> float:
        lines = [len(line) for cause in self.drawing.causes for line in self.lines(cause, effect)]
        return max(2 * _LINE, max(lines, default=1) * _WIDE) + 2 * _PAD

    def _row(self, cause: str, widths: tuple[int, int]) -> float:
        marks = [len(self.lines(cause, effect)) for effect in self.drawing.effects]
        texts = zip((cause, self.says[cause]), widths, strict=True)
        wrapped = [
            1 if len(text) <= width else math.ceil(len(text) * _RAGGED / width)
            for text, width in texts
        ]
        return max([1, *marks, *wrapped]) * _LINE + _PAD


def _lines_below(texts: list[str]) -> int:
    """Lines that legend and notes take in their columns."""
    return math.ceil(sum(math.ceil(len(text) / _BELOW) for text in texts) / _BELOW_COLUMNS) + 2


def _effect_name(site: Site, tag: str) -> str:
    output = site.output_of[tag]
    return f"{tag} {output.name or output.kind}"


def _mark_parts(cell: Cell, drawing: Crossing) -> list[str]:
    """The mark with its on-delay and the note's number, off-delay, response where not the usual."""
    first = LATCHES if cell.latching else ACTS
    if cell.on_delay_s:
        first += f" {seconds_text(cell.on_delay_s)}"
    if cell.note:
        first += f" {drawing.notes.index(cell.note) + 1}"
    parts = [first]
    if cell.off_delay_s:
        parts.append(f"off {seconds_text(cell.off_delay_s)}")
    if cell.response_s != drawing.within_s:
        parts.append(f"in {seconds_text(cell.response_s)}")
    return parts


def _mark(plan: _Plan, cause: str, effect: str) -> Markup:
    cell = plan.cells.get((cause, effect))
    if cell is None:
        return Markup("")
    first, *others = _mark_parts(cell, plan.drawing)
    number = ""
    if cell.note:
        first, _, number = first.rpartition(" ")
    letter, _, delay = first.partition(" ")
    said = joined(
        [
            element("strong", letter),
            f" {delay}" if delay else "",
            element("sup", number) if number else "",
        ]
    )
    return joined([said, *others], Markup("<br>") if plan.stacked else " ")


def _table(plan: _Plan) -> Markup:
    site, drawing = plan.site, plan.drawing
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
            element("td", plan.says[cause], class_="says"),
            *(element("td", _mark(plan, cause, tag), class_="mark") for tag in drawing.effects),
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


_CSS: Final = """
.matrix { font-size: .8rem; }
.matrix .effect { vertical-align: bottom; padding: .4em .2em; }
.matrix .effect span { writing-mode: vertical-rl; transform: rotate(180deg); max-height: 18em;
  line-height: 1.25; font-weight: 400; }
.matrix .mark { text-align: center; white-space: nowrap; line-height: 1.25; }
.matrix tbody th { max-width: %(cause)sem; }
.matrix .says { max-width: %(says)sem; }
.matrix tbody tr:nth-child(even) td, .matrix tbody tr:nth-child(even) th { background: #f6f7f9; }
.legend { columns: 3 22rem; column-gap: 1.5rem; font-size: .85rem; }
.legend p, .legend ol { margin: .2rem 0; }
@page matrix { size: %(paper)s; margin: %(margin)smm; }
@media print {
  #matrix { page: matrix; break-before: page; break-after: page; break-inside: avoid; }
  #matrix h2 { margin: 0 0 1mm; font-size: 12pt; }
  #matrix .wide { margin: 0; }
  #matrix .matrix, #matrix .legend { font-size: %(points)spt; }
  #matrix .legend { columns: 3; line-height: 1.25; }
  #matrix .legend p, #matrix .legend ol { margin: 0; max-width: none; }
  #matrix .matrix th, #matrix .matrix td { padding: .18em .35em; line-height: 1.2; }
  #matrix p.lead { display: none; }
}
"""
