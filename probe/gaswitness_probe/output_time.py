"""The time of its own that each new cause gives a pulsed or timed output (panel's rule 27)."""

from collections.abc import Sequence
from math import inf

from gaswitness_probe.signal import (
    FALSE,
    TRUE,
    UNKNOWN,
    Event,
    Signal,
    Truth,
    Window,
    combine,
    from_changes,
)
from gaswitness_sitefile.devices import Output

PULSE, MINIMUM = "pulse", "minimum on"
"""Aspects that tell how long such an output acted."""

EARLY, LATE = 0.9, 1.1
"""The parts of its time between which it may end, the scan that finds it over aside; common
practice, no source."""


def lasting(output: Output, scan_s: float) -> Window | None:
    """How long the output's own time may last, in seconds; None where it has none."""
    timed_s = output.timed_s
    return None if timed_s is None else Window(EARLY * timed_s, LATE * timed_s + scan_s)


def given_time(causes: Sequence[Event], lasts: Window, broken: Sequence[Window]) -> Signal:
    """Where causes that came anew at these instants keep an output on.

    `broken`: where its memory may have been lost; nothing is sure then of what was begun before.
    """
    sure: list[tuple[float, float]] = []
    possible: list[tuple[float, float]] = []
    for event in causes:
        possible.append((event.low, event.high + lasts.high))
        lost = min((window.low for window in broken if window.high >= event.low), default=inf)
        until = min(event.low + lasts.low, lost)
        if event.sure and event.high < until:
            sure.append((event.high, until))
    return combine(_known, [_covered(sure), _covered(possible)])


def _covered(spans: Sequence[tuple[float, float]]) -> Signal:
    """True where any of the spans is, false elsewhere."""
    merged: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    begins_on = bool(merged) and merged[0][0] == -inf
    changes: list[tuple[float, Truth]] = []
    for start, end in merged:
        if start > -inf:
            changes.append((start, TRUE))
        if end < inf:
            changes.append((end, FALSE))
    return from_changes(TRUE if begins_on else FALSE, changes)


def _known(now: Sequence[Truth]) -> Truth:
    """True where it must be, false where it may not be, unknown between."""
    must, may = now
    if must is TRUE:
        return TRUE
    return FALSE if may is FALSE else UNKNOWN
