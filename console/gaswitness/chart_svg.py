"""A chart drawn as one self-contained SVG: readable on paper, in black and white, and by those who
cannot see it. How curves, bars and marks look is in modules of their own.
"""

import textwrap
from dataclasses import dataclass, field
from typing import Final

from gaswitness import chart_plot, chart_rows, svg
from gaswitness.chart import Chart, Shade, Strip
from gaswitness.chart_frame import (
    ACROSS,
    EDGE,
    INK,
    LEFT,
    ROW,
    SMALL,
    WIDTH,
    Frame,
    span_words,
)
from gaswitness.chart_marks import draw_list, draw_marks
from gaswitness.chart_scale import time_text, time_ticks

MOST_TICKS: Final = 12

HATCHES: Final = {
    Shade.WAITING: ("M0 8 L8 0", 8.0, "#f3f3f3"),
    Shade.DEAD: ("M0 6 L6 0 M0 0 L6 6", 6.0, "#e2e2e2"),
    Shade.ASIDE: ("M0 3 L6 3", 6.0, "#f3f3f3"),
    Shade.WINDOW: ("M4 0 L4 8", 8.0, "#ffffff"),
    Shade.UNKNOWN: ("M0 0 L5 5", 5.0, "#ffffff"),
}
"""Lines, size and ground: each kind of shading differs in its lines, not in colour."""


def chart_svg(chart: Chart, *, prefix: str = "chart") -> str:
    """The chart as an SVG document. `prefix` keeps its ids apart from others' on one page."""
    drawing = _Drawing(chart, Frame(chart.from_s, chart.to_s, prefix))
    drawing.head()
    drawing.body()
    drawing.foot()
    return drawing.document()


@dataclass(slots=True)
class _Drawing:
    """Draws from the top down; `y` is where the next part begins. `behind` lies under `front`."""

    chart: Chart
    frame: Frame
    y: float = 0.0
    behind: list[str] = field(default_factory=list)
    front: list[str] = field(default_factory=list)

    def document(self) -> str:
        """The whole, once everything is drawn."""
        prefix, height = self.frame.prefix, self.y + EDGE
        hatches = [svg.hatch(f"{prefix}-{shade}", *HATCHES[shade]) for shade in HATCHES]
        content = [
            svg.element("title", svg.plain(self.chart.title), id=f"{prefix}-title"),
            svg.element("desc", svg.plain(self.chart.summary), id=f"{prefix}-desc"),
            svg.element("defs", "".join(hatches)),
            svg.rect(0, 0, WIDTH, height, fill="#ffffff"),
            *self.behind,
            *self.front,
        ]
        whole = svg.element(
            "svg",
            "\n".join(["", *content, ""]),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {svg.number(WIDTH)} {svg.number(height)}",
            width=WIDTH,
            height=height,
            role="img",
            aria_labelledby=f"{prefix}-title {prefix}-desc",
            font_family="Helvetica, Arial, sans-serif",
            fill=INK,
        )
        return f"{whole}\n"

    def head(self) -> None:
        """Title, and what the chart is about."""
        self.y = 32
        title = svg.fitted(self.chart.title, WIDTH - 2 * EDGE, 18)
        self.front.append(svg.text(EDGE, self.y, title, 18, font_weight="bold"))
        self.y += 3
        for said in self.chart.about:
            self._paragraph(said, 12, 16)
        self.y += 12

    def _paragraph(self, said: str, size: float, row: float) -> None:
        for line in textwrap.wrap(said, int((WIDTH - 2 * EDGE) / (size * svg.CHARACTER))):
            self.y += row
            self.front.append(svg.text(EDGE, self.y, line, size))

    def body(self) -> None:
        """All strips between two time axes; bands and marks go through."""
        numbers_y = self.y
        shapes, height = draw_marks(self.chart.marks, self.frame, numbers_y)
        self.y += height
        bands_y = self.y + 13
        self.y += 18 if self.chart.bands else 0
        self._axis_above()
        top = self.y
        for strip in self.chart.strips:
            self._strip(strip)
        self._through(numbers_y, top)
        self.front += shapes
        self.front += chart_rows.band_texts(self.chart.bands, self.frame, bands_y)
        self._axis_beneath()

    def _through(self, numbers_y: float, top: float) -> None:
        """What goes from top to bottom, under everything else."""
        bands = [chart_rows.draw_band(b, self.frame, top, self.y) for b in self.chart.bands]
        lines = []
        for at_s in self._ticks():
            x = self.frame.x(at_s)
            lines.append(svg.line((x, top), (x, self.y), stroke="#dddddd", stroke_width=0.8))
        for mark in self.chart.marks:
            x = self.frame.x(mark.at_s)
            ends = (x, numbers_y + 2), (x, self.y)
            lines.append(
                svg.line(*ends, stroke="#555555", stroke_width=0.8, stroke_dasharray="1 3")
            )
        self.behind = [*bands, *lines, *self.behind]

    def _ticks(self) -> tuple[float, ...]:
        return time_ticks(self.chart.from_s, self.chart.to_s, MOST_TICKS)

    def _axis(self, y: float, tip: float, text_y: float) -> None:
        ticks = self._ticks()
        tenths = len(ticks) > 1 and ticks[1] - ticks[0] < 1
        ends = (LEFT, y), (LEFT + ACROSS, y)
        self.front.append(svg.line(*ends, stroke=INK, stroke_width=1))
        for at_s in ticks:
            x = self.frame.x(at_s)
            self.front.append(svg.line((x, y), (x, tip), stroke=INK, stroke_width=1))
            said = time_text(at_s, tenths=tenths)
            self.front.append(svg.text(x, text_y, said, SMALL, text_anchor="middle"))

    def _axis_above(self) -> None:
        self.front.append(svg.text(EDGE, self.y + 12, "time", SMALL))
        self.y += 20
        self._axis(self.y, self.y - 4, self.y - 7)

    def _axis_beneath(self) -> None:
        self._axis(self.y, self.y + 4, self.y + 16)
        middle = LEFT + ACROSS / 2
        self.front.append(
            svg.text(middle, self.y + 33, self.chart.axis, SMALL, text_anchor="middle")
        )
        self.y += 46

    def _strip(self, strip: Strip) -> None:
        self.y += 19
        room = WIDTH - 2 * EDGE - (320 if strip.plot else 0)
        title = svg.fitted(strip.title, room, 12)
        ground = svg.rect(EDGE, self.y - 12, svg.width_of(title, 12), 17, fill="#ffffff")
        self.front.append(ground + svg.text(EDGE, self.y, title, 12, font_weight="bold"))
        if strip.plot is not None:
            self.front += chart_plot.key(strip.plot, LEFT + ACROSS, self.y)
        self.y += 7
        top = self.y
        if strip.bands:
            self.front += chart_rows.band_texts(strip.bands, self.frame, top + 11)
            self.y += 16
        if strip.plot is not None:
            self.front += chart_plot.draw_plot(strip.plot, self.frame, self.y)
            self.y += chart_plot.HEIGHT + 4
        for bar in strip.bars:
            self.front += chart_rows.draw_bar(bar, self.frame, self.y)
            self.y += chart_rows.HEIGHT
        self.behind += [chart_rows.draw_band(b, self.frame, top, self.y) for b in strip.bands]
        self.y += 4

    def foot(self) -> None:
        """What the numbers mean, what is shaded, and notes."""
        shapes, height = draw_list(self.chart.marks if self.chart.told else (), self.y)
        self.front += shapes
        self.y += height
        inner = [band for strip in self.chart.strips for band in strip.bands]
        shaded = [
            f"{band.text} {span_words(band.from_s, band.to_s)}"
            for band in (*self.chart.bands, *inner)
        ]
        if shaded:
            self._paragraph(f"Shaded: {'; '.join(shaded)}.", SMALL, ROW)
        bars = [bar.label for strip in self.chart.strips for bar in strip.bars]
        cut = [label for label in bars if chart_rows.shown_label(label) != label]
        if cut:
            self._paragraph(f"In full: {'; '.join(cut)}.", SMALL, ROW)
        for note in self.chart.notes:
            self._paragraph(note, SMALL, ROW)
