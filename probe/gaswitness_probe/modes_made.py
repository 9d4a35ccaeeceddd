"""What people did at the panel that lasts until they end it, its time is over or the power goes:
tests, calibrations, forced outputs. Pure: instants in, signals out.
"""

from collections.abc import Sequence

from gaswitness_probe.output_time import EARLY, LATE
from gaswitness_probe.signal import (
    ALWAYS_FALSE,
    FALSE,
    TRUE,
    UNKNOWN,
    Signal,
    Truth,
    Window,
    from_changes,
)


def on_until_ended(
    done: Sequence[tuple[Window, bool]], cut: Sequence[Window], lost: Sequence[Window]
) -> Signal:
    """On from where it was begun until it was ended, as somebody did in each window.

    `cut`: when the power was switched off, which ends it. `lost`: where it may have gone.
    """
    if not done:
        return ALWAYS_FALSE
    events: list[tuple[float, int, Window, bool | None]] = [
        *((window.low, 0, window, None) for window in lost),
        *((window.low, 1, window, False) for window in cut),
        *((window.low, 2, window, on) for window, on in done),
    ]
    state = FALSE if done[0][1] else UNKNOWN
    changes: list[tuple[float, Truth]] = []
    first = state
    for _, _, window, on in sorted(events, key=lambda event: event[:2]):
        to = UNKNOWN if on is None else TRUE if on else FALSE
        if (on is None and state is FALSE) or to is state:
            continue
        if window.high > window.low and on is not None:
            changes.append((window.low, UNKNOWN))
        changes.append((window.low if on is None else window.high, to))
        state = to
    return from_changes(first, sorted(changes, key=lambda change: change[0]))


def calibrating(
    begun: Sequence[tuple[Window, float]], scan_s: float, lost: Sequence[Window]
) -> Signal:
    """On for so many seconds from somewhere in each window, or until a next one begins anew."""
    changes: list[tuple[float, Truth]] = []
    for at, (window, for_s) in enumerate(begun):
        following = begun[at + 1][0].low if at + 1 < len(begun) else None
        gone = min((one.low for one in lost if one.high >= window.low), default=None)
        ends = Window(window.low + EARLY * for_s, window.high + LATE * for_s + scan_s)
        may_end_s = ends.low if gone is None else min(ends.low, gone)
        mine: list[tuple[float, Truth]] = [(window.low, UNKNOWN)]
        if window.high < may_end_s:
            mine.append((window.high, TRUE))
        mine += [(max(may_end_s, window.low), UNKNOWN), (ends.high, FALSE)]
        changes += [one for one in mine if following is None or one[0] < following]
    return from_changes(FALSE, changes)
