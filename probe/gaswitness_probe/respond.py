"""Measured responses as intervals, held against the window that is allowed, and put in words.

Decision rule with guard bands (JCGM 106, ISO 14253-1): proven only with the whole interval inside,
failed only with the whole interval outside, inconclusive where it straddles a limit.
"""

from math import inf

from gaswitness_probe.signal import Window
from gaswitness_probe.verdict import Interval, Outcome


def response(cause: Window, effect: Window) -> Interval:
    """How long the effect took, from the intervals in which cause and effect fell, in seconds."""
    return effect.low - cause.high, effect.high - cause.low


def decide(measured: Interval, allowed: Window) -> Outcome:
    """Proven, failed or inconclusive; the limits themselves are allowed."""
    low, high = measured
    if allowed.low <= low and high <= allowed.high:
        return Outcome.PROVEN
    if high < allowed.low or low > allowed.high:
        return Outcome.FAILED
    return Outcome.INCONCLUSIVE


def lower_open(allowed: Window) -> Window:
    """The window without its lower limit, where that is no limit at all (a delay of 0)."""
    return Window(-inf, allowed.high) if allowed.low <= 0 else allowed


def shown_response(measured: Interval) -> Interval:
    """The interval as it is reported: a response is never below 0."""
    return max(0.0, measured[0]), max(0.0, measured[1])


def seconds(value: float) -> str:
    """A duration or instant for people."""
    return f"{value:.1f} s"


def between(measured: Interval) -> str:
    """An interval of seconds for people."""
    low, high = shown_response(measured)
    return f"{low:.1f} to {high:.1f} s"


def allowance(allowed: Window) -> str:
    """A window for people."""
    if allowed.low <= 0:
        return f"within {allowed.high:g} s"
    return f"{allowed.low:g} to {allowed.high:g} s after"
