"""Outputs that people force at the panel (rule 28): where one follows its causes, and where it has
to stand as it is held.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gaswitness_probe.applied import OutputForced
from gaswitness_probe.aspects import JUST_S
from gaswitness_probe.observe import Stretch
from gaswitness_probe.signal import (
    ALWAYS_TRUE,
    ALWAYS_UNKNOWN,
    FALSE,
    TRUE,
    UNKNOWN,
    Signal,
    Truth,
    Window,
    from_changes,
    truth,
)
from gaswitness_probe.view import PanelView


@dataclass(frozen=True, slots=True)
class Holding:
    """What somebody did to the output at the panel: held it on or off, or let it go (None).

    `sure`: the panel had its power, so that it took it.
    """

    when: Window
    on: bool | None
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Forced:
    """`free`: true where the output surely follows its causes, false where it surely does not.

    `held`: what it has to be because somebody holds it there; unknown elsewhere.
    """

    holdings: tuple[Holding, ...]
    free: Signal
    held: Signal


NEVER_FORCED = Forced((), ALWAYS_TRUE, ALWAYS_UNKNOWN)


def forced(view: PanelView, tag: str) -> Forced:
    """What is known of the output's being forced."""
    power = view.powering
    mine = [
        Holding(when, action.on, sure=power.heard(when) is TRUE)
        for when, action in view.actions(OutputForced)
        if action.output == tag and power.heard(when) is not FALSE
    ]
    if not mine:
        return NEVER_FORCED
    cut = [Holding(when, None) for when in power.cut]
    holdings = sorted([*mine, *cut], key=lambda one: one.when)
    later_s = max(view.site.timing.key_response_s, view.site.timing.flag_response_s)
    # Let go of by the first action, it was held before, nobody here knows since when.
    first = TRUE if holdings[0].on is not None or holdings[0] in cut else UNKNOWN
    free: list[tuple[float, Truth]] = []
    held: list[tuple[float, Truth]] = []
    for at, one in enumerate(holdings):
        following = holdings[at + 1].when.low if at + 1 < len(holdings) else view.span.high
        lost = [w.low for w in view.broken if w.low > one.when.high]
        settled_s = one.when.high + later_s
        free.append((one.when.low, UNKNOWN))
        held.append((one.when.low, UNKNOWN))
        if settled_s >= following and at + 1 < len(holdings):
            continue
        if not one.sure:
            continue
        free.append((settled_s, TRUE if one.on is None else FALSE))
        if one.on is None:
            continue
        held.append((settled_s, truth(one.on)))
        if lost and settled_s < lost[0] < following:
            free.append((lost[0], UNKNOWN))
            held.append((lost[0], UNKNOWN))
        elif lost and lost[0] <= settled_s:
            free[-1] = (settled_s, UNKNOWN)
            held[-1] = (settled_s, UNKNOWN)
    return Forced(tuple(holdings), from_changes(first, free), from_changes(UNKNOWN, held))


def where_free(parts: Sequence[Stretch], free: Signal) -> list[Stretch]:
    """What was seen, but unknown wherever the output may not have followed its causes."""
    if not free.times:
        return list(parts)
    return [piece for part in parts for piece in _cut(part, free)]


def _cut(part: Stretch, free: Signal) -> Iterator[Stretch]:
    first, last = part.first, part.last
    if free.throughout(TRUE, first.low, last.high):
        yield part
        return
    if part.known is None:
        yield Stretch(UNKNOWN, first, last)
        return
    for piece in free.within(first.low, last.high):
        # Of a sample it is not known when in its window the panel held what it shows.
        begins = piece.start <= first.low and piece.end >= first.high
        ends = piece.end >= last.high and piece.start <= last.low
        low = first if begins else _instant(max(piece.start, first.high))
        high = last if ends else _instant(min(piece.end - JUST_S, last.low))
        if begins or ends or low.high < high.low:
            yield Stretch(part.value if piece.value is TRUE else UNKNOWN, low, high)


def _instant(at_s: float) -> Window:
    return Window(at_s, at_s)
