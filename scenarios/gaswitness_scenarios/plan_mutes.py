"""Mutes: a sounder falls silent, what is no sounder does not, and a new cause sounds it again."""

from gaswitness_scenarios.plan_bench import Bench
from gaswitness_scenarios.plan_counting import Counting, acts
from gaswitness_scenarios.plan_gates import Gates, Voice
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_sight import question
from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.matrix import Cell, Fact


class Mutes(Counting):
    """Mutes of all outputs, while all channels are in gas and inhibited."""

    def __init__(self, ground: Ground, bench: Bench, gates: Gates) -> None:
        super().__init__(ground, bench, gates)
        self.muted: set[str] = set()

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
        if again:
            self.hear(again, acts=True)

    def hear(self, tag: str, *, acts: bool) -> None:
        """Ask a person whether a sounder that no point shows is heard."""
        if self.ground.output_seen(tag) or self.ground.looks == "none":
            return
        self.bench.look(f"{tag}.active", question(self.site.output_of[tag], acts=acts))

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
        self.hear(tag, acts=False)
        if tag in self.muted:
            return
        self.muted.add(tag)
        if self.ground.output_seen(tag):
            bench.claim(f"output/{tag}: mutes")


def _sources(voice: Voice) -> str:
    return " and ".join(acts(fact) for fact in voice.sources)
