"""Which of several aspects decides, and which one's words explain a verdict."""

from gaswitness_probe.verdict import Aspect, Outcome

JUST_S = 1e-6
"""Enough to look at the instant before another."""


def best(aspects: list[Aspect]) -> Aspect:
    """Of several tries of one aspect the one that decides: a failure, else a proof, else the rest.

    A proof stands beside an inconclusive try of the same kind: it was seen to be right once, and
    never seen to be wrong.
    """
    rank = (Outcome.FAILED, Outcome.PROVEN, Outcome.INCONCLUSIVE, Outcome.NOT_RUN)
    return min(aspects, key=lambda aspect: rank.index(aspect.outcome))


def by_name(aspects: list[Aspect]) -> list[Aspect]:
    """One aspect of each name, in the order in which they first came."""
    names = dict.fromkeys(aspect.name for aspect in aspects)
    return [best([a for a in aspects if a.name == name]) for name in names]


def telling_aspect(aspects: list[Aspect], outcome: Outcome) -> Aspect:
    """The aspect whose words explain the outcome."""
    for aspect in aspects:
        if aspect.outcome is outcome:
            return aspect
    return aspects[0]
