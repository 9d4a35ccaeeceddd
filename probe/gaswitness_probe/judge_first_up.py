"""Which channel was the first in alarm (rule 26): what can be so at each instant, by the alarms
that were seen, and verdicts on what the panel said.

Each of the panel's flags may come up to its response time after what it tells of, so that of two
alarms shown within that time either may have been the first.
"""

from collections.abc import Iterator, Sequence
from math import inf

from gaswitness_probe.expect import Expectations
from gaswitness_probe.judge_flags import Flag, flag_verdict, unaccepted
from gaswitness_probe.signal import (
    FALSE,
    TRUE,
    UNKNOWN,
    Signal,
    Truth,
    any_of,
    from_changes,
    negation,
    painted,
)
from gaswitness_probe.verdict import Verdict
from gaswitness_sitefile.matrix import Fact
from gaswitness_sitefile.mode_facts import FIRST_UP

NONE = -1
"""In place of a channel's number: no channel is first-up."""


def judge_first_up(expectations: Expectations) -> Iterator[Verdict]:
    """A verdict for every channel whose first-up is shown, by a flag of its own or by a number."""
    view = expectations.view
    facts = [f"{channel.tag}.{FIRST_UP}" for channel in view.site.channels]
    if not any(view.shown(fact) for fact in facts):
        return
    for fact, made in zip(facts, first_up_made(expectations), strict=True):
        if view.shown(fact):
            words = "that its alarm was the first"
            flag = Flag(fact, words, made, view.prompt, view.prompt)
            sources = [source for source in view.sources[fact] if view.runs(source.point)]
            yield flag_verdict(view, flag, [view.parts_of(source) for source in sources])


def first_up_made(expectations: Expectations) -> list[Signal]:
    """For each channel, in the site's order: where it is first-up, and where it is not."""
    view = expectations.view
    lag_s = view.site.timing.flag_response_s
    tags = list(view.site.channel_of)
    alarms = [_ahead(_alarm(expectations, tag), lag_s) for tag in tags]
    said = [_ahead(view.signal(f"{tag}.{FIRST_UP}"), lag_s) for tag in tags]
    accepted = _ahead(negation(unaccepted(expectations)), lag_s)
    resets = view.keys("reset")
    moments = {time for signal in (*alarms, *said, accepted) for time in signal.times}
    moments |= {edge for window in (*resets, *view.broken) for edge in window}
    anyone = frozenset((NONE, *range(len(alarms))))
    states: list[tuple[float, frozenset[int]]] = []
    possible = anyone
    for moment in (-inf, *sorted(moments)):
        if any(window.low <= moment < window.high for window in view.broken):
            possible = anyone
        resetting = any(window.low <= moment < window.high for window in resets)
        clears = UNKNOWN if resetting and accepted.at(moment) is FALSE else accepted.at(moment)
        possible = _next(possible, [alarm.at(moment) for alarm in alarms], clears)
        possible = _settled(possible, [one.at(moment) for one in said])
        states.append((moment, possible))
    return [_told(states, number) for number in range(len(alarms))]


def _alarm(expectations: Expectations, tag: str) -> Signal:
    """Where a channel is in alarm and counts."""
    channel = expectations.view.site.channel_of[tag]
    exposures = channel.exposure.limits if channel.exposure else ()
    return any_of([expectations.cause(Fact(tag, what)) for what in (*channel.levels, *exposures)])


def _ahead(shown: Signal, lag_s: float) -> Signal:
    """What is so within the panel, by a flag that tells it within `lag_s`."""
    known = [
        (part.start, part.end - lag_s, part.value)
        for part in shown.segments()
        if part.value is not UNKNOWN
    ]
    return painted(known)


def _next(possible: frozenset[int], now: Sequence[Truth], clears: Truth) -> frozenset[int]:
    """Which channels may be first-up after an instant, from those that may be before it.

    `clears`: whether the panel would let go of one, were no alarm left.
    """
    may_stand = {number for number, alarm in enumerate(now) if alarm is not FALSE}
    stands = any(alarm is TRUE for alarm in now)
    found = set(possible)
    if not stands and clears is not FALSE:
        found.add(NONE)
        if not may_stand and clears is TRUE:
            return frozenset((NONE,))
    if NONE in found:
        found |= may_stand
        if stands:
            found.discard(NONE)
    return frozenset(found)


def _settled(possible: frozenset[int], said: Sequence[Truth]) -> frozenset[int]:
    """What the panel itself says settles what is unknown, never what is known."""
    if len(possible) > 1:
        if NONE in possible and all(one is FALSE for one in said):
            return frozenset((NONE,))
        for number, one in enumerate(said):
            if one is TRUE and number in possible:
                return frozenset((number,))
    return possible


def _told(states: Sequence[tuple[float, frozenset[int]]], number: int) -> Signal:
    values = [
        (moment, FALSE if number not in possible else TRUE if len(possible) == 1 else UNKNOWN)
        for moment, possible in states
    ]
    return from_changes(values[0][1], values[1:])
