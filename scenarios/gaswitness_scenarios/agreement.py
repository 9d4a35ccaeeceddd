"""Whether two workings-out of the same verdicts agree. Pure."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from gaswitness_probe.verdict import Verdict

_REPLY_TIMES: Final = re.compile(r", in [^;]* s \(least, median, most\)")
"""Told of the link, and never judged."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A verdict that is not what it was. `then` and `now` in words."""

    id: str
    then: str
    now: str


def differences(then: Iterable[Verdict], now: Iterable[Verdict]) -> tuple[Difference, ...]:
    """Where the two disagree: verdicts of one only, or whose outcome, aspects or words differ.

    The times that replies took may differ: the event loop counted them. All else may not.
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
    return then == now or _told(then) == _told(now)


def _told(verdict: Verdict) -> Verdict:
    return replace(verdict, seen=_REPLY_TIMES.sub("", verdict.seen))


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
    pairs = ((then.expected, now.expected), (then.seen, now.seen), (then.because, now.because))
    for was, is_now in pairs:
        if was != is_now:
            return Difference(then.id, repr(was), repr(is_now))
    return Difference(then.id, f"{then.outcome}", f"{now.outcome}, in other particulars")
