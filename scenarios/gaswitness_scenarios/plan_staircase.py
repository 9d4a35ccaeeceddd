"""A vote's members at different levels: some past the level that counts, the others a level short.

A vote that takes another level of a member would be met; nothing else in a plan has the members
stand so for as long as the vote's delay asks.
"""

from dataclasses import dataclass
from itertools import pairwise

from gaswitness_scenarios.plan_counting import Counting
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


class Stairs(Counting):
    """The steps of it, at the end of a gate's last stage."""

    def staircase(self) -> None:
        """One member less than the vote needs past its level, the others a level lower: nothing."""
        at_top = {
            tag: rungs[-1]
            for tag, rungs in self.gates.rungs.items()
            if rungs and self.bench.gas.get(tag) == rungs[-1].past
        }
        found = [one for one in staircases(self.ground, at_top) if self.fed(one)]
        for turn in range(2 if found else 0):
            self.stairs(found, turn)
        low = {
            tag: at_top[tag]
            for one in found
            for tag in one.rungs
            if self.bench.gas[tag] != at_top[tag].past
        }
        if low:
            start = {tag: self.bench.gas[tag] for tag in low}
            self.bench.apply({tag: rung.past for tag, rung in low.items()})
            lags = [self.stairs_s(tag, start[tag], rung.past, rung) for tag, rung in low.items()]
            self.bench.hold(max(lags) + self.timing.level_s)

    def fed(self, one: Staircase) -> bool:
        """Whether the bus can feed what its members drive together."""
        facts = [Fact(tag, rung.name) for tag, rung in one.rungs.items()]
        return not self.gates.short(self.gates.facts(self.gates.count - 1, facts))

    def stairs(self, found: list[Staircase], turn: int) -> None:
        bench, timing = self.bench, self.timing
        to: dict[str, float] = {}
        rung_of: dict[str, Rung] = {}
        for one in found:
            highs = one.highs(turn)
            for tag, rung in one.rungs.items():
                to[tag] = rung.past if tag in highs else rung.back
                rung_of[tag] = rung
        start = {tag: bench.gas[tag] for tag in to}
        bench.say("Votes a level lower: one member less than needed past the level that counts.")
        bench.apply({tag: amount for tag, amount in to.items() if amount != start[tag]})
        lags = [self.stairs_s(tag, start[tag], to[tag], rung_of[tag]) for tag in to]
        bench.hold(max(lags) + timing.level_s)
        bench.press("reset")
        bench.hold(timing.key_s)
        facts = [Fact(tag, rung_of[tag].name) for tag in to]
        self.let_all(facts, count=True)
        cells = [one.cell for one in found if bench.at_rest(one.cell.effect)]
        hold_s = max(self.wait_s(fact) for fact in facts) + timing.comes_s(cells)
        self.stay_off(cells, f"{turn + 1} of 2, others a level lower", hold_s)
        bench.hold(hold_s)
        self.let_all(facts, count=False)
        bench.hold(max(self.wait_s(fact) for fact in facts))

    def stairs_s(self, tag: str, start: float, end: float, rung: Rung) -> float:
        """Until the level is surely on past its setpoint, or its condition off again."""
        channel = self.channel[tag]
        if end == rung.past:
            near = self.ground.crossing(channel, rung, past=end)
            return self.timing.reaches_s(channel, start, end, near) + rung.level.on_delay_s
        back = rung.level.hysteresis
        clears = rung.level.setpoint + (-back if rung.past > rung.short else back)
        room = max(abs(end - clears) - self.timing.doubt(channel), 0.1 * abs(end - clears))
        return self.timing.reaches_s(channel, start, end, 0.6 * room)
