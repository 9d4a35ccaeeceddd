"""Numbers behind a chart: ticks, times as text, and fewer points that lose no peak. Pure."""

import math
from collections.abc import Iterable, Sequence
from typing import Final

TIME_STEPS_S: Final = (
    *(0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0),
    *(60.0, 120.0, 300.0, 600.0, 900.0, 1800.0),
    *(3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0, 86_400.0, 604_800.0),
)

Point = tuple[float, float]


def time_ticks(from_s: float, to_s: float, most: int) -> tuple[float, ...]:
    """Round instants within the span, no more than about `most`."""
    least = (to_s - from_s) / most
    step = next((one for one in TIME_STEPS_S if one >= least), TIME_STEPS_S[-1])
    first = math.ceil(from_s / step - 1e-9)
    last = math.floor(to_s / step + 1e-9)
    return tuple(number * step for number in range(first, last + 1))


def time_text(at_s: float, *, tenths: bool = False) -> str:
    """Minutes and seconds, such as 2:05 or 2:05.3, with hours where there are any: 1:02:05."""
    whole = round(at_s * 10) if tenths else round(at_s) * 10
    minutes, tenth = divmod(whole, 600)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{tenth // 10:02d}" + (f".{tenth % 10}" if tenths else "")
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes}:{seconds}"


def value_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """Round values within the span, no more than about `most`."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return tuple(round(number * step, 12) + 0.0 for number in range(first, last + 1))


def runs(points: Iterable[Point]) -> list[list[Point]]:
    """The points between gaps."""
    found: list[list[Point]] = [[]]
    for at, value in points:
        if math.isnan(value):
            if found[-1]:
                found.append([])
        else:
            found[-1].append((at, value))
    return [one for one in found if one]


def thinned(points: Sequence[Point], from_s: float, to_s: float, columns: int) -> list[Point]:
    """At most four points a column of the picture: its first, lowest, highest and last, in order.

    No peak is lost, and a line through them covers what a line through all would.
    """
    if len(points) <= 4:
        return list(points)
    found: list[Point] = []
    column: list[Point] = []
    at_column: int | None = None
    for point in points:
        here = math.floor((point[0] - from_s) / (to_s - from_s) * columns)
        if here != at_column and column:
            found += _ends(column)
            column = []
        at_column = here
        column.append(point)
    return found + _ends(column)


def without_middles(points: list[Point]) -> list[Point]:
    """The same line without the points in the middle of level stretches."""
    return [
        point
        for at, point in enumerate(points)
        if not 0 < at < len(points) - 1 or not points[at - 1][1] == point[1] == points[at + 1][1]
    ]


def _ends(column: list[Point]) -> list[Point]:
    lowest = min(range(len(column)), key=lambda at: column[at][1])
    highest = max(range(len(column)), key=lambda at: column[at][1])
    kept = sorted({0, lowest, highest, len(column) - 1})
    return [column[at] for at in kept]


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places for labels, at least `gap` apart where `low`..`high` has the room, in their order,
    close to where they were wanted."""
    order = sorted(range(len(wanted)), key=lambda at: wanted[at])
    places = [0.0] * len(wanted)
    below = low - gap
    for at in order:
        below = places[at] = max(wanted[at], below + gap)
    above = high + gap
    for at in reversed(order):
        above = places[at] = min(places[at], above - gap)
    return places
