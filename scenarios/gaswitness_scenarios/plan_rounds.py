"""Tests of what alarms drive: a round of channels that do not meet, each by gas through its levels.

On the way: each effect comes, and a reset with the gas there changes nothing; then clean air,
latches, reset.
"""

from collections.abc import Sequence

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_ground import LONG_RUN_ON_S, Ground
from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_scenarios.plan_sight import cause_unseen, look_at_rest, look_now
from gaswitness_scenarios.plan_stimuli import is_gas
from gaswitness_sitefile.channel import AlarmLevel
from gaswitness_sitefile.matrix import Cell, Fact

STAGGER_S = 3.0
"""Between two channels of a round: their levels' bits, swapped, would come at the wrong time."""


def effects_by_gas(ground: Ground) -> dict[str, list[str]]:
    """For each channel with levels that drive something, the outputs that it alone moves.

    A cell that several channels turn is left to the gates, unless its output runs on for long.
    """
    found: dict[str, list[str]] = {}
    for channel in ground.site.channels:
        effects = []
        for rung in (r for ladder in ground.ladders[channel.tag] for r in ladder):
            fact = Fact(channel.tag, rung.name)
            effects += [
                cell.effect
                for cell in ground.cells_of_fact(fact)
                if ground.solo(cell, fact) is not None
                and (not summing(ground, cell) or cell.off_delay_s > LONG_RUN_ON_S)
            ]
        if any(ground.ladders[channel.tag]):
            found[channel.tag] = list(dict.fromkeys(effects))
    return found


def summing(ground: Ground, cell: Cell) -> bool:
    """Whether gas at several channels, each alone, turns the cell."""
    turns = ground.turns_of[cell.id]
    return len({t.fact.subject for t in turns if is_gas(ground.site, t.fact)}) > 1


def round_test(ground: Ground, tags: Sequence[str], title: str) -> Draft:
    """One round: the channels together through their levels, and back."""
    bench = ground.bench(title, "cells")
    writer = _Round(ground, bench, tags)
    most = max(len(ground.ladders[tag]) for tag in tags)
    for number in range(most):
        of = {tag: ground.ladders[tag][number] for tag in tags if number < len(ground.ladders[tag])}
        writer.ladder(of)
    bench.press("accept")
    bench.hold(ground.timing.key_s)
    writer.looks_at_rest()
    return bench.draft


class _Round:
    def __init__(self, ground: Ground, bench: Bench, tags: Sequence[str]) -> None:
        self.ground = ground
        self.bench = bench
        self.timing = ground.timing
        self.tags = tags
        self.channel = ground.site.channel_of
        self.asked: list[str] = []
        self.reset_refused: set[str] = set()

    def ladder(self, of: dict[str, tuple[Rung, ...]]) -> None:
        deepest = max(len(rungs) for rungs in of.values())
        for number in range(deepest):
            here = {tag: r[number] for tag, r in of.items() if number < len(r)}
            if number == 0:
                self.just_short(here)
            self.climb(here)
            above = {
                cell.effect
                for tag, rungs in of.items()
                for rung in rungs[number + 1 :]
                for cell in self.ground.cells_of_fact(Fact(tag, rung.name))
            }
            if number + 1 == deepest or any(self.bench.acting.get(effect) for effect in above):
                self.refused_reset()
                self.ground.mute_in_vain(self.bench)
        if self.ground.inhibit_clears:
            self.inhibited(list(of))
        self.leave(of)

    def just_short(self, rungs: dict[str, Rung]) -> None:
        """An output that runs on for long was on beside all levels in the test of these: here it is
        off, and stays so short of the setpoint."""
        bench, timing = self.bench, self.timing
        cells = {
            tag: cell
            for tag, rung in rungs.items()
            for cell in self.ground.cells_of_fact(Fact(tag, rung.name))
            if cell.off_delay_s > LONG_RUN_ON_S
        }
        if not cells:
            return
        bench.say("Just short of the level its output stays off.")
        bench.apply({tag: rungs[tag].short for tag in cells})
        lags = [
            timing.reaches_s(
                self.channel[tag],
                self.channel[tag].clean_reading,
                rungs[tag].short,
                0.3 * abs(rungs[tag].level.setpoint - rungs[tag].short),
            )
            for tag in cells
        ]
        bench.hold(max(lags) + timing.key_s + max(one.on_delay_s for one in cells.values()))

    def climb(self, rungs: dict[str, Rung]) -> None:
        """Gas past one level of each; what it alone moves must come."""
        bench = self.bench
        before = {tag: bench.gas.get(tag, self.channel[tag].clean_reading) for tag in rungs}
        alone_before = {one.effect for one in self.ground.site.matrix if bench.alone(one)}
        acting_before = {effect for effect, ids in bench.acting.items() if ids}
        names = ", ".join(f"{tag} past {rung.name}" for tag, rung in rungs.items())
        bench.say(f"{names}.")
        for at, (tag, rung) in enumerate(rungs.items()):
            if at:
                bench.hold(STAGGER_S)
            bench.apply({tag: rung.past})
        cells = {
            cell.id: cell
            for tag, rung in rungs.items()
            for cell in self.ground.index.cells_by_fact.get(Fact(tag, rung.name), ())
        }
        lags = [
            self.timing.reaches_s(
                self.channel[tag],
                before[tag],
                rung.past,
                self.ground.crossing(self.channel[tag], rung, past=rung.past),
            )
            + rung.level.on_delay_s
            for tag, rung in rungs.items()
        ]
        hold_s = max(lags) + self.timing.level_s + self.timing.comes_s(cells.values())
        self.expect_unseen(names, acting_before, hold_s)
        bench.hold(hold_s)
        moved = []
        for tag, rung in rungs.items():
            fact = Fact(tag, rung.name)
            for cell in self.ground.cells_of_fact(fact):
                turn = self.ground.solo(cell, fact)
                if turn is None or cell.id not in bench.acting.get(cell.effect, ()):
                    continue
                moved.append(cell.effect)
                shared = bench.acting[cell.effect] != {cell.id} or self.turned_by_others(cell, tag)
                if cell.effect in acting_before or cell.effect not in alone_before or shared:
                    continue
                self.ground.done.add((cell.id, turn))
                bench.cover(cell.id, "R", "U")
                if self.ground.output_seen(cell.effect):
                    bench.claim(f"cell/{cell.id}: rises")
        look_now(self.ground, bench, dict.fromkeys(moved))
        self.asked += [one for one in dict.fromkeys(moved) if one not in self.asked]

    def expect_unseen(self, names: str, acting_before: set[str], hold_s: float) -> None:
        """Where no link can tell whether causes of an output stand, say what it must do now: come,
        or stay off."""
        bench, site = self.bench, self.ground.site
        for output in site.outputs:
            tag = output.tag
            unseen = [cell for cell in site.cells_of[tag] if cause_unseen(self.ground, cell)]
            if not unseen or not self.ground.output_seen(tag):
                continue
            if bench.at_rest(tag):
                for_s = round(max(0.5, hold_s - 1 - self.timing.sight_s), 1)
                name = f"{tag} stays off: {names}"
                bench.expect(name, f"{tag}.active", on=False, within_s=1, for_s=for_s)
            elif bench.acting.get(tag) and tag not in acting_before:
                name = f"{tag} comes: {names}"
                bench.expect(name, f"{tag}.active", on=True, within_s=hold_s, for_s=0)

    def turned_by_others(self, cell: Cell, tag: str) -> bool:
        """Whether a channel of the round beside `tag` makes the cell's cause, too."""
        for turn in self.ground.turns_of[cell.id]:
            subject = turn.fact.subject
            if subject == tag or subject not in self.tags or turn.standing:
                continue
            if turn.fact in self.bench.facts:
                return True
        return False

    def refused_reset(self) -> None:
        bench = self.bench
        bench.say("With the gas still there, reset changes nothing.")
        bench.press("reset")
        bench.hold(self.timing.key_s)
        for effect, ids in bench.acting.items():
            if len(ids) == 1:
                (only,) = ids
                self.reset_refused.add(only)
                bench.cover(only, "P")
                if self.ground.output_seen(effect):
                    bench.claim(f"cell/{only}: reset refused")

    def leave(self, of: dict[str, tuple[Rung, ...]]) -> None:
        """Clean air: what does not latch goes, the rest goes by reset."""
        bench, timing = self.bench, self.timing
        before = {effect: set(ids) for effect, ids in bench.acting.items()}
        start = {tag: bench.gas[tag] for tag in of}
        bench.say("Clean air.")
        bench.apply(dict.fromkeys(of, "clean"))
        recover_s = max(self.ground.recover_s(self.channel[tag], start[tag]) for tag in of)
        gone = self.gone(before)
        bench.hold(recover_s + timing.level_s)
        bench.recovered(of)
        bench.hold(timing.goes_s(gone) if gone else 0.0)
        self.went(gone, before)
        latched = [one for one in gone if one.latching]
        latched += [
            cell
            for effect, ids in bench.acting.items()
            for cell in self.ground.site.cells_of[effect]
            if cell.id in ids
        ]
        if latched or any(level.latching for tag in of for level in self.levels(tag)):
            if not self.ground.inhibit_clears:
                self.inhibited(list(of))
            acting = {effect: set(ids) for effect, ids in bench.acting.items()}
            bench.say("Reset clears what is latched.")
            bench.press("reset")
            went = self.gone(acting)
            bench.hold(timing.key_s + timing.goes_s([*went, *latched]))
            self.went(went, acting)
            for cell in latched:
                self.reset_clears(cell)

    def inhibited(self, tags: list[str]) -> None:
        """Inhibited, a channel lets go of what its latched levels hold, without a reset."""
        bench, timing, site = self.bench, self.timing, self.ground.site
        held = [cell for cell in site.matrix if cell.id in bench.acting.get(cell.effect, ())]
        if not held:
            return
        before = {effect: set(ids) for effect, ids in bench.acting.items()}
        bench.say("Inhibited, a channel drives nothing, though its level is latched.")
        bench.inhibit(tags, on=True)
        gone = [cell for cell in self.gone(before) if cell.off_delay_s <= LONG_RUN_ON_S]
        wait_s = max(self.ground.inhibit_wait_s(tag) for tag in tags)
        bench.hold(wait_s + (timing.goes_s(gone) if gone else timing.sight_s))
        self.went([cell for cell in gone if not cell.latching], before)
        bench.inhibit(tags, on=False)
        bench.hold(wait_s + timing.comes_s(held))

    def levels(self, tag: str) -> list[AlarmLevel]:
        return list(self.channel[tag].levels.values())

    def gone(self, before: dict[str, set[str]]) -> list[Cell]:
        """The cells whose cause has gone by what was just done."""
        return [
            cell
            for effect, ids in before.items()
            for cell in self.ground.site.cells_of[effect]
            if cell.id in ids and cell.id not in self.bench.acting[effect]
        ]

    def went(self, cells: list[Cell], before: dict[str, set[str]]) -> None:
        for cell in cells:
            if before[cell.effect] != {cell.id}:
                continue
            kind, aspect = ("L", "latches") if cell.latching else ("F", "releases")
            self.bench.cover(cell.id, kind)
            if self.ground.output_seen(cell.effect):
                self.bench.claim(f"cell/{cell.id}: {aspect}")

    def reset_clears(self, cell: Cell) -> None:
        self.bench.cover(cell.id, "A")
        if cell.latching and self.ground.output_seen(cell.effect):
            self.bench.claim(f"cell/{cell.id}: reset")

    def looks_at_rest(self) -> None:
        for tag in self.asked:
            look_at_rest(self.ground, self.bench, tag)
            if self.ground.output_seen(tag):
                self.bench.claim(f"output/{tag}: moves only for its causes")
