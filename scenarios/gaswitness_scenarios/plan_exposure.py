"""The test of exposure averages as causes: the dose under inhibit, then what it drives, alone.

STEL first: its dose is part of TWA's. What gas itself raises has gone by the time that a channel is
let count. A lost supply forgets the averages at the end.
"""

from typing import Final

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_dose import WINDOW_S, has_limit
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_power import OFF_S
from gaswitness_scenarios.plan_stimuli import Turn, is_exposure
from gaswitness_sitefile.matrix import Cell, Fact

SAMPLES_S: Final = 20.0
"""Averages are taken every ten seconds: two of these."""


def exposure_test(ground: Ground, title: str) -> Draft | None:
    """The test, or None where no exposure drives anything, or all would take too long."""
    wanted: dict[Fact, list[tuple[Cell, Turn]]] = {}
    for cell, turn in ground.needs():
        if is_exposure(turn.fact) and turn.on and not turn.standing:
            wanted.setdefault(turn.fact, []).append((cell, turn))
    feasible = {
        fact: needs
        for fact, needs in wanted.items()
        if has_limit(ground.site.channel_of[fact.subject], fact.what) and ground.dose(fact).fits
    }
    if not feasible:
        return None
    bench = ground.bench(title, "exposures")
    _Exposure(ground, bench, feasible).write()
    return bench.draft


class _Exposure:
    def __init__(
        self, ground: Ground, bench: Bench, wanted: dict[Fact, list[tuple[Cell, Turn]]]
    ) -> None:
        self.ground = ground
        self.bench = bench
        self.timing = ground.timing
        self.wanted = wanted
        self.tags = [c.tag for c in ground.site.channels if any(f.subject == c.tag for f in wanted)]
        self.given_s = dict.fromkeys(self.tags, 0.0)

    def write(self) -> None:
        bench, timing = self.bench, self.timing
        bench.say("Inhibited: the dose counts, and moves nothing.")
        bench.inhibit(self.tags, on=True)
        bench.hold(timing.flag_s)
        for what in ("STEL", "TWA"):
            facts = [fact for fact in self.wanted if fact.what == what]
            if facts:
                self.dose(facts)
                if what == "TWA":
                    bench.say("Until the average of 15 min has gone.")
                    bench.hold(WINDOW_S["STEL"] + SAMPLES_S + timing.flag_s)
                bench.press("reset")
                bench.hold(timing.key_s)
                for fact in facts:
                    self.turn(fact)
        bench.say("The supply is lost, and the averages with it.")
        bench.power(on=False)
        bench.hold(OFF_S)
        bench.power(on=True)
        bench.hold(self.ground.site.alarms_count_after_s + timing.flag_s + timing.key_s)
        bench.inhibit(self.tags, on=False)
        bench.hold(timing.flag_s)
        bench.press("accept")
        bench.hold(timing.key_s)

    def dose(self, facts: list[Fact]) -> None:
        """Gas until every average is over its limit, and clean air again."""
        bench, timing = self.bench, self.timing
        doses = {fact: self.ground.dose(fact) for fact in facts}
        bench.say(f"The dose of {', '.join(map(str, facts))}.")
        bench.apply({fact.subject: dose.amount for fact, dose in doses.items()})
        hold_s = max(dose.hold_s - self.given_s[fact.subject] for fact, dose in doses.items())
        bench.hold(hold_s + SAMPLES_S)
        tags = [fact.subject for fact in facts]
        for tag in tags:
            self.given_s[tag] += hold_s
        bench.apply(dict.fromkeys(tags, "clean"))
        channels = [self.ground.site.channel_of[tag] for tag in tags]
        lags = [
            self.ground.recover_s(channel, doses[fact].amount)
            for channel, fact in zip(channels, facts, strict=True)
        ]
        bench.hold(max(lags) + timing.level_s)
        bench.recovered(tags)

    def turn(self, fact: Fact) -> None:
        """Let the channel count: the average alone moves what it drives."""
        bench, timing = self.bench, self.timing
        cells = [cell for cell, _ in self.wanted[fact]]
        bench.hold(max(0.0, bench.rests_in_s({cell.effect for cell in cells})))
        wait_s = self.ground.site.timing.flag_response_s
        bench.say(f"{fact} counts: {', '.join(dict.fromkeys(cell.effect for cell in cells))}.")
        bench.average(fact, on=True)
        bench.inhibit([fact.subject], on=False)
        bench.hold(wait_s + timing.comes_s(cells))
        shown = [cell for cell in cells if bench.alone(cell)]
        for cell, turn in self.wanted[fact]:
            if cell in shown:
                self.ground.done.add((cell.id, turn))
                self.claim(cell, "R", "rises")
        bench.press("reset")
        bench.hold(timing.key_s)
        for cell in shown:
            self.claim(cell, "P", "reset refused")
        bench.inhibit([fact.subject], on=True)
        bench.average(fact, on=False)
        bench.hold(wait_s + timing.goes_s(cells))
        for cell in shown:
            self.claim(cell, *(("L", "latches") if cell.latching else ("F", "releases")))
            bench.cover(cell.id, "I")
        latched = [cell for cell in shown if cell.latching]
        if latched:
            bench.press("reset")
            bench.hold(timing.key_s + timing.goes_s(latched))
            for cell in latched:
                self.claim(cell, "A", "reset")
        self.ground.exposures.add(fact)

    def claim(self, cell: Cell, kind: str, aspect: str) -> None:
        self.bench.cover(cell.id, kind)
        if self.ground.output_seen(cell.effect):
            self.bench.claim(f"cell/{cell.id}: {aspect}")
