"""The curves of a strip, their scale, and the lines of levels with their texts."""

import math
from collections.abc import Callable
from typing import Final

from gaswitness import svg
from gaswitness.chart import Curve, Limit, Plot
from gaswitness.chart_frame import ACROSS, FAINT, INK, LEFT, RIGHT, SMALL, Frame
from gaswitness.chart_scale import runs, spread, thinned, value_ticks, without_middles

HEIGHT: Final = 104.0
MOST_TICKS: Final = 4
LABEL_GAP: Final = 13.0


def draw_plot(plot: Plot, frame: Frame, top: float) -> list[str]:
    """The plot with its upper edge at `top`, `HEIGHT` high."""
    low, high = _scale(plot)

    def y(value: float) -> float:
        share = (value - low) / (high - low)
        return top + HEIGHT * (1 - min(max(share, 0.0), 1.0))

    shapes = []
    for value in value_ticks(low, high, MOST_TICKS):
        at = y(value)
        shapes.append(svg.line((LEFT - 4, at), (LEFT, at), stroke=INK, stroke_width=0.8))
        shapes.append(svg.text(LEFT - 7, at + 4, f"{value:g}", SMALL, text_anchor="end"))
    shapes.append(svg.text(LEFT - 56, top + 10, plot.unit, SMALL, text_anchor="end"))
    shapes.append(svg.rect(LEFT, top, ACROSS, HEIGHT, fill="none", stroke=FAINT, stroke_width=0.8))
    limits = [one for one in plot.limits if frame.shows(one.from_s, one.to_s)]
    shapes += _limits(limits, frame, top, [y(one.value) for one in limits])
    for curve in sorted(plot.curves, key=lambda one: not one.applied):
        shapes += _curve(curve, frame, y)
    return shapes


def _scale(plot: Plot) -> tuple[float, float]:
    """Lowest and highest value shown: all that there is, and a little more."""
    values = [v for curve in plot.curves for _, v in curve.points if not math.isnan(v)]
    values += [limit.value for limit in plot.limits]
    values += [bound for bound in (plot.low, plot.high) if bound is not None]
    low, high = min(values, default=0.0), max(values, default=1.0)
    margin = 0.06 * (high - low) or 0.5 * (abs(high) or 1.0)
    return low - margin, high + margin


def _limits(limits: list[Limit], frame: Frame, top: float, heights: list[float]) -> list[str]:
    shapes = []
    places = spread(heights, LABEL_GAP, top + 4, top + HEIGHT - 2)
    for limit, at, place in zip(limits, heights, places, strict=True):
        start, end = frame.x(limit.from_s), frame.x(limit.to_s)
        shapes.append(
            svg.line((start, at), (end, at), stroke=INK, stroke_width=0.9, stroke_dasharray="9 4")
        )
        if limit.to_s >= frame.to_s:
            tip = LEFT + ACROSS
            shapes.append(
                svg.path(
                    [(tip, at), (tip + 5, at), (tip + 11, place)], stroke=FAINT, stroke_width=0.7
                )
            )
            said = svg.fitted(limit.text, RIGHT - 16, SMALL)
            shapes.append(svg.text(tip + 14, place + 4, said, SMALL))
        elif (width := svg.width_of(limit.text, SMALL)) < end - start:
            shapes.append(svg.text(end - width, at - 3, limit.text, SMALL))
    return shapes


def _curve(curve: Curve, frame: Frame, y: Callable[[float], float]) -> list[str]:
    shapes = []
    for run in runs(curve.points):
        kept = without_middles(thinned(run, frame.from_s, frame.to_s, int(ACROSS)))
        points = [(frame.x(at), y(value)) for at, value in kept]
        if len(points) == 1:
            points.append((points[0][0] + 1.0, points[0][1]))
        shapes.append(
            svg.titled(svg.path(points, stroke_linejoin="round", **_style(curve)), curve.label)
        )
    return shapes


def _style(curve: Curve) -> dict[str, str | float]:
    if curve.applied:
        return {"stroke": FAINT, "stroke_width": 0.9, "stroke_dasharray": "3 2"}
    return {"stroke": INK, "stroke_width": 1.6}


def key(plot: Plot, right: float, y: float) -> list[str]:
    """Which line is which, ending at `right`."""
    shapes = []
    for curve in reversed(plot.curves):
        left = right - svg.width_of(curve.label, SMALL)
        shapes.append(svg.text(left, y, curve.label, SMALL))
        shapes.append(svg.line((left - 30, y - 4), (left - 5, y - 4), **_style(curve)))
        right = left - 44
    return shapes
