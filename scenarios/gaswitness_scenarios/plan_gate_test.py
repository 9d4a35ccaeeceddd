"""The test of votes, sums, and everything that takes several causes: all in gas, all inhibited.

One application of gas serves them all. With every channel inhibited nothing may move; then channels
are let count one after the other, so that each vote, sum and mute has one cause that turns it, in
seconds and without waiting for gas.
"""

from collections.abc import Sequence

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_counting import Counting, acts
from gaswitness_scenarios.plan_gates import Gates, Slot, listed
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_scenarios.plan_mutes import Mutes
from gaswitness_scenarios.plan_sight import look_at_rest, look_now, unseen_at_rest
from gaswitness_scenarios.plan_staircase import Stairs
from gaswitness_scenarios.plan_stimuli import is_gas
from gaswitness_scenarios.plan_wanted import latches
from gaswitness_sitefile.matrix import Cell, Fact


def gate_test(ground: Ground, title: str) -> Draft | None:
    """The test, or None where there is nothing that needs it."""
    gates = Gates(ground)
    channels = [c.tag for c in ground.site.channels if gates.rungs[c.tag]]
    if not channels:
        return None
    bench = ground.bench(title, "gates")
    _Gate(ground, bench, gates, channels).write()
    return bench.draft


class _Gate(Counting):
    def __init__(self, ground: Ground, bench: Bench, gates: Gates, tags: Sequence[str]) -> None:
        super().__init__(ground, bench, gates)
        self.tags = list(tags)
        self.mutes = Mutes(ground, bench, gates)

    def write(self) -> None:
        bench = self.bench
        batches = self.gates.batches()
        bench.say("All inhibited: from here on gas may move nothing.")
        bench.inhibit(self.tags, on=True)
        bench.hold(self.timing.flag_s)
        best = self.stages_of_mutes()
        for stage in range(self.gates.count):
            here = batches.get(stage, [])
            mutable = [out for out in self.site.outputs if best.get(out.tag) == stage]
            last = stage + 1 == self.gates.count
            if not here and not mutable and not last:
                continue
            self.gas(stage)
            for batch in here:
                self.batch(batch)
            for output in mutable:
                self.mutes.mute(output, self.gates.voices(output, stage))
            self.mutes.mutes_in_vain(stage)
        Stairs(self.ground, self.bench, self.gates).staircase()
        self.end()

    def stages_of_mutes(self) -> dict[str, int]:
        """For each mutable output the stage at which most of its causes can sound."""
        found = {}
        for output in self.site.outputs:
            if not output.mutable:
                continue
            counts = [len(self.gates.voices(output, s)) for s in range(self.gates.count)]
            if any(counts):
                found[output.tag] = counts.index(max(counts))
        return found

    def gas(self, stage: int) -> None:
        """All channels on to their level of this stage, while nothing may move."""
        bench = self.bench
        to: dict[str, Rung] = {}
        for tag in self.tags:
            rungs = self.gates.rungs[tag]
            rung = rungs[min(stage, len(rungs) - 1)]
            if bench.gas.get(tag) != rung.past:
                to[tag] = rung
        turned = [
            tag
            for tag, rung in to.items()
            if tag in bench.gas and (rung.past > rung.short) != (bench.gas[tag] > self.clean(tag))
        ]
        if turned:
            self.through_clean(turned)
        start = {tag: bench.gas.get(tag, self.clean(tag)) for tag in to}
        if to:
            bench.say("Inhibited, in gas: nothing moves.")
            bench.apply({tag: rung.past for tag, rung in to.items()})
        lags = [
            self.timing.reaches_s(
                self.channel[tag],
                start[tag],
                rung.past,
                self.ground.crossing(self.channel[tag], rung, past=rung.past),
            )
            + rung.level.on_delay_s
            for tag, rung in to.items()
        ]
        cells = [
            cell
            for tag in self.tags
            for name in self.gates.on_at(tag, stage)
            for cell in self.ground.index.cells_by_fact.get(Fact(tag, name), ())
        ]
        bench.hold(max(lags, default=0.0) + self.timing.level_s)
        hold_s = self.timing.comes_s(cells)
        for_s = round(max(0.5, hold_s - 1 - self.timing.sight_s), 1)
        for effect in dict.fromkeys(cell.effect for cell in cells):
            if self.ground.output_seen(effect) and bench.at_rest(effect):
                stays = f"{effect} stays off: all in gas, all inhibited ({stage + 1})"
                bench.expect(stays, f"{effect}.active", on=False, within_s=1, for_s=for_s)
        bench.hold(hold_s)
        for cell in {one.id: one for one in cells}.values():
            bench.cover(cell.id, "I")

    def clean(self, tag: str) -> float:
        return self.channel[tag].clean_reading

    def through_clean(self, tags: list[str]) -> None:
        bench = self.bench
        start = {tag: bench.gas[tag] for tag in tags}
        bench.apply(dict.fromkeys(tags, "clean"))
        recover_s = max(self.ground.recover_s(self.channel[tag], start[tag]) for tag in tags)
        bench.hold(recover_s + self.timing.level_s)
        bench.press("reset")
        bench.hold(self.timing.key_s)

    def batch(self, slots: list[Slot]) -> None:
        """The settings, then the sources that turn the cells, one shortly after the other, and all
        of it back."""
        bench = self.bench
        cells = [cell for slot in slots for cell in slot.cells]
        self.rest({cell.effect for cell in cells})
        standing = [fact for slot in slots for fact in slot.turn.standing]
        come = [cell for slot in slots for cell in slot.cells if slot.turn.on]
        go = [cell for slot in slots for cell in slot.cells if not slot.turn.on]
        if standing:
            self.let_all(standing, count=True)
            hold_s = max(self.wait_s(fact) for fact in standing) + self.timing.comes_s(cells)
            for slot in slots:
                words = f"{listed(slot.turn.standing)} alone"
                if slot.turn.on:
                    self.stay_off(slot.cells, words, hold_s)
                else:
                    self.move(slot.cells, words, hold_s, on=True)
            bench.hold(hold_s)
        for at, slot in enumerate(slots):
            if at:
                bench.hold(self.stagger_s)
            effects = ", ".join(dict.fromkeys(cell.effect for cell in slot.cells))
            bench.say(f"{acts(slot.turn.fact)}: {effects}.")
            self.let(slot.turn.fact, count=True)
            hold_s = self.wait_s(slot.turn.fact) + self.window_s(come, go)
            self.move(slot.cells, slot.words, hold_s, on=slot.turn.on)
        # what goes is held as long as it would take to come
        hold_s = max(self.window_s(come, go), self.window_s(go, ()))
        bench.hold(max(self.wait_s(slot.turn.fact) for slot in slots) + hold_s)
        for slot in slots:
            self.shown(slot)
        look_now(self.ground, bench, dict.fromkeys(cell.effect for cell in come))
        self.refused_reset(come)
        self.let_all([slot.turn.fact for slot in slots], count=False)
        hold_s = max(self.wait_s(slot.turn.fact) for slot in slots) + self.window_s(go, come)
        for slot in slots:
            if not slot.turn.on:
                self.move(slot.cells, f"{slot.words} gone", hold_s, on=True)
        bench.hold(hold_s)
        self.fallen(come)
        unseen_at_rest(self.ground, bench, [cell.effect for cell in come])
        if standing:
            self.let_all(standing, count=False)
            bench.hold(max(self.wait_s(fact) for fact in standing))

    @property
    def stagger_s(self) -> float:
        """Between two sources of a batch: an effect that comes for the other one's is seen to."""
        return self.site.timing.flag_response_s + self.timing.sight_s

    def shown(self, slot: Slot) -> None:
        bench = self.bench
        for cell in slot.cells:
            self.ground.done.add((cell.id, slot.shows))
            if slot.shows.standing:
                bench.cover(cell.id, "V")
            if not slot.turn.on:
                continue
            bench.cover(cell.id, "R")
            if self.ground.output_seen(cell.effect):
                bench.claim(f"cell/{cell.id}: rises")

    def refused_reset(self, cells: Sequence[Cell]) -> None:
        """Once for each cell that no test has shown it of: a reset changes nothing."""
        shown = self.ground.covered | self.bench.draft.covers
        wanting = [cell for cell in cells if (cell.id, "P") not in shown]
        if not wanting:
            return
        self.bench.say("While it stands, reset changes nothing.")
        self.bench.press("reset")
        self.bench.hold(self.timing.key_s)
        for cell in wanting:
            self.bench.cover(cell.id, "P")
            if self.ground.output_seen(cell.effect):
                self.bench.claim(f"cell/{cell.id}: reset refused")

    def fallen(self, cells: Sequence[Cell]) -> None:
        """Their cause has gone, and the time for it is over: released, or latched until reset."""
        bench = self.bench
        latched = [cell for cell in cells if cell.latching]
        for cell in cells:
            kind, aspect = ("L", "latches") if cell.latching else ("F", "releases")
            bench.cover(cell.id, kind)
            if self.ground.output_seen(cell.effect):
                bench.claim(f"cell/{cell.id}: {aspect}")
        if latched:
            bench.press("reset")
            bench.hold(self.timing.key_s + self.timing.goes_s(latched))
            for cell in latched:
                bench.cover(cell.id, "A")
                if self.ground.output_seen(cell.effect):
                    bench.claim(f"cell/{cell.id}: reset")

    def end(self) -> None:
        bench, timing = self.bench, self.timing
        start = dict(bench.gas)
        held = self.held_by_levels()
        if held:
            for fact in dict.fromkeys(fact for _, sources in held for fact in sources):
                if fact not in bench.facts:
                    self.let(fact, count=True)
            cells = [cell for cell, _ in held]
            hold_s = max(self.wait_s(f) for _, sources in held for f in sources)
            hold_s += timing.comes_s(cells)
            bench.hold(hold_s)
            bench.say("Clean air: what latched levels hold stays until reset.")
        else:
            bench.say("Clean air, still inhibited.")
        bench.apply(dict.fromkeys(start, "clean"))
        lags = [self.ground.recover_s(self.channel[tag], level) for tag, level in start.items()]
        bench.hold(max(lags, default=0.0) + timing.level_s)
        bench.recovered(list(start))
        bench.press("reset")
        for cell, _ in held:
            bench.cover(cell.id, "A")
            if self.ground.output_seen(cell.effect):
                bench.claim(f"cell/{cell.id}: releases")
        bench.hold(timing.key_s + (timing.goes_s(cell for cell, _ in held) if held else 0.0))
        for tag in self.site.input_of:
            if tag in bench.inputs:
                bench.input(tag, on=False)
        bench.inhibit([tag for tag in self.tags if tag in bench.inhibits], on=False)
        bench.hold(timing.flag_s)
        bench.press("accept")
        bench.hold(timing.key_s)
        for tag in self.tags:
            bench.claim(*self.ground.shows(f"{tag}.inhibit"))
        bench.claim(*self.ground.shows("panel.inhibit"))
        rests = [cell for cell in self.site.matrix if cell.effect in bench.busy_s]
        if rests:
            bench.hold(max(0.0, bench.rests_in_s(bench.busy_s)) + timing.sight_s)
        for output in self.site.outputs:
            look_at_rest(self.ground, bench, output.tag)

    def held_by_levels(self) -> list[tuple[Cell, tuple[Fact, ...]]]:
        """Cells that nothing showed to go by reset, with the sources that turn them now: their own
        cell does not latch, but a level that drives them does."""
        shown = self.ground.covered | self.bench.draft.covers
        last = self.gates.count - 1
        found: list[tuple[Cell, tuple[Fact, ...]]] = []
        for cell in self.site.matrix:
            if cell.latching or (cell.id, "A") in shown:
                continue
            for turn in self.ground.turns_of[cell.id]:
                sources = (turn.fact, *turn.standing)
                gas = [fact for fact in sources if is_gas(self.site, fact)]
                latching = any(latches(self.ground, fact) for fact in gas)
                together = [f for _, held in found for f in held] + list(sources)
                if self.gates.short(self.gates.facts(last, together)):
                    continue
                if turn.on and latching and self.gates.fits(cell, turn, last):
                    found.append((cell, sources))
                    break
        return found
