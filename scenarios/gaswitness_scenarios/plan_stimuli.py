"""How a cause is made true by as few sources as can be, and by which of them alone it turns.

A *source* is one thing that a tester can do: a channel's gas or fault, an input, the panel's own
fault. A *turn* is one source that turns a cause, with the others as its setting says. Pure logic:
no times, no gas amounts.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, islice
from math import comb
from typing import Final

from gaswitness_sitefile.channel import EXPOSURES, LEVEL_NAMES
from gaswitness_sitefile.matrix import AllOf, AnyOf, Cause, Fact, Not, Vote
from gaswitness_sitefile.mode_facts import CHANNEL_MODES
from gaswitness_sitefile.site import Site

MOST_WAYS: Final = 8
"""Ways to make a cause so that are looked at; the first, with the fewest sources, nearly always
does."""

MOST_COMBINATIONS: Final = 20
"""A vote of so many combinations at most has each of them shown: every pair of a 2oo3, of a 3oo6
every three. Of a larger one each member turns it once."""

Setting = frozenset[tuple[Fact, bool]]
NOTHING: Final[Setting] = frozenset()
OWN_FAULT: Final = Fact("panel", "own fault")
"""The panel's own fault, as a source: the fact `panel.fault` is this or any channel's."""


@dataclass(frozen=True, slots=True)
class Turn:
    """`fact` turns the cause while the facts of `setting` are as it says, and all others false.

    `on`: whether the cause comes when the fact comes; false under a NOT.
    """

    fact: Fact
    setting: Setting
    on: bool

    @property
    def standing(self) -> tuple[Fact, ...]:
        """The facts that have to stand beside it, in a fixed order."""
        return tuple(sorted((f for f, holds in self.setting if holds), key=str))


def expanded(site: Site, cause: Cause) -> Cause:
    """The cause with `any.X` and `panel.fault` as sums of what a tester can make."""
    match cause:
        case Fact("any", what):
            return _sum([Fact(c.tag, what) for c in site.channels if has(site, c.tag, what)])
        case Fact("panel", "fault"):
            return _sum([OWN_FAULT, *(Fact(c.tag, "fault") for c in site.channels)])
        case Fact():
            return cause
        case Not(term):
            return Not(expanded(site, term))
        case AllOf(terms):
            return AllOf(tuple(expanded(site, term) for term in terms))
        case AnyOf(terms):
            return AnyOf(tuple(expanded(site, term) for term in terms))
        case Vote(need, terms):
            return Vote(need, tuple(expanded(site, term) for term in terms))


def has(site: Site, tag: str, what: str) -> bool:
    """Whether the channel has that level; every channel has a fault."""
    return what == "fault" or what in site.channel_of[tag].levels


def _sum(facts: list[Fact]) -> Cause:
    return facts[0] if len(facts) == 1 else AnyOf(tuple(facts))


def holds(cause: Cause, facts: Mapping[Fact, bool] | frozenset[Fact]) -> bool:
    """Whether an expanded cause is true, given the facts that are."""
    match cause:
        case Fact():
            return cause in facts if isinstance(facts, frozenset) else facts.get(cause, False)
        case Not(term):
            return not holds(term, facts)
        case AllOf(terms):
            return all(holds(term, facts) for term in terms)
        case AnyOf(terms):
            return any(holds(term, facts) for term in terms)
        case Vote(need, terms):
            return sum(holds(term, facts) for term in terms) >= need


def ways(cause: Cause, *, to: bool) -> Iterator[Setting]:
    """Settings that make the cause so, those with the fewest standing facts first."""
    yield from islice(sorted(islice(_ways(cause, to), 4 * MOST_WAYS), key=_cost), MOST_WAYS)


def _cost(setting: Setting) -> tuple[int, int]:
    return sum(stands for _, stands in setting), len(setting)


def _ways(cause: Cause, to: bool) -> Iterator[Setting]:  # noqa: FBT001
    match cause:
        case Fact():
            yield frozenset({(cause, to)})
        case Not(term):
            yield from _ways(term, not to)
        case AllOf(terms) if to:
            yield from _all(terms, to=True)
        case AnyOf(terms) if not to:
            yield from _all(terms, to=False)
        case AllOf(terms) | AnyOf(terms):
            for at, term in enumerate(terms):
                others = [_first(other, not to) for other in (*terms[:at], *terms[at + 1 :])]
                for way in _ways(term, to):
                    yield from _joined([way, *others])
                    yield way
        case Vote(need, terms):
            need_so = need if to else len(terms) - need + 1
            for chosen in islice(combinations(range(len(terms)), need_so), MOST_WAYS):
                parts = [
                    _first(term, to if at in chosen else not to) for at, term in enumerate(terms)
                ]
                yield from _joined(parts)


def _first(cause: Cause, to: bool) -> Setting:  # noqa: FBT001
    return next(iter(_ways(cause, to)), NOTHING)


def _all(terms: Iterable[Cause], *, to: bool) -> Iterator[Setting]:
    found: list[Setting] = [NOTHING]
    for term in terms:
        found = [
            joined
            for before in found
            for way in islice(_ways(term, to), MOST_WAYS)
            for joined in _joined([before, way])
        ][:MOST_WAYS]
    yield from found


def _joined(parts: Iterable[Setting]) -> Iterator[Setting]:
    """All of them at once; nothing where they contradict each other."""
    whole: Setting = frozenset().union(*parts)
    if len({fact for fact, _ in whole}) == len(whole):
        yield whole


def turns(cause: Cause) -> Iterator[Turn]:
    """Each fact of an expanded cause alone turning it, and each combination of a vote.

    Facts that never turn it alone (`A AND NOT A`) are left out.
    """
    seen: set[tuple[Fact, Setting]] = set()
    for turn in _turns(cause, on=True):
        if (turn.fact, turn.setting) in seen or not _turns_it(cause, turn):
            continue
        seen.add((turn.fact, turn.setting))
        yield turn


def _turns_it(cause: Cause, turn: Turn) -> bool:
    standing = frozenset(turn.standing)
    off, on = holds(cause, standing), holds(cause, standing | {turn.fact})
    return off != on and on is turn.on


def _turns(cause: Cause, *, on: bool) -> Iterator[Turn]:
    match cause:
        case Fact():
            yield Turn(cause, NOTHING, on)
        case Not(term):
            yield from _turns(term, on=not on)
        case AllOf(terms):
            yield from _beside(terms, to=True, on=on)
        case AnyOf(terms):
            yield from _beside(terms, to=False, on=on)
        case Vote(need, terms):
            for member, others in vote_turns(need, len(terms)):
                settings = [
                    _first(term, at in others) for at, term in enumerate(terms) if at != member
                ]
                for turn in _turns(terms[member], on=on):
                    for setting in _joined([turn.setting, *settings]):
                        yield Turn(turn.fact, setting, turn.on)


def _beside(terms: tuple[Cause, ...], *, to: bool, on: bool) -> Iterator[Turn]:
    for at, term in enumerate(terms):
        others = (*terms[:at], *terms[at + 1 :])
        if not to and all(isinstance(other, Fact) for other in others):
            # of an OR all others are off, which they are unless somebody makes them
            yield from _turns(term, on=on)
            continue
        settings = [_first(other, to) for other in others]
        for turn in _turns(term, on=on):
            for setting in _joined([turn.setting, *settings]):
                yield Turn(turn.fact, setting, turn.on)


def vote_turns(need: int, of: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    """(the member that turns the vote, the members that stand beside it), by number.

    Every combination of `need` once, and every member turning it once; of a vote with too many
    combinations only the latter: each member beside those that follow it in a ring.
    """
    if comb(of, need) > MOST_COMBINATIONS:
        for member in range(of):
            yield member, tuple(sorted((member + step) % of for step in range(1, need)))
        return
    turned: set[int] = set()
    for chosen in combinations(range(of), need):
        member = next((one for one in chosen if one not in turned), chosen[-1])
        turned.add(member)
        yield member, tuple(one for one in chosen if one != member)
    for member in range(of):
        if member not in turned:
            yield member, tuple(sorted((member + step) % of for step in range(1, need)))


def is_gas(site: Site, fact: Fact) -> bool:
    """Whether it takes gas at a detector to make the fact."""
    return fact.subject in site.channel_of and fact.what in (*LEVEL_NAMES, "over_range")


def is_exposure(fact: Fact) -> bool:
    """Whether it is an average over hours."""
    return fact.what in EXPOSURES


def is_free(site: Site, fact: Fact) -> bool:
    """Whether the tester can make the fact without gas."""
    if fact == OWN_FAULT:
        return True
    if fact.subject in site.input_of:
        return fact.what == "active"
    return fact.subject in site.channel_of and fact.what in ("fault", "inhibit", *CHANNEL_MODES)
