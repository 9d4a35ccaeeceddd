"""The curves of an event's chart: the reading as it was seen, and the gas as it was told."""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise

from gaswitness_probe.applied import Applied, FaultMade, GasApplied, InhibitSet
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.points import Point

Span = tuple[float, float]
Told = Sequence[tuple[Applied, GasApplied | FaultMade | InhibitSet]]
"""What was done at a channel, in order."""


def by_channel(
    applied: Sequence[Applied],
) -> dict[str, list[tuple[Applied, GasApplied | FaultMade | InhibitSet]]]:
    found: dict[str, list[tuple[Applied, GasApplied | FaultMade | InhibitSet]]] = {}
    for one in applied:
        action = one.action
        if isinstance(action, GasApplied | FaultMade | InhibitSet):
            found.setdefault(action.channel, []).append((one, action))
    return found


def reading_curve(view: PanelView, point: Point, span: Span) -> Iterator[tuple[float, float]]:
    """Each sample where its answer came; a gap where the next is further off than a dwell."""
    series = view.series(point)
    first = bisect_left(series.high, span[0])
    last = bisect_right(series.first, span[1])
    before = math.nan
    for at in range(max(first - 1, 0), last):
        begun, ended, value = series.first[at], series.high[at], series.values[at]
        if begun - before > view.eyesight.dwell_s:
            yield before, math.nan
        if begun >= span[0]:
            yield begun, value
        yield min(max(ended, span[0]), span[1]), value
        before = ended


def gas_curve(channel: Channel, told: Told, span: Span) -> Iterator[tuple[float, float]]:
    """What was told to have been applied: straight from one level to the next."""
    now = channel.clean_reading
    points = [(min(span[0], 0.0), now)]
    for one, action in told:
        if one.done_s >= span[1]:
            break
        if isinstance(action, GasApplied):
            if points[-1][0] > one.done_s:
                now = _between(points[-2], points[-1], one.done_s)
                points.pop()
            points += [(one.done_s, now), (one.done_s + action.over_s, action.level)]
            now = action.level
    points.append((max(span[1], points[-1][0]), now))
    yield from _cut(points, span)


def _cut(points: Sequence[tuple[float, float]], span: Span) -> Iterator[tuple[float, float]]:
    """The line within the span, its ends put in between where it is cut."""
    for (from_s, start), (to_s, end) in pairwise(points):
        if to_s < span[0] or from_s > span[1]:
            continue
        for at_s in (max(from_s, span[0]), min(to_s, span[1])):
            yield at_s, _between((from_s, start), (to_s, end), at_s)


def _between(begun: tuple[float, float], ended: tuple[float, float], at_s: float) -> float:
    """The value at an instant on the straight line from one point to the other."""
    (from_s, start), (to_s, end) = begun, ended
    share = (at_s - from_s) / (to_s - from_s) if to_s > from_s else 1.0
    return start + share * (end - start)
