"""Sources let count one after the other, and what their outputs must do meanwhile.

In gas and inhibited a channel counts once its inhibit goes; a contact once it is made.
"""

from collections.abc import Iterable, Sequence

from gaswitness_scenarios.plan_bench import Bench
from gaswitness_scenarios.plan_gates import Gates
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_stimuli import OWN_FAULT
from gaswitness_sitefile.matrix import Cell, Fact


class Counting:
    """Writes steps onto a bench on which all channels are inhibited."""

    def __init__(self, ground: Ground, bench: Bench, gates: Gates) -> None:
        self.ground = ground
        self.bench = bench
        self.gates = gates
        self.timing = ground.timing
        self.site = ground.site
        self.channel = ground.site.channel_of

    def let(self, fact: Fact, *, count: bool) -> None:
        """Let a source count, or not: its inhibit goes, its contact is made."""
        if fact.subject in self.site.input_of:
            self.bench.input(fact.subject, on=count)
        elif fact == OWN_FAULT:
            self.bench.panel_fault(on=count)
        else:
            self.bench.inhibit([fact.subject], on=not count)

    def let_all(self, facts: Sequence[Fact], *, count: bool) -> None:
        """Sources that count from now on, or no longer; inhibits in one step."""
        tags = [fact.subject for fact in facts if fact.subject in self.channel]
        self.bench.inhibit(dict.fromkeys(tags), on=not count)
        for fact in facts:
            if fact.subject not in self.channel:
                self.let(fact, count=count)

    def wait_s(self, fact: Fact) -> float:
        """Until the source counts, or no longer does, its effects aside."""
        if fact.subject in self.channel:
            return self.ground.inhibit_wait_s(fact.subject)
        timing = self.site.timing
        return timing.scan_s if str(fact) in self.ground.shown else timing.flag_response_s

    def rest(self, effects: Iterable[str]) -> None:
        """Bring these outputs to rest: one that latched beside another's test goes by reset."""
        wanted = list(effects)
        if any(self.bench.latched.get(effect) for effect in wanted):
            self.bench.say("What came beside is latched: reset clears it.")
            self.bench.press("reset")
            self.bench.hold(self.timing.key_s)
        self.bench.hold(max(0.0, self.bench.rests_in_s(wanted)))

    def window_s(self, come: Sequence[Cell], go: Sequence[Cell]) -> float:
        """How long both may take."""
        return max(
            self.timing.comes_s(come) if come else 0.0, self.timing.goes_s(go) if go else 0.0
        )

    def move(self, cells: Sequence[Cell], words: str, hold_s: float, *, on: bool) -> None:
        """Expect the cells' outputs to come, or to go, while what was just done is held."""
        for cell in self.one_an_output(cells):
            name = f"{cell.id}: {words}"
            self.bench.expect(name, f"{cell.effect}.active", on=on, within_s=hold_s, for_s=0)

    def stay_off(self, cells: Sequence[Cell], words: str, hold_s: float) -> None:
        """Expect the cells' outputs to stay off all the while."""
        for cell in self.one_an_output(cells):
            name = f"{cell.id}: {words}"
            for_s = round(max(0.5, hold_s - 1 - self.timing.sight_s), 1)
            self.bench.expect(name, f"{cell.effect}.active", on=False, within_s=1, for_s=for_s)

    def one_an_output(self, cells: Sequence[Cell]) -> list[Cell]:
        found = {cell.effect: cell for cell in reversed(cells)}
        return [one for one in found.values() if self.ground.output_seen(one.effect)]


def acts(fact: Fact) -> str:
    """That the source counts, in words."""
    return f"{fact} made" if fact.what == "active" else f"{fact.subject} counts"
