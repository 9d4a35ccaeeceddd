"""What people did at the panel that lasts until they end it, its time is over or the power goes:
tests, calibrations, forced outputs. Pure: instants in, signals out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gaswitness_probe.aspects import JUST_S
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
    truth,
)


@dataclass(frozen=True, slots=True)
class Powering:
    """What is known of the panel's power. `off`: where it was off. `cut`: when it was switched off.
    `lost`: where the panel may have begun anew."""

    off: Signal
    cut: tuple[Window, ...]
    lost: tuple[Window, ...]

    def heard(self, when: Window) -> Truth:
        """Whether the panel took what somebody did to it then: one without power takes nothing."""
        low, high = when.low - JUST_S, when.high + JUST_S
        if self.off.throughout(FALSE, low, high):
            return TRUE
        return FALSE if self.off.throughout(TRUE, low, high) else UNKNOWN


def on_until_ended(done: Sequence[tuple[Window, bool]], power: Powering) -> Signal:
    """On from where it was begun until it was ended, as somebody did in each window, or until the
    power went."""
    if not done:
        return ALWAYS_FALSE
    events: list[tuple[float, int, Window, Truth]] = [
        *((window.low, 0, window, UNKNOWN) for window in power.lost),
        *((window.low, 1, window, FALSE) for window in power.cut),
        *((window.low, 2, window, truth(on)) for window, on in done),
    ]
    state = FALSE if done[0][1] else UNKNOWN
    first = state
    changes: list[tuple[float, Truth]] = []
    for _, kind, window, to in sorted(events, key=lambda event: event[:2]):
        heard = power.heard(window) if kind == 2 else TRUE
        if heard is FALSE or to is state or (kind == 0 and state is FALSE):
            continue
        if kind > 0 and window.high > window.low:
            changes.append((window.low, UNKNOWN))
        state = to if heard is TRUE else UNKNOWN
        changes.append((window.high if kind > 0 else window.low, state))
    return from_changes(first, changes)


def calibrating(begun: Sequence[tuple[Window, float]], scan_s: float, power: Powering) -> Signal:
    """On for so many seconds from somewhere in each window, or until a next one begins anew.

    A person who took some time over it is held only to having ended it in time.
    """
    heard = [one for one in begun if power.heard(one[0]) is not FALSE]
    changes: list[tuple[float, Truth]] = []
    for at, (window, for_s) in enumerate(heard):
        following = heard[at + 1][0].low if at + 1 < len(heard) else None
        gone = min((one.low for one in power.lost if one.high >= window.low), default=None)
        ends = Window(window.low + EARLY * for_s, window.high + LATE * for_s + scan_s)
        may_end_s = ends.low if gone is None else min(ends.low, gone)
        mine: list[tuple[float, Truth]] = [(window.low, UNKNOWN)]
        by_hand = window.high - window.low > scan_s  # whoever took that long may end it early
        if not by_hand and window.high < may_end_s and power.heard(window) is TRUE:
            mine += [(window.high, TRUE), (may_end_s, UNKNOWN)]
        mine.append((ends.high, FALSE))
        changes += [one for one in mine if following is None or one[0] < following]
    return from_changes(FALSE, changes)
