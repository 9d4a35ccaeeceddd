"""Bars of a chart, and its shaded bands: stretches of time, each with its text."""

from itertools import pairwise
from typing import Final

from gaswitness import svg
from gaswitness.chart import Band, Bar, Shade, State, Stretch
from gaswitness.chart_frame import ACROSS, EDGE, INK, LEAST_WIDTH, LEFT, SMALL, Frame, span_words

HEIGHT: Final = 18.0
THICK: Final = 12.0


def draw_bar(bar: Bar, frame: Frame, top: float) -> list[str]:
    """One row, `HEIGHT` high, its label at the left."""
    label = shown_label(bar.label)
    said = svg.text(LEFT - 8, top + HEIGHT / 2 + 4, label, SMALL, text_anchor="end")
    shapes = [svg.titled(said, bar.name or bar.label)]
    for stretch in bar.stretches:
        if frame.shows(stretch.from_s, stretch.to_s):
            shapes += _stretch(stretch, bar, frame, top)
    return shapes + _notches(bar, frame, top)


def shown_label(label: str) -> str:
    """A row's label as there is room for it."""
    return svg.fitted(label, LEFT - EDGE - 8, SMALL)


def _stretch(stretch: Stretch, bar: Bar, frame: Frame, top: float) -> list[str]:
    x, end, middle = frame.x(stretch.from_s), frame.x(stretch.to_s), top + HEIGHT / 2
    if stretch.state is State.OFF:
        return [svg.line((x, middle), (end, middle), stroke="#999999", stroke_width=1)]
    known = stretch.state is State.ON
    width = max(end - x, LEAST_WIDTH)
    shape = svg.rect(
        x,
        middle - THICK / 2,
        width,
        THICK,
        fill="#222222" if known else frame.fill(Shade.UNKNOWN),
        stroke="#222222",
        stroke_width=0.6,
    )
    when = span_words(stretch.from_s, stretch.to_s)
    shapes = [svg.titled(shape, f"{bar.name or bar.label} {stretch.state}, {when}")]
    said = stretch.text or ("" if known else "unknown")
    wide = svg.width_of(said, SMALL)
    if said and wide + 6 <= width:
        place = x + width / 2
        if not known:
            ground = svg.rect(place - wide / 2, middle - 5.5, wide, 11, fill="#ffffff")
            shapes.append(ground)
        ink = "#ffffff" if known else INK
        shapes.append(svg.text(place, middle + 4, said, SMALL, text_anchor="middle", fill=ink))
    return shapes


def _notches(bar: Bar, frame: Frame, top: float) -> list[str]:
    """Where one stretch meets another, and breaks too short to be seen: cut in from above."""
    seams = [
        svg.line((x, top + 2), (x, top + HEIGHT - 2), stroke="#ffffff", stroke_width=1)
        for before, after in pairwise(bar.stretches)
        if before.state is after.state is State.ON
        for x in [frame.x(after.from_s)]
    ]
    return seams + [
        svg.rect(frame.x(gap.from_s), top + 2, LEAST_WIDTH, THICK / 2 + 1, fill="#ffffff")
        for before, gap in pairwise(bar.stretches)
        if gap.state is State.OFF and before.state is not State.OFF
        if frame.x(gap.to_s) - frame.x(gap.from_s) < LEAST_WIDTH
    ]


def draw_band(band: Band, frame: Frame, top: float, bottom: float) -> str:
    """The shading, to lie behind everything else."""
    x = frame.x(band.from_s)
    width = max(frame.x(band.to_s) - x, LEAST_WIDTH)
    shape = svg.rect(
        x,
        top,
        width,
        bottom - top,
        fill=frame.fill(band.shade),
        stroke="#777777",
        stroke_width=0.5,
    )
    return svg.titled(shape, f"{band.text}, {span_words(band.from_s, band.to_s)}")


def band_texts(bands: tuple[Band, ...], frame: Frame, y: float) -> list[str]:
    """Each band's text at its beginning, unless it would run into the one before; the foot of the
    chart has all of them."""
    shapes = []
    free = LEFT
    for band in bands:
        wide = svg.width_of(band.text, SMALL)
        x = min(frame.x(band.from_s) + 3, LEFT + ACROSS - wide)
        if x >= free and frame.shows(band.from_s, band.to_s):
            shapes.append(svg.rect(x - 2, y - 10, wide + 4, 13, fill="#ffffff", fill_opacity=0.9))
            shapes.append(svg.text(x, y, band.text, SMALL))
            free = x + wide + 6
    return shapes
