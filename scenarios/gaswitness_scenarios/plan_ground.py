"""What all tests of a plan are made from: the site seen as causes, levels, times, and what shows.

Computed once. `shown` are the facts of mapped points.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from gaswitness_probe.facts import fact_sources, reading_points, resolution, within_type
from gaswitness_probe.provable import Chance, provable
from gaswitness_scenarios.plan_bench import Bench, MatrixIndex
from gaswitness_scenarios.plan_dose import Dose, dose_of, has_limit
from gaswitness_scenarios.plan_ladder import Rung, ladders
from gaswitness_scenarios.plan_signature import Signature, signatures
from gaswitness_scenarios.plan_stimuli import Turn, turns
from gaswitness_scenarios.plan_timing import PlanTiming
from gaswitness_sitefile.channel import Channel, LevelsOnFault, ReadingOnFault
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.matrix import Cell, Fact
from gaswitness_sitefile.site import InhibitActs, Site

Need = tuple[Cell, Turn]
"""A cell, and one way in which one source has to be seen to turn it."""

LONG_RUN_ON_S = 60.0
"""A fan that runs on for longer is not waited for while gas is on detectors."""


@dataclass
class Ground:
    """`turns_of`: by cell id. `timed_levels`: whose delay the link can prove however the polls
    fall. `done`, `covered`: what the tests written so far show. `unfed`: titles of tests that the
    panel's own bus cannot feed, and why; `starving`: the channels whose gas alone is too much."""

    site: Site
    timing: PlanTiming
    index: MatrixIndex
    ladders: Mapping[str, tuple[tuple[Rung, ...], ...]]
    signatures: Mapping[str, Signature]
    shown: frozenset[str]
    turns_of: Mapping[str, tuple[Turn, ...]]
    timed_levels: frozenset[str]
    looks: str = "all"
    done: set[tuple[str, Turn]] = field(default_factory=set)
    looked: set[str] = field(default_factory=set)
    looked_for: set[str] = field(default_factory=set)
    seen_at_rest: set[str] = field(default_factory=set)
    exposures: set[Fact] = field(default_factory=set)
    covered: set[tuple[str, str]] = field(default_factory=set)
    through_mute: set[str] = field(default_factory=set)
    unfed: dict[str, str] = field(default_factory=dict)
    starving: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, site: Site, link: LinkAddress | None, looks: str = "all") -> Self:
        """The ground of one site on one link."""
        timing = PlanTiming.of(site, link)
        index = MatrixIndex(site)
        by_cause: dict[str, tuple[Turn, ...]] = {}
        for cell in site.matrix:
            if cell.cause not in by_cause:
                by_cause[cell.cause] = tuple(turns(index.cause_of[cell.id]))
        return cls(
            site,
            timing,
            index,
            {c.tag: ladders(c, timing.doubt(c)) for c in site.channels},
            signatures(site),
            frozenset(fact_sources(site)),
            {cell.id: by_cause[cell.cause] for cell in site.matrix},
            frozenset(one.id for one in provable(site, link).levels if one.chance is Chance.SURE),
            looks,
        )

    def bench(self, title: str, group: str) -> Bench:
        """A bench for a new test."""
        return Bench(self.index, title, group)

    def noted(self) -> tuple[set[Any], ...]:
        """What tests have shown so far, to be gone back to."""
        return tuple(map(set, self._notes()))

    def back_to(self, noted: tuple[set[Any], ...]) -> None:
        """Forget what a test that is not kept was to show."""
        for now, before in zip(self._notes(), noted, strict=True):
            now.intersection_update(before)

    def _notes(self) -> tuple[set[Any], ...]:
        return (
            self.done,
            self.looked,
            self.looked_for,
            self.seen_at_rest,
            self.exposures,
            self.through_mute,
        )

    def moved_by(self, channel: Channel) -> set[str]:
        """The outputs that the channel alone moves at any of its levels."""
        return {
            cell.effect
            for ladder in self.ladders[channel.tag]
            for rung in ladder
            for cell in self.cells_of_fact(Fact(channel.tag, rung.name))
        }

    def needs(self) -> Iterable[Need]:
        """All that no test shows yet."""
        for cell in self.site.matrix:
            for turn in self.turns_of[cell.id]:
                if (cell.id, turn) not in self.done:
                    yield cell, turn

    def cells_of_fact(self, fact: Fact) -> list[Cell]:
        """The cells that the fact alone turns."""
        return [
            cell
            for cell in self.index.cells_by_fact.get(fact, ())
            if any(turn.fact == fact and not turn.standing for turn in self.turns_of[cell.id])
        ]

    def solo(self, cell: Cell, fact: Fact) -> Turn | None:
        """The cell's turn by that fact with nothing beside it."""
        for turn in self.turns_of[cell.id]:
            if turn.fact == fact and turn.on and not turn.standing:
                return turn
        return None

    def crossing(self, channel: Channel, rung: Rung, *, past: float) -> float:
        """How near its end the reading must be so that the level is surely on."""
        return 0.8 * max(abs(past - rung.level.setpoint) - self.timing.doubt(channel), 1e-9)

    def recover_s(self, channel: Channel, start: float) -> float:
        """Until a channel's reading is back in clean air, and all levels' conditions are off."""
        doubt = self.timing.doubt(channel)
        gaps = [channel.reading_tolerance]
        for rung in (r for ladder in self.ladders[channel.tag] for r in ladder):
            rising = rung.short < rung.past
            clears = rung.level.setpoint + (-1 if rising else 1) * rung.level.hysteresis
            gaps.append(abs(clears - channel.clean_reading) - doubt)
        near = 0.8 * max(min(gaps), 0.05 * min(abs(one) or 1.0 for one in gaps))
        return self.timing.reaches_s(channel, start, channel.clean_reading, near)

    def shows(self, *facts: str) -> list[str]:
        """Claims of flags that points show: they come and go."""
        return [
            f"flag/{fact}: {how}"
            for fact in facts
            if fact in self.shown
            for how in ("comes", "goes")
        ]

    def readings(self, channel: Channel, amount: float) -> list[str]:
        """Claims of the channel's settled readings at an amount of gas."""
        low, high = channel.shown_limits
        claims = []
        for point in reading_points(self.site, channel.tag):
            level = within_type(point, min(max(amount, low), high))
            claims.append(f"reading/{channel.tag}: {point.name} at {level:g}")
        return claims

    def in_fault(self, channel: Channel) -> list[str]:
        """Claims of what the channel's reading shows in fault."""
        points = reading_points(self.site, channel.tag)
        shown = f"{channel.tag}.fault" in self.shown
        return [f"reading/{channel.tag}: {p.name} in fault" for p in points] if shown else []

    def level_seen(self, tag: str, name: str) -> bool:
        """Whether the level and its reading can be judged."""
        return f"{tag}.{name}" in self.shown and bool(reading_points(self.site, tag))

    def level_known(self, tag: str, name: str) -> bool:
        """Whether it can be told if the level is on: a point shows it, or the reading."""
        return f"{tag}.{name}" in self.shown or bool(reading_points(self.site, tag))

    def anything_seen(self, channel: Channel) -> bool:
        """Whether gas at the channel shows anything at all, what it drives aside."""
        levels = (f"{channel.tag}.{name}" for name in channel.levels)
        return bool(reading_points(self.site, channel.tag)) or any(
            fact in self.shown for fact in (*levels, f"{channel.tag}.over_range")
        )

    def level_tells(self, tag: str, name: str) -> bool:
        """Whether anything shows when the level comes on: a point of its own; or, where points show
        the reading, one of an output that the level drives."""
        if f"{tag}.{name}" in self.shown:
            return True
        cells = self.index.cells_by_fact.get(Fact(tag, name), ())
        return self.level_known(tag, name) and any(self.output_seen(one.effect) for one in cells)

    def setpoint_blurred(self, channel: Channel, name: str) -> bool:
        """Whether the readings are too coarse to say at which the level came on, to within its
        tolerance, or no point shows the one or the other."""
        tag = channel.tag
        return not self.level_seen(tag, name) or (
            2 * self.resolution_of(channel) >= channel.level_tolerance(name)
        )

    def output_seen(self, tag: str) -> bool:
        """Whether a point shows that the output acts."""
        return f"{tag}.active" in self.shown

    @property
    def inhibit_clears(self) -> bool:
        """Whether an inhibit takes the levels themselves away."""
        return self.site.behaviour.inhibit is InhibitActs.LEVELS

    def inhibit_wait_s(self, tag: str) -> float:
        """From an inhibit that is set or taken away until the channel counts so, in seconds."""
        timing = self.site.timing
        levels_s = 0.0
        if self.inhibit_clears:
            levels = self.site.channel_of[tag].levels.values()
            levels_s = max((one.on_delay_s for one in levels), default=0.0) + self.timing.level_s
        seen = f"{tag}.inhibit" in self.shown
        return (timing.scan_s if seen else timing.flag_response_s) + levels_s

    def resolution_of(self, channel: Channel) -> float:
        """Half the coarsest step of the registers that show the reading."""
        return max((resolution(p) for p in reading_points(self.site, channel.tag)), default=0.0)

    def stands_through_fault(self, channel: Channel) -> bool:
        """Whether a settled reading is the same number in fault: what was seen of it until then
        cannot be told from what the panel holds."""
        return channel.on_fault is ReadingOnFault.HOLD and (
            channel.noise <= 2 * self.resolution_of(channel) or not channel.noise
        )

    def exposure_words(self, fact: Fact) -> str:
        """What it takes to bring an average to its limit."""
        if not has_limit(self.site.channel_of[fact.subject], fact.what):
            return "a limit, and the channel has none"
        dose = self.dose(fact)
        return (
            f"{dose.amount:g} {self.site.channel_of[fact.subject].unit} for {dose.hold_s / 60:.0f} "
            "min, longer than a plan holds gas"
        )

    def dose(self, fact: Fact) -> Dose:
        """The gas that brings an average over its limit, and for how long."""
        return dose_of(self.site.channel_of[fact.subject], fact.what)

    def levels_in_fault(self, bench: Bench, channel: Channel, words: str, hold_s: float) -> None:
        """Expect of each level what it must do on the fault just made, within the hold after it."""
        rule = channel.levels_on_fault
        for name in channel.levels:
            fact = f"{channel.tag}.{name}"
            if fact not in self.shown:
                continue
            was_on = name in bench.on.get(channel.tag, ())
            on = rule is LevelsOnFault.TRIP or (rule is LevelsOnFault.HOLD and was_on)
            stays = 0.0 if on else round(max(0.5, 0.4 * hold_s), 1)
            bench.expect(f"{fact} {words}", fact, on=on, within_s=0.5 * hold_s, for_s=stays)

    def mute_in_vain(self, bench: Bench) -> None:
        """Press mute once while outputs act that it must not silence, and none that it would."""
        of = self.site.output_of
        acting = [tag for tag, cells in bench.acting.items() if cells]
        fresh = [
            tag
            for tag in acting
            if tag not in self.through_mute and not of[tag].mutable and of[tag].pulse_s is None
        ]
        if not fresh or any(of[tag].mutable for tag in acting):
            return
        bench.say("Mute silences sounders only.")
        bench.press("mute")
        for tag in fresh:
            self.through_mute.add(tag)
            if self.output_seen(tag):
                stays_s = self.site.timing.key_response_s
                name = f"{tag} acts on through a mute"
                bench.expect(name, f"{tag}.active", on=True, within_s=0.5, for_s=stays_s)
        bench.hold(self.timing.key_s)
