"""Whether two workings-out of the same verdicts agree. Pure."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from gaswitness_probe.verdict import Aspect, Verdict
from gaswitness_scenarios.judged_again import SURVEYED

CLOSE_S: Final = 0.05
"""A survey goes by the run's clock between exchanges, which a record has only to the last one."""
CLOSE_PART: Final = 0.02

_SECONDS: Final = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?(?= s\b)")
_REPLY_TIMES: Final = re.compile(r", in [^;]* s \(least, median, most\)")
"""Counted by the event loop's clock, told and never judged."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A verdict that is not what it was. `then` and `now` in words."""

    id: str
    then: str
    now: str


def differences(then: Iterable[Verdict], now: Iterable[Verdict]) -> tuple[Difference, ...]:
    """Where the two disagree: verdicts of one only, or whose outcome, aspects or words differ.

    Seconds in the words of a survey may differ a little, all else may not.
    """
    was, is_now = list(then), list(now)
    by_id = {verdict.id: verdict for verdict in is_now}
    found = []
    seen: set[str] = set()
    for verdict in was:
        again = by_id.get(verdict.id)
        if verdict.id in seen:
            found.append(Difference(verdict.id, "twice in the record", "once"))
        elif again is None:
            found.append(Difference(verdict.id, str(verdict.outcome), "no such verdict"))
        elif not agree(verdict, again):
            found.append(_difference(verdict, again))
        seen.add(verdict.id)
    found += [
        Difference(verdict.id, "not in the record", str(verdict.outcome))
        for verdict in is_now
        if verdict.id not in seen
    ]
    return tuple(found)


def agree(then: Verdict, now: Verdict) -> bool:
    """Whether the two say the same."""
    if then == now:
        return True
    if then.kind not in SURVEYED or len(then.aspects) != len(now.aspects):
        return False
    bare = (_bare(then), [_bare(one) for one in then.aspects])
    if bare != (_bare(now), [_bare(one) for one in now.aspects]):
        return False
    pairs = [(_words(then), _words(now))]
    pairs += [(_words(a), _words(b)) for a, b in zip(then.aspects, now.aspects, strict=True)]
    return all(_close(_instants(a), _instants(b)) for a, b in _aspects(then, now)) and all(
        _same_words(a, b) for was, is_now in pairs for a, b in zip(was, is_now, strict=True)
    )


def _aspects(then: Verdict, now: Verdict) -> Iterable[tuple[Aspect, Aspect]]:
    return zip(then.aspects, now.aspects, strict=True)


def _bare(one: Verdict | Aspect) -> Verdict | Aspect:
    """All but words and instants."""
    if isinstance(one, Verdict):
        return replace(one, expected="", seen="", because="", aspects=())
    return replace(one, expected="", seen="", because="", at_s=None)


def _words(one: Verdict | Aspect) -> tuple[str, str, str]:
    return one.expected, one.seen, one.because


def _instants(aspect: Aspect) -> Sequence[float]:
    return () if aspect.at_s is None else (aspect.at_s,)


def _same_words(then: str, now: str) -> bool:
    if then == now:
        return True
    texts = [_REPLY_TIMES.sub("", text) for text in (then, now)]
    if len({_SECONDS.sub("", text) for text in texts}) != 1:
        return False
    was, is_now = ([float(found) for found in _SECONDS.findall(text)] for text in texts)
    return _close(was, is_now)


def _close(then: Sequence[float], now: Sequence[float]) -> bool:
    return len(then) == len(now) and all(
        abs(a - b) <= CLOSE_S + CLOSE_PART * max(abs(a), abs(b))
        for a, b in zip(then, now, strict=True)
    )


def _difference(then: Verdict, now: Verdict) -> Difference:
    """The outcomes where they differ, else the first thing that does."""
    if then.outcome is not now.outcome:
        return Difference(then.id, str(then.outcome), str(now.outcome))
    sides = {aspect.name: aspect for aspect in now.aspects}
    for aspect in then.aspects:
        again = sides.get(aspect.name)
        if again is None or aspect.outcome is not again.outcome:
            outcome = "not there" if again is None else str(again.outcome)
            return Difference(
                then.id, f"{aspect.name} {aspect.outcome}", f"{aspect.name} {outcome}"
            )
    for was, is_now in zip(_words(then), _words(now), strict=True):
        if not _same_words(was, is_now):
            return Difference(then.id, repr(was), repr(is_now))
    return Difference(then.id, f"{then.outcome}", f"{now.outcome}, in other particulars")
