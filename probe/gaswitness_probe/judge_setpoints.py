"""At which reading an alarm level came on: between which two, or why that cannot be told."""

from collections.abc import Iterator
from math import ceil, floor, inf, isinf, isnan, log10
from typing import Final

from gaswitness_probe.expect import LevelView
from gaswitness_probe.observe import Change, Stretch
from gaswitness_probe.respond import decide
from gaswitness_probe.series import Series
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Window
from gaswitness_probe.verdict import Aspect, Interval, Outcome
from gaswitness_sitefile.points import Point


def series_of_level(level: LevelView) -> Series | None:
    """The reading of the level's channel as its finest point showed it; None where none did."""
    point = level.view.reading_point(level.channel.tag)
    return level.view.series(point) if point is not None else None


def locate_setpoint(level: LevelView) -> Iterator[Aspect]:
    """Where the level came on, from the readings around every time that it did."""
    series = series_of_level(level)
    if series is None:
        return
    came: list[tuple[float, float, float]] = []
    for off_since, change in _comings(level):
        if not level.disturbed.throughout(FALSE, change.when.low, change.when.high):
            continue
        since = max(off_since, _undisturbed_since(level, change.when.low))
        low = _stood_below(level, series, since, change.when.low)
        high = _reached(level, series, since, change.when)
        came.append((low, high, change.when.high))
    if came:
        yield _located(level, came)


def _comings(level: LevelView) -> Iterator[tuple[float, Change]]:
    """Each time that the level was seen to come on, and since when it was known to be off."""
    before: Stretch | None = None
    for part in level.parts:
        if part.value is UNKNOWN:
            continue
        if before is not None and before.value is FALSE and part.value is TRUE:
            yield before.first.high, Change(Window(before.last.low, part.first.high), TRUE)
        before = part


def _undisturbed_since(level: LevelView, until_s: float) -> float:
    """Since when neither fault nor warm-up nor inhibit came between the reading and its level."""
    since = -inf
    for part in level.disturbed.segments():
        if part.start >= until_s:
            break
        if part.value is not FALSE:
            since = part.end
    return since


def _heights(level: LevelView, series: Series, shown: range, *, missing: float) -> list[float]:
    """Readings counted upwards in the direction of the alarm; `missing` stands for no number."""
    sign = 1.0 if level.rising else -1.0
    values = series.values[shown.start : shown.stop]
    return [missing if isnan(value) else sign * value for value in values]


def _stood_below(level: LevelView, series: Series, since_s: float, until_s: float) -> float:
    """A height at which the reading stood long enough to raise the level, had it been enough.

    Every reading that a sample shows was one that the panel judged, at most the level's lag before
    the level had to show. With an on-delay, the reading must have stood that high throughout: the
    lowest sample of a stretch as long as the delay, less what noise may have done between samples.
    """
    first = series.begun_before(since_s)
    if not level.level.on_delay_s:
        last = series.begun_by(until_s - level.lag_s)
        heights = _heights(level, series, range(first, last), missing=-inf)
        return max(heights, default=-inf) - level.rounding
    last = series.ended_by(until_s)
    heights = _heights(level, series, range(first, last), missing=-inf)
    found = -inf
    start = first
    for index in range(first, last):
        while start < index and series.last[index] - series.first[start + 1] >= level.delay.high:
            start += 1
        if series.last[index] - series.first[start] >= level.delay.high:
            found = max(found, min(heights[start - first : index + 1 - first]))
    return found - level.doubt


def _reached(level: LevelView, series: Series, since_s: float, came: Window) -> float:
    """The greatest height that the reading can have had when the level came on.

    Up to the first sample after it: in between the reading may have been anywhere below that one,
    and noise may have lifted it once. Nothing is known where samples are missing around it.
    """
    first = series.ended_by(since_s)
    due_s, sure_s = came.high - level.delay.low, came.low - level.delay.high
    last = series.begun_before(due_s)
    if not last or series.last[last - 1] < due_s:
        last += 1
    if last > len(series.values):
        return inf
    before = max(first, series.ended_by(sure_s) - 1)
    through = series.first[last - 1] <= sure_s  # one number was shown before the coming and after
    if not through and (before >= last - 1 or _gaping(level, series, before, last)):
        return inf
    highest = max(_heights(level, series, range(first, last), missing=inf), default=inf)
    if highest >= level.top_shown:
        return inf
    return highest + 2 * level.channel.noise + level.rounding


def _gaping(level: LevelView, series: Series, first: int, last: int) -> bool:
    """Whether samples lie so far apart that the reading may have come and gone between them."""
    dwell_s = level.view.eyesight.dwell_s
    return any(
        series.first[index + 1] - series.last[index] >= dwell_s for index in range(first, last - 1)
    )


def _located(level: LevelView, came: list[tuple[float, float, float]]) -> Aspect:
    """From all comings together: each the heights between which it came on, and its instant."""
    setpoint, channel = level.level.setpoint, level.channel
    sign = 1.0 if level.rising else -1.0
    tolerance = channel.level_tolerance(level.name)
    low, high = max(one[0] for one in came), min(one[1] for one in came)
    measured: Interval = (low - sign * setpoint, high - sign * setpoint)
    outcome = decide(measured, Window(-tolerance, tolerance))
    at_s = _telling_instant(came, measured, tolerance)
    ends = sorted((sign * low, sign * high))
    seen = f"{level.fact} came on {_between(ends)} {channel.unit}"
    stated = f"{setpoint:g} {channel.unit} ± {tolerance:g}"
    why = (
        seen
        if outcome is not Outcome.INCONCLUSIVE
        else (
            f"{seen}, which is too wide to tell whether its setpoint is {stated}; "
            + (_too_coarse(level, tolerance) or _MORE_SLOWLY)
        )
    )
    return Aspect("setpoint", outcome, f"{level.fact} on at {stated}", seen, because=why, at_s=at_s)


_MORE_SLOWLY: Final = (
    "approach the setpoint more slowly, or hold the gas just under and just over it"
)


def _telling_instant(
    came: list[tuple[float, float, float]], measured: Interval, tolerance: float
) -> float:
    """When the level came that tells most of its setpoint: that is wrong, or the nearest."""
    if measured[0] > tolerance:
        return max(came, key=lambda one: one[0])[2]
    if measured[1] < -tolerance:
        return min(came, key=lambda one: one[1])[2]
    return min(came, key=lambda one: one[1] - one[0])[2]


def _too_coarse(level: LevelView, tolerance: float) -> str:
    """Why no approach, however slow, settles the setpoint; empty where one would.

    At best a sample before the level's coming and one after it show the same number, which is one
    that the setpoint itself may show as.
    """
    point = level.view.reading_point(level.channel.tag)
    if point is None:
        return ""
    below = level.doubt if level.level.on_delay_s else level.rounding
    above = 2 * level.channel.noise + level.rounding
    off = _shown_off(level, point)
    if any(one - below >= -tolerance and one + above <= tolerance for one in off):
        return ""
    noise, unit = level.channel.noise, level.channel.unit
    limits = []
    if level.rounding:
        limits.append(f"{point.name} shows steps of {2 * level.rounding:g} {unit}")
    if noise:
        limits.append(f"the noise of {level.channel.tag} is ± {noise:g} {unit}")
    if not limits:
        return ""
    finer = "show the reading more finely, or " if level.rounding else ""
    widest = min(max(below - one, one + above) for one in off)
    return (
        f"no slower approach settles it: {' and '.join(limits)}; {finer}state a "
        f"setpoint_tolerance of at least {_rounded_up(widest):g} {unit}"
    )


def _shown_off(level: LevelView, point: Point) -> list[float]:
    """How far the numbers that a reading at the setpoint may show as lie past it, as heights."""
    if not level.rounding:
        return [0.0]
    step, setpoint = 2 * level.rounding, level.level.setpoint
    count = floor((setpoint - point.offset) / step)
    shown = [point.offset + (count + more) * step for more in (-1, 0, 1, 2)]
    sign = 1.0 if level.rising else -1.0
    near = level.rounding * (1 + 1e-9)
    return [sign * (one - setpoint) for one in shown if abs(one - setpoint) <= near]


def _rounded_up(value: float) -> float:
    """Two figures that are not below the value."""
    digits = 1 - floor(log10(value))
    return ceil(value * 10.0**digits - 1e-6) / 10.0**digits


def _between(ends: list[float]) -> str:
    """From where to where, in words, where either end may not be known."""
    low, high = ends
    if isinf(low) and isinf(high):
        return "at a reading that was not seen,"
    if isinf(low):
        return f"at {high:.4g} or below,"
    if isinf(high):
        return f"at {low:.4g} or above,"
    return f"between {low:.4g} and {high:.4g}"
