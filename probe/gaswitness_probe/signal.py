"""Three-valued signals over time, and the small algebra in which expectations are written.

A signal is known true, known false or unknown at each instant (Kleene's strong logic), constant on
half-open intervals. Every function here is pure and monotone: a signal that becomes better known
never makes a known result change, only unknown ones become known. That is what lets the judge say
"failed" with certainty. Windows (a, b) say that a delay lies somewhere from a to b, ends included.

Written from the panel's rules in DEVELOPERS.md, apart from the simulator's own reading of them.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import inf
from typing import Final, NamedTuple


class Truth(IntEnum):
    """Kleene's three values, ordered so that AND is the least and OR the greatest."""

    FALSE = 0
    UNKNOWN = 1
    TRUE = 2


FALSE: Final = Truth.FALSE
UNKNOWN: Final = Truth.UNKNOWN
TRUE: Final = Truth.TRUE


def truth(value: bool | None) -> Truth:  # noqa: FBT001  a value, not a switch
    """The three-valued form of a yes, a no or a don't know."""
    if value is None:
        return UNKNOWN
    return TRUE if value else FALSE


class Window(NamedTuple):
    """An interval of time, or of possible delays, in seconds; both ends belong to it."""

    low: float
    high: float


class Segment(NamedTuple):
    """A stretch of a signal: `value` from `start` on, until just before `end`."""

    start: float
    end: float
    value: Truth


@dataclass(frozen=True, slots=True)
class Signal:
    """A value for every instant: `values[0]` before `times[0]`, then `values[i+1]` from `times[i]`.

    `times` rise strictly and neighbouring values differ.
    """

    times: tuple[float, ...]
    values: tuple[Truth, ...]

    def at(self, instant_s: float) -> Truth:
        """The value at an instant."""
        return self.values[bisect_right(self.times, instant_s)]

    def segments(self) -> Iterator[Segment]:
        """All stretches, in order; the first starts at -inf, the last ends at +inf."""
        start = -inf
        for time, value in zip(self.times, self.values, strict=False):
            yield Segment(start, time, value)
            start = time
        yield Segment(start, inf, self.values[-1])

    def within(self, low: float, high: float) -> Iterator[Segment]:
        """The stretches that meet the closed interval [low, high], cut to it."""
        first = bisect_right(self.times, low)
        start = low
        for index in range(first, len(self.values)):
            end = self.times[index] if index < len(self.times) else inf
            if end > high:
                yield Segment(start, high, self.values[index])
                return
            yield Segment(start, end, self.values[index])
            start = end

    def throughout(self, value: Truth, low: float, high: float) -> bool:
        """Whether the signal has the value at every instant of [low, high]."""
        return all(part.value is value for part in self.within(low, high))

    def ever(self, value: Truth, low: float = -inf, high: float = inf) -> bool:
        """Whether the signal has the value at some instant of [low, high]."""
        return any(part.value is value for part in self.within(low, high))


ALWAYS_UNKNOWN: Final = Signal((), (UNKNOWN,))
ALWAYS_FALSE: Final = Signal((), (FALSE,))
ALWAYS_TRUE: Final = Signal((), (TRUE,))


def from_changes(initial: Truth, changes: Iterable[tuple[float, Truth]]) -> Signal:
    """The signal that is `initial` and then takes each value from its time on.

    Times rise; of several changes at one time the last counts.
    """
    times: list[float] = []
    values = [initial]
    for time, value in changes:
        if times and time <= times[-1]:
            values[-1] = value
            if values[-2] is value:
                times.pop()
                values.pop()
            continue
        if value is not values[-1]:
            times.append(time)
            values.append(value)
    return Signal(tuple(times), tuple(values))


def painted(known: Iterable[tuple[float, float, Truth]]) -> Signal:
    """Unknown everywhere but on the given stretches [start, end), which do not overlap."""
    changes: list[tuple[float, Truth]] = []
    initial = UNKNOWN
    for start, end, value in sorted(known):
        if start >= end:
            continue
        if start == -inf:
            initial = value
        else:
            changes.append((start, value))
        if end != inf:
            changes.append((end, UNKNOWN))
    return from_changes(initial, changes)


def combine(rule: Callable[[Sequence[Truth]], Truth], signals: Sequence[Signal]) -> Signal:
    """The rule applied to the signals' values at every instant."""
    if len(signals) == 1 and not signals[0].times:
        return Signal((), (rule([signals[0].values[0]]),))
    moments = sorted({time for signal in signals for time in signal.times})
    now = [signal.values[0] for signal in signals]
    upcoming = [0] * len(signals)
    changes: list[tuple[float, Truth]] = []
    initial = rule(now)
    for moment in moments:
        for index, signal in enumerate(signals):
            here = upcoming[index]
            if here < len(signal.times) and signal.times[here] == moment:
                upcoming[index] = here + 1
                now[index] = signal.values[here + 1]
        changes.append((moment, rule(now)))
    return from_changes(initial, changes)


def negation(signal: Signal) -> Signal:
    """NOT: unknown stays unknown."""
    return Signal(signal.times, tuple(Truth(2 - value) for value in signal.values))


def all_of(signals: Sequence[Signal]) -> Signal:
    """AND."""
    return combine(min, signals) if signals else ALWAYS_TRUE


def any_of(signals: Sequence[Signal]) -> Signal:
    """OR."""
    return combine(max, signals) if signals else ALWAYS_FALSE


def at_least(need: int, signals: Sequence[Signal]) -> Signal:
    """K of N: true where `need` are known true, false where fewer than that can be."""

    def rule(values: Sequence[Truth]) -> Truth:
        sure = sum(value is TRUE for value in values)
        possible = sure + sum(value is UNKNOWN for value in values)
        return TRUE if sure >= need else UNKNOWN if possible >= need else FALSE

    return combine(rule, signals)


def blurred(signal: Signal, where: Signal) -> Signal:
    """The signal, but unknown wherever `where` is not known false."""
    return combine(lambda now: now[0] if now[1] is FALSE else UNKNOWN, [signal, where])


def held_for(signal: Signal, delay: Window) -> Signal:
    """What comes once the signal has stood without a break for a delay within the window.

    Known true where the signal was true for the longest delay; known false where it was false at
    some instant within the shortest.
    """
    known: list[tuple[float, float, Truth]] = []
    for start, end, value in signal.segments():
        if value is TRUE:
            known.append((start + delay.high, end, TRUE))
        elif value is FALSE:
            known.append((start, end + delay.low, FALSE))
    return _painted_over(known)


def kept_for(signal: Signal, delay: Window) -> Signal:
    """What stays on for a delay within the window after the signal has gone."""
    return negation(held_for(negation(signal), delay))


def _painted_over(known: Sequence[tuple[float, float, Truth]]) -> Signal:
    """As `painted`, where stretches of one value may overlap each other."""
    merged: list[tuple[float, float, Truth]] = []
    for start, end, value in sorted(known):
        if start >= end:
            continue
        if merged and merged[-1][2] is value and start <= merged[-1][1]:
            before = merged.pop()
            merged.append((before[0], max(before[1], end), value))
        else:
            merged.append((start, end, value))
    return painted(merged)


def held(
    setting: Signal,
    clearing: Signal,
    *,
    seen: Signal = ALWAYS_UNKNOWN,
    initial: Truth = UNKNOWN,
) -> Signal:
    """A memory: on where `setting` is, else off where `clearing` is, else as it was.

    `seen`: the memory's state as observed, which is taken over where it is unknown otherwise and
    nothing is setting or clearing it.
    """

    def step(state: Truth, now: Sequence[Truth]) -> Truth:
        sets, clears, shown = now
        if sets is TRUE:
            return TRUE
        if clears is TRUE:
            return FALSE if sets is FALSE else UNKNOWN
        may_change = (sets is UNKNOWN and state is not TRUE) or (
            clears is UNKNOWN and state is not FALSE
        )
        if state is UNKNOWN and sets is FALSE and clears is FALSE:
            return shown
        return UNKNOWN if may_change else state

    return _swept(step, [setting, clearing, seen], initial)


def _swept(
    step: Callable[[Truth, Sequence[Truth]], Truth], signals: Sequence[Signal], initial: Truth
) -> Signal:
    moments = sorted({time for signal in signals for time in signal.times})
    state = step(initial, [signal.values[0] for signal in signals])
    first = state
    changes = []
    for moment in moments:
        state = step(state, [signal.at(moment) for signal in signals])
        changes.append((moment, state))
    return from_changes(first, changes)


def latched(
    signal: Signal,
    resets: Sequence[Window],
    *,
    initial: Truth = UNKNOWN,
    seen_off: Signal = ALWAYS_UNKNOWN,
    seen_on: Signal = ALWAYS_UNKNOWN,
    broken: Sequence[Window] = (),
    forced_off: Signal = ALWAYS_FALSE,
) -> Signal:
    """On from the signal's coming until a reset that comes while the signal is off.

    Each reset acts at some instant of its window. `seen_off`, `seen_on`: known true where the whole
    was seen to be off or on, which settles what was unknown (never what was known). `broken`:
    windows in which the memory may have been lost, such as a power cut. `forced_off`: true where
    the rules hold it off.
    """
    at_end = {reset.high: reset for reset in resets}
    edges = [edge for window in (*resets, *broken) for edge in window]
    seen = (*seen_off.times, *seen_on.times)
    moments = sorted({*signal.times, *seen, *forced_off.times, *edges})

    def opening(moment: float) -> Truth:
        return _latch_step(initial, signal.at(moment), FALSE, forced_off.at(moment))

    state = opening(-inf)
    first = state
    changes = []
    for moment in moments:
        here = signal.at(moment)
        reset = at_end.get(moment)
        if reset is not None and signal.throughout(FALSE, reset.low, reset.high):
            state = FALSE
        breaking = any(window.low <= moment < window.high for window in broken)
        if breaking:
            state = UNKNOWN
        resetting = any(reset.low <= moment < reset.high for reset in resets)
        state = _latch_step(state, here, UNKNOWN if resetting else FALSE, forced_off.at(moment))
        if state is UNKNOWN and here is FALSE and seen_off.at(moment) is TRUE:
            state = FALSE
        settled = not resetting and not breaking and forced_off.at(moment) is FALSE
        if state is UNKNOWN and settled and seen_on.at(moment) is TRUE:
            state = TRUE
        changes.append((moment, state))
    return from_changes(first, changes)


def _latch_step(state: Truth, signal: Truth, resetting: Truth, forced_off: Truth) -> Truth:
    if forced_off is TRUE:
        return FALSE
    if forced_off is UNKNOWN:
        return FALSE if state is FALSE and signal is FALSE else UNKNOWN
    if signal is TRUE:
        return TRUE
    if signal is UNKNOWN and state is FALSE:
        return UNKNOWN
    if resetting is not FALSE and state is TRUE:
        return UNKNOWN
    return state


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens at one instant of [low, high], or, if not `sure`, perhaps."""

    low: float
    high: float
    sure: bool = True

    @property
    def window(self) -> Window:
        """The instants at which it may happen."""
        return Window(self.low, self.high)


def rises(signal: Signal) -> list[Event]:
    """Every known or possible change of the signal to true.

    Sure where it was known false before and is known true after; possible wherever it is unknown
    without such a change.
    """
    found = []
    before = FALSE
    last_known = UNKNOWN
    unknown_from = -inf
    for start, _, value in signal.segments():
        if value is UNKNOWN:
            unknown_from = start
        elif value is TRUE and start > -inf:
            sure = last_known is FALSE
            low = unknown_from if before is UNKNOWN else start
            if sure or before is UNKNOWN:
                found.append(Event(low, start, sure=sure))
        elif value is FALSE and before is UNKNOWN:
            found.append(Event(unknown_from, start, sure=False))
        before = value
        if value is not UNKNOWN:
            last_known = value
    if before is UNKNOWN:
        found.append(Event(unknown_from, inf, sure=False))
    return found


def falls(signal: Signal) -> list[Event]:
    """Every known or possible change of the signal to false; as `rises`."""
    return rises(negation(signal))


def remembered(sets: Sequence[Event], clears: Sequence[Event], initial: Truth) -> Signal:
    """A memory that events set and clear, whatever holds besides; the last event counts.

    Where events of both kinds may have come in either order, unknown.
    """
    edges = sorted(
        {edge for event in (*sets, *clears) for edge in (event.low, event.high) if edge != -inf}
    )
    state = initial
    changes = []
    for edge in [-inf, *edges]:
        for mine, others, value in ((sets, clears, TRUE), (clears, sets, FALSE)):
            for event in mine:
                if event.high != edge or not event.sure:
                    continue
                crossed = any(o.low <= event.high and o.high >= event.low for o in others)
                state = UNKNOWN if crossed else value
        may_set = any(event.low <= edge < event.high for event in sets)
        may_clear = any(event.low <= edge < event.high for event in clears)
        if (may_set and state is not TRUE) or (may_clear and state is not FALSE):
            state = UNKNOWN
        changes.append((edge, state))
    return from_changes(changes[0][1], changes[1:])
