"""A vote's members at different levels: some past the level that counts, the others a level short.

A vote that takes another level of a member would be met; nothing else in a plan has the members
stand so for as long as the vote's delay asks.
"""

from dataclasses import dataclass
from itertools import pairwise

from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_sitefile.matrix import Cell, Fact, Vote


@dataclass(frozen=True)
class Staircase:
    """A vote on one level of several channels. `rungs`: that level of each member, by tag."""

    cell: Cell
    need: int
    rungs: dict[str, Rung]

    def highs(self, turn: int) -> list[str]:
        """The members that are past the level, one less than the vote needs; others each turn."""
        tags = list(self.rungs)
        count = self.need - 1
        return [tags[(turn * count + at) % len(tags)] for at in range(count)]


def staircases(ground: Ground, at_top: dict[str, Rung]) -> list[Staircase]:
    """The votes on levels that have a lower one, of channels that stand at that level now."""
    found = []
    for cell in ground.site.matrix:
        vote = cell.cause_tree
        if not isinstance(vote, Vote) or vote.need < 2:
            continue
        rungs = {
            term.subject: at_top[term.subject]
            for term in vote.terms
            if isinstance(term, Fact)
            and term.subject in at_top
            and at_top[term.subject].name == term.what
            and keeps_lower(ground, term.subject, at_top[term.subject])
        }
        if len(rungs) == len(vote.terms):
            found.append(Staircase(cell, vote.need, rungs))
    return found


def keeps_lower(ground: Ground, tag: str, rung: Rung) -> bool:
    """Whether a lower level of the channel is still on where this one has cleared."""
    doubt = ground.timing.doubt(ground.site.channel_of[tag])
    for ladder in ground.ladders[tag]:
        for lower, upper in pairwise(ladder):
            if upper is rung:
                rising = rung.past > rung.short
                edge = lower.level.setpoint
                return rung.back > edge + doubt if rising else rung.back < edge - doubt
    return False
