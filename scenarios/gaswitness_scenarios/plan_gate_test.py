"""The test of votes, sums, and everything that takes several causes: all in gas, all inhibited.

One application of gas serves them all. With every channel inhibited nothing may move; then channels
are let count one after the other, so that each vote, sum and mute has one cause that turns it, in
seconds and without waiting for gas.
"""

from collections.abc import Iterable, Sequence

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_gates import Gates, Slot, Voice, listed
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_scenarios.plan_staircase import Staircase, staircases
from gaswitness_scenarios.plan_stimuli import OWN_FAULT, is_gas
from gaswitness_scenarios.plan_wanted import latches
from gaswitness_sitefile.devices import Output
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


class _Gate:
    def __init__(self, ground: Ground, bench: Bench, gates: Gates, tags: Sequence[str]) -> None:
        self.ground = ground
        self.bench = bench
        self.gates = gates
        self.tags = list(tags)
        self.timing = ground.timing
        self.site = ground.site
        self.channel = ground.site.channel_of
        self.muted: set[str] = set()

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
                self.mute(output, self.gates.voices(output, stage))
            self.mutes_in_vain(stage)
        self.staircase()
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

    # --- one thing after the other ----------------------------------------------------------

    def let(self, fact: Fact, *, count: bool) -> None:
        """Let a source count, or not: its inhibit goes, its contact is made."""
        if fact.subject in self.site.input_of:
            self.bench.input(fact.subject, on=count)
        elif fact == OWN_FAULT:
            self.bench.panel_fault(on=count)
        else:
            self.bench.inhibit([fact.subject], on=not count)

    def wait_s(self, fact: Fact) -> float:
        """Until the source counts, or no longer does, its effects aside."""
        if fact.subject in self.channel:
            return self.ground.inhibit_wait_s(fact.subject)
        timing = self.site.timing
        return timing.scan_s if str(fact) in self.ground.shown else timing.flag_response_s

    def rest(self, effects: Iterable[str]) -> None:
        self.bench.hold(max(0.0, self.bench.rests_in_s(effects)))

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
            bench.say(f"{_acts(slot.turn.fact)}: {effects}.")
            self.let(slot.turn.fact, count=True)
            hold_s = self.wait_s(slot.turn.fact) + self.window_s(come, go)
            self.move(slot.cells, slot.words, hold_s, on=slot.turn.on)
        # what goes is held as long as it would take to come
        hold_s = max(self.window_s(come, go), self.window_s(go, ()))
        bench.hold(max(self.wait_s(slot.turn.fact) for slot in slots) + hold_s)
        for slot in slots:
            self.shown(slot)
        self.ground.look_now(bench, dict.fromkeys(cell.effect for cell in come))
        self.refused_reset(come)
        self.let_all([slot.turn.fact for slot in slots], count=False)
        hold_s = max(self.wait_s(slot.turn.fact) for slot in slots) + self.window_s(go, come)
        for slot in slots:
            if not slot.turn.on:
                self.move(slot.cells, f"{slot.words} gone", hold_s, on=True)
        bench.hold(hold_s)
        self.fallen(come)
        if standing:
            self.let_all(standing, count=False)
            bench.hold(max(self.wait_s(fact) for fact in standing))

    @property
    def stagger_s(self) -> float:
        """Between two sources of a batch: an effect that comes for the other one's is seen to."""
        return self.site.timing.flag_response_s + self.timing.sight_s

    def let_all(self, facts: Sequence[Fact], *, count: bool) -> None:
        """Sources that count from now on, or no longer; inhibits in one step."""
        tags = [fact.subject for fact in facts if fact.subject in self.channel]
        self.bench.inhibit(dict.fromkeys(tags), on=not count)
        for fact in facts:
            if fact.subject not in self.channel:
                self.let(fact, count=count)

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

    def window_s(self, come: Sequence[Cell], go: Sequence[Cell]) -> float:
        """How long both may take."""
        return max(
            self.timing.comes_s(come) if come else 0.0, self.timing.goes_s(go) if go else 0.0
        )

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

    # --- mute ---------------------------------------------------------------------------------

    def mute(self, output: Output, voices: list[Voice]) -> None:
        """The first cause sounds it, mute silences it, each further one sounds it again. Where
        there is but one cell, the mute ends with it, and it sounds when its cause comes anew."""
        bench, tag = self.bench, output.tag
        self.rest({tag})
        cells = [voice.cell for voice in voices]
        first = voices[0]
        bench.say(f"{_sources(first)}: {tag} sounds.")
        self.voice(first)
        self.silence(tag, first.cell)
        again = [one for one in voices[1:] if set(one.sources) != set(first.sources)]
        for one in again:
            if bench.facts.issuperset(one.sources):
                continue
            bench.say(f"{_sources(one)}: {tag} sounds again.")
            self.voice(one, again=tag)
            self.silence(tag, one.cell)
            bench.cover(one.cell.id, "S")
        apart = [fact for fact in first.sources if not any(fact in one.sources for one in again)]
        if apart:
            self.let_all(apart, count=False)
            wait_s = max(self.wait_s(fact) for fact in apart)
            bench.hold(wait_s + self.timing.goes_s([first.cell]))
            bench.say(f"{_sources(first)} anew: {tag} sounds again.")
            self.voice(first, again=tag)
            bench.cover(first.cell.id, "S")
        if again:
            self.resounds(tag)
        used = [fact for one in (first, *again) for fact in one.sources]
        self.let_all([fact for fact in dict.fromkeys(used) if fact in bench.facts], count=False)
        bench.hold(max(self.wait_s(fact) for fact in used) + self.timing.goes_s(cells))
        if any(cell.latching for cell in cells):
            bench.press("reset")
            bench.hold(self.timing.key_s + self.timing.goes_s(cells))
        bench.claim(*self.ground.shows(f"{tag}.muted"))

    def mutes_in_vain(self, stage: int) -> None:
        """Outputs that no mute was pressed beside yet, each let act by one channel."""
        for output in self.site.outputs:
            if output.mutable or output.tag in self.ground.through_mute:
                continue
            for voice in self.gates.voices(output, stage):
                facts = self.gates.facts(stage, voice.sources)
                if not self.silent(facts):
                    continue
                self.rest({output.tag})
                self.voice(voice)
                self.ground.mute_in_vain(self.bench)
                self.let_all(list(voice.sources), count=False)
                wait_s = max(self.wait_s(fact) for fact in voice.sources)
                self.bench.hold(wait_s + self.timing.goes_s([voice.cell]))
                break

    def silent(self, facts: frozenset[Fact]) -> bool:
        """Whether no mutable output acts for these facts."""
        return not any(
            self.site.output_of[cell.effect].mutable and self.ground.index.standing(cell, facts)
            for fact in facts
            for cell in self.ground.index.cells_by_fact.get(fact, ())
        )

    def voice(self, voice: Voice, again: str = "") -> None:
        """Let its sources count; `again`: the output that must sound again."""
        fresh = [fact for fact in voice.sources if fact not in self.bench.facts]
        self.let_all(fresh, count=True)
        hold_s = max((self.wait_s(fact) for fact in fresh), default=0.0)
        hold_s += self.timing.comes_s([voice.cell])
        if again:
            self.move([voice.cell], f"{_sources(voice)} sounds {again} again", hold_s, on=True)
        self.bench.hold(hold_s)

    def resounds(self, tag: str) -> None:
        if self.ground.output_seen(tag):
            self.bench.claim(f"output/{tag}: sounds again")

    def silence(self, tag: str, cell: Cell) -> None:
        bench = self.bench
        bench.press("mute")
        beside = {one for one, cells in bench.acting.items() if cells}
        self.ground.through_mute |= {t for t in beside if not self.site.output_of[t].mutable}
        bench.hold(self.timing.key_s)
        bench.cover(cell.id, "M")
        if tag in self.muted:
            return
        self.muted.add(tag)
        if self.ground.output_seen(tag):
            bench.claim(f"output/{tag}: mutes")

    # --- votes at another level ---------------------------------------------------------------

    def staircase(self) -> None:
        """One member less than the vote needs past its level, the others a level lower: nothing."""
        at_top = {
            tag: rungs[-1]
            for tag, rungs in self.gates.rungs.items()
            if rungs and self.bench.gas.get(tag) == rungs[-1].past
        }
        found = staircases(self.ground, at_top)
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

    # --- the end ------------------------------------------------------------------------------

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
            self.ground.look_at_rest(bench, output.tag)

    def held_by_levels(self) -> list[tuple[Cell, tuple[Fact, ...]]]:
        """Cells that nothing showed to go by reset, with the sources that turn them now: their own
        cell does not latch, but a level that drives them does."""
        shown = self.ground.covered | self.bench.draft.covers
        last = self.gates.count - 1
        found = []
        for cell in self.site.matrix:
            if cell.latching or (cell.id, "A") in shown:
                continue
            for turn in self.ground.turns_of[cell.id]:
                sources = (turn.fact, *turn.standing)
                gas = [fact for fact in sources if is_gas(self.site, fact)]
                latching = any(latches(self.ground, fact) for fact in gas)
                if turn.on and latching and self.gates.fits(cell, turn, last):
                    found.append((cell, sources))
                    break
        return found


def _sources(voice: Voice) -> str:
    return " and ".join(_acts(fact) for fact in voice.sources)


def _acts(fact: Fact) -> str:
    return f"{fact} made" if fact.what == "active" else f"{fact.subject} counts"
