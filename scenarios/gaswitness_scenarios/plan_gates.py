"""Which turns of a cause can be shown while all channels are in gas and inhibited, and together.

Gas is brought on in stages, a level of every channel at a time. A source that is let count brings
all levels that are on at its stage. Pure logic; how it is done is another module's affair.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import stages
from gaswitness_scenarios.plan_order import rank
from gaswitness_scenarios.plan_stimuli import Turn, is_free, is_gas
from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.matrix import Cell, Fact, facts_of

MOST_TOGETHER = 8
"""Slots in a batch: more would take people more time than they save."""


@dataclass(frozen=True)
class Slot:
    """One source that turns cells, beside a setting. `shows`: the turn that it is good for, which
    asks for less where a contact only keeps another cell silent."""

    turn: Turn
    cells: tuple[Cell, ...]
    shows: Turn

    @property
    def sources(self) -> frozenset[Fact]:
        """All that has to count for it."""
        return frozenset((self.turn.fact, *self.turn.standing))

    @property
    def effects(self) -> frozenset[str]:
        """The outputs that it moves."""
        return frozenset(cell.effect for cell in self.cells)

    @property
    def words(self) -> str:
        """What turns them, in words."""
        standing = self.turn.standing
        return f"{self.turn.fact} with {listed(standing)}" if standing else str(self.turn.fact)


@dataclass(frozen=True)
class Voice:
    """A cell that makes an output sound, and the sources that turn it."""

    cell: Cell
    sources: tuple[Fact, ...]


class Gates:
    """Which turns a gate can show, and at which stage of gas."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.site = ground.site
        self.rungs = {c.tag: stages(ground.ladders[c.tag]) for c in ground.site.channels}
        self.count = max((len(found) for found in self.rungs.values()), default=0)

    def on_at(self, tag: str, stage: int) -> tuple[str, ...]:
        """The levels that are on at a channel at a stage."""
        rungs = self.rungs[tag]
        return rungs[min(stage, len(rungs) - 1)].on if rungs else ()

    def facts(self, stage: int, sources: Iterable[Fact]) -> frozenset[Fact]:
        """What counts while these sources are let count: gas brings all levels of its channel."""
        found: set[Fact] = set()
        for fact in sources:
            if is_gas(self.site, fact):
                found.update(Fact(fact.subject, name) for name in self.on_at(fact.subject, stage))
            else:
                found.add(fact)
                if fact.subject in self.site.channel_of:
                    found.update(Fact(fact.subject, n) for n in self.on_at(fact.subject, stage))
        return frozenset(found)

    def fits(self, cell: Cell, turn: Turn, stage: int) -> bool:
        """Whether the turn can be shown at the stage with nothing else at the cell's output."""
        sources = (turn.fact, *turn.standing)
        for fact in sources:
            if is_gas(self.site, fact):
                if fact.what not in self.on_at(fact.subject, stage):
                    return False
            elif not is_free(self.site, fact) or fact.what == "inhibit":
                return False
        if is_free(self.site, turn.fact) and turn.fact.subject in self.site.channel_of:
            return False
        off = self.facts(stage, turn.standing)
        on = self.facts(stage, sources)
        if self.short(on):
            return False
        if self.ground.index.standing(cell, off) is turn.on:
            return False
        if self.ground.index.standing(cell, on) is not turn.on:
            return False
        return not any(
            self.ground.index.standing(other, facts)
            for other in self.others(cell, on)
            for facts in (off, on)
        )

    def short(self, facts: frozenset[Fact]) -> bool:
        """Whether the bus cannot feed what acts for these facts, all channels being in gas."""
        index = self.ground.index
        if index.supply.ample:
            return False
        acting = {
            cell.effect
            for fact in facts
            for cell in index.cells_by_fact.get(fact, ())
            if index.standing(cell, facts)
        }
        return bool(index.supply.short(acting, [tag for tag, found in self.rungs.items() if found]))

    def others(self, cell: Cell, facts: frozenset[Fact]) -> list[Cell]:
        found = {
            one.id: one for fact in facts for one in self.ground.index.cells_by_fact.get(fact, ())
        }
        return [one for one in found.values() if one.effect == cell.effect and one.id != cell.id]

    def batches(self) -> dict[int, list[list[Slot]]]:
        """What no test shows yet, by stage of gas: as few stages as can be, and together what does
        not meet."""
        left: dict[tuple[Cell, Turn, Turn], list[int]] = {}
        for cell, turn in self.ground.needs():
            for way in (turn, *self.quieted(cell, turn)):
                fitting = [stage for stage in range(self.count) if self.fits(cell, way, stage)]
                if fitting:
                    left[cell, turn, way] = fitting
                    break
        chosen: dict[int, dict[tuple[Turn, Turn], list[Cell]]] = {}
        while left:
            counts = [sum(stage in found for found in left.values()) for stage in range(self.count)]
            best = counts.index(max(counts))
            for cell, turn, way in [need for need, found in left.items() if best in found]:
                del left[cell, turn, way]
                chosen.setdefault(best, {}).setdefault((way, turn), []).append(cell)
        return {
            stage: self.together(
                [
                    Slot(way, tuple(cells), turn)
                    for (way, turn), cells in sorted(found.items(), key=lambda one: rank(one[0][0]))
                ],
                stage,
            )
            for stage, found in chosen.items()
        }

    def quieted(self, cell: Cell, turn: Turn) -> Iterator[Turn]:
        """The turn with one contact made as well, by which another cell of the output is silent."""
        if not turn.on:
            return
        facts = {fact for fact, _ in turn.setting} | {turn.fact}
        for other in self.site.cells_of[cell.effect]:
            if other.id == cell.id:
                continue
            for fact in dict.fromkeys(facts_of(other.cause_tree)):
                if fact.subject in self.site.input_of and fact not in facts:
                    yield Turn(turn.fact, turn.setting | {(fact, True)}, turn.on)

    def together(self, slots: list[Slot], stage: int) -> list[list[Slot]]:
        """Slots in batches: each source and each output in one slot of a batch only."""
        batches: list[list[Slot]] = []
        for slot in slots:
            for batch in batches:
                if len(batch) < MOST_TOGETHER and self.goes_with(slot, batch, stage):
                    batch.append(slot)
                    break
            else:
                batches.append([slot])
        return batches

    def goes_with(self, slot: Slot, batch: list[Slot], stage: int) -> bool:
        """Whether in the batch with the slot in it every output still has its own cause."""
        if not slot.turn.on or not all(one.turn.on for one in batch):
            return False
        if any(slot.sources & one.sources or slot.effects & one.effects for one in batch):
            return False
        if any(len(slot.turn.standing) != len(one.turn.standing) for one in batch):
            return False
        whole = [*batch, slot]
        everything = self.facts(stage, frozenset().union(*(one.sources for one in whole)))
        if self.short(everything):
            return False
        for one in whole:
            without = self.facts(
                stage,
                frozenset().union(*(o.sources for o in whole if o is not one), one.turn.standing),
            )
            for cell in one.cells:
                if self.ground.index.standing(cell, without):
                    return False
                if any(
                    self.ground.index.standing(other, everything)
                    for other in self.others(cell, everything)
                ):
                    return False
        return True

    def voices(self, output: Output, stage: int) -> list[Voice]:
        """Cells that can make a mutable output sound one after the other at a stage, each with the
        sources that do it: one alone where that will do."""
        found = []
        for cell in self.site.cells_of[output.tag]:
            ways = [
                (turn.fact, *turn.standing)
                for turn in self.ground.turns_of[cell.id]
                if turn.on and self.sounds(cell, (turn.fact, *turn.standing), stage)
            ]
            if ways:
                found.append(Voice(cell, min(ways, key=len)))
        return self.fed(sorted(found, key=lambda voice: len(voice.sources)), stage)

    def fed(self, voices: list[Voice], stage: int) -> list[Voice]:
        """Those that the bus can feed together: each stands until the last has sounded."""
        kept: list[Voice] = []
        for voice in voices:
            together = [fact for one in (*kept, voice) for fact in one.sources]
            if not self.short(self.facts(stage, together)):
                kept.append(voice)
        return kept

    def sounds(self, cell: Cell, sources: tuple[Fact, ...], stage: int) -> bool:
        """Whether these sources, let count at the stage, turn the cell."""
        for fact in sources:
            if is_gas(self.site, fact):
                if fact.what not in self.on_at(fact.subject, stage):
                    return False
            elif fact.subject not in self.site.input_of:
                return False
        return self.ground.index.standing(cell, self.facts(stage, sources))


def listed(facts: Sequence[Fact]) -> str:
    """The facts in words."""
    return " and ".join(str(fact) for fact in facts)
