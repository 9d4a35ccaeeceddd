"""Whether a point's value can be right, from the site file alone: limits, constants, setpoints,
codes, digits. Pure; one reading at a time."""

import math
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.decode import decode, is_sentinel, unscaled
from gaswitness_probe.facts import within_type
from gaswitness_probe.history import Value
from gaswitness_probe.verdict import Outcome
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.event_log import EVENTS
from gaswitness_sitefile.mode_facts import is_first_up_number
from gaswitness_sitefile.points import FLOATS, NUMERIC, Point, PointType, is_number
from gaswitness_sitefile.site import Site

TINY: Final = 1e-6
"""Part of a channel's span below which a float other than zero is no reading of a gas: what a wrong
order of words makes of one (50.0 becomes 2.4e-41)."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What one sample of a point says. `tiny`: the value is too small to be a reading."""

    outcome: Outcome
    expected: str
    because: str = ""
    tiny: bool = False


def judge_value(
    site: Site, point: Point, raw: tuple[int, ...], *, fault_shown: bool | None
) -> Judged:
    """Hold the sample against the site file.

    `fault_shown`: whether the panel shows the point's channel in fault; None where the map does not
    show it.
    """
    value = decode(point, raw)
    if point.type is PointType.STRING:
        return _judge_text(point, value)
    if point.type is PointType.ENUMERATION:
        return _judge_code(point, raw, value, fault_shown=fault_shown)
    if point.type not in NUMERIC:
        return Judged(Outcome.PROVEN, "0 or 1" if point.type is not PointType.BIT_FIELD else "bits")
    if value is None:
        return _judge_no_number(point, raw, fault_shown=fault_shown)
    return _judge_number(site, point, float(value))


def _judge_text(point: Point, value: Value) -> Judged:
    if value is None:
        return Judged(Outcome.FAILED, "ASCII text", "a byte outside ASCII")
    if not str(value).isprintable():
        return Judged(Outcome.FAILED, "ASCII text", "a control character within the text")
    if point.value is None:
        return Judged(Outcome.PROVEN, "ASCII text")
    wanted = str(point.value).rstrip()
    same = value == wanted
    return Judged(
        Outcome.PROVEN if same else Outcome.FAILED,
        repr(wanted),
        "" if same else "another text than the points list says",
    )


def _judge_code(
    point: Point, raw: tuple[int, ...], value: Value, *, fault_shown: bool | None
) -> Judged:
    if (
        point.sentinel is not None
        and value is None
        and is_sentinel(point, unscaled(point, raw) or 0)
    ):
        return _judge_no_number(point, raw, fault_shown=fault_shown)
    if value is None:
        known = ", ".join(str(code) for code in sorted(point.codes))
        return Judged(Outcome.FAILED, f"one of the codes {known}", "no code of the points list")
    return Judged(Outcome.PROVEN, "a code of the points list")


def _judge_no_number(point: Point, raw: tuple[int, ...], *, fault_shown: bool | None) -> Judged:
    number = unscaled(point, raw)
    if number is None:
        return Judged(Outcome.FAILED, "decimal digits", "a digit above 9 in a BCD register")
    what = "NaN" if isinstance(number, float) and math.isnan(number) else "the fault sentinel"
    expected = "a number, or the sign for a fault while the channel's fault shows"
    if fault_shown is None:
        return Judged(
            Outcome.INCONCLUSIVE,
            expected,
            f"it shows {what}, and the map has no fault flag of its channel to hold that against",
        )
    if fault_shown:
        return Judged(Outcome.PROVEN, expected, f"it shows {what}, and the channel's fault shows")
    return Judged(
        Outcome.FAILED, expected, f"it shows {what}, yet the channel's fault is not shown"
    )


def _judge_number(site: Site, point: Point, value: float) -> Judged:
    wanted = wanted_number(site, point)
    if wanted is not None:
        return _judge_wanted(point, value, wanted)
    low, high = limits(site, point)
    tolerance = wire_tolerance(point, value)
    expected = f"{_shown(low)} to {_shown(high)} {point.unit}".strip()
    if not low - tolerance <= value <= high + tolerance:
        return Judged(Outcome.FAILED, expected, "outside what the point can show")
    channel = reading_of(site, point)
    if channel is not None and is_tiny(point, value, channel):
        return Judged(Outcome.FAILED, expected, "too small for a reading, yet not zero", tiny=True)
    if _is_fact(point) and value not in (0, 1):
        return Judged(Outcome.FAILED, "0 or 1", "neither 0 nor 1")
    return Judged(Outcome.PROVEN, expected)


def _judge_wanted(point: Point, value: float, wanted: float) -> Judged:
    kept = within_type(point, wanted)
    same = abs(value - kept) <= wire_tolerance(point, kept)
    what = "the points list" if point.shows == "constant" else "the site file"
    return Judged(
        Outcome.PROVEN if same else Outcome.FAILED,
        f"{kept:.12g} {point.unit}".strip(),
        "" if same else f"it differs from {what} by {value - kept:.6g}",
    )


def wanted_number(site: Site, point: Point) -> float | None:
    """The one number that the point must show, in its unit: a constant, or a level's setpoint."""
    if point.shows == "constant":
        return float(point.value) if isinstance(point.value, int | float) else None
    channel = site.channel_of.get(point.subject)
    level, _, aspect = point.what.partition(".")
    if channel is None or aspect != "setpoint" or level not in channel.levels:
        return None
    return channel.levels[level].setpoint if _same_unit(point, channel) else None


def limits(site: Site, point: Point) -> tuple[float, float]:
    """Lowest and highest value that the point may show, in its unit."""
    low, high = -math.inf, math.inf
    channel = reading_of(site, point)
    if channel is not None:
        low, high = channel.shown_limits
    elif is_number(point.what, point.subject):
        low, high = _limits_of_number(site, point)
    if point.low is not None:
        low = max(low, point.low)
    if point.high is not None:
        high = min(high, point.high)
    return low, high


MOST_MA: Final = 25.0
"""More than any loop carries; NAMUR NE 43 has failures from 21 mA on."""


def _limits_of_number(site: Site, point: Point) -> tuple[float, float]:
    """A loop's current in mA; an average of exposure, of which 24 h may stand over 8 h; which
    channel was the first; what the event log may say."""
    if is_first_up_number(point.subject, point.what):
        return 0.0, float(len(site.channels))
    if point.subject == "events":
        return 0.0, float(len(EVENTS)) if point.what.endswith(".code") else math.inf
    channel = site.channel_of.get(point.subject)
    if point.what == "current":
        return 0.0, MOST_MA
    if channel is None or not point.what.endswith(".average") or not _same_unit(point, channel):
        return -math.inf, math.inf
    return 0.0, 3.0 * channel.shown_limits[1]


def reading_of(site: Site, point: Point) -> Channel | None:
    """The channel whose reading the point shows in the channel's own unit."""
    channel = site.channel_of.get(point.subject)
    if channel is None or point.what != "reading" or not _same_unit(point, channel):
        return None
    return channel


def _same_unit(point: Point, channel: Channel) -> bool:
    return not point.unit or point.unit == channel.unit.value


def _is_fact(point: Point) -> bool:
    return bool(point.what) and point.what != "state" and not is_number(point.what, point.subject)


def is_tiny(point: Point, value: float, channel: Channel) -> bool:
    """Whether a float is not zero, yet too small to be a reading of the channel."""
    return point.type in FLOATS and 0.0 < abs(value) < TINY * channel.span


def wire_tolerance(point: Point, value: float) -> float:
    """How far the register's number may stand from the true one by rounding alone, in the unit.

    Half a count of an integer; four units in the last place of a float.
    """
    scale = abs(point.scale)
    if point.type is PointType.FLOAT32:
        stored = (value - point.offset) / point.scale if scale else 0.0
        exponent = max(math.frexp(stored)[1], -125) if stored else -125
        return 4.0 * scale * math.ldexp(1.0, exponent - 24)
    rounding = 4.0 * math.ulp(value) if math.isfinite(value) else 0.0
    if point.type is PointType.FLOAT64:
        return rounding
    return 0.5 * scale * (1.0 + 1e-9) + rounding


def _shown(limit: float) -> str:
    return "any" if math.isinf(limit) else f"{limit:.12g}"
