"""The test of readings and alarm levels: slow ramps over every setpoint, settled readings between.

All channels at once, since only registers and levels are looked at: what the levels drive is shown
in other tests. Resets come where a latched level must stay, and where it must let go.
"""

from collections.abc import Sequence

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung, stages
from gaswitness_sitefile.channel import Channel

STAGGER_S = 3.0
"""Between two channels that go over range: their flags, swapped, would come at the wrong time."""

MOST_STAGGERED = 40

PLATEAUS = 2
"""Settled readings at amounts of the channel's own, beside those at its levels."""


def levels_test(ground: Ground, channels: Sequence[Channel], title: str) -> Draft:
    """Readings at three points and more, over-range, and every level of the channels."""
    bench = ground.bench(title, "levels")
    writer = _Writer(ground, bench, channels)
    rungs = {channel.tag: stages(ground.ladders[channel.tag]) for channel in channels}
    most = max((len(found) for found in rungs.values()), default=0)
    for number in range(most):
        writer.rung({tag: found[number] for tag, found in rungs.items() if number < len(found)})
    if not most:
        writer.plain_plateau()
    writer.signatures()
    writer.over_range()
    writer.rest()
    return bench.draft


class _Writer:
    def __init__(self, ground: Ground, bench: Bench, channels: Sequence[Channel]) -> None:
        self.ground = ground
        self.bench = bench
        self.timing = ground.timing
        self.channels = channels
        self.of = {channel.tag: channel for channel in channels}
        self.first = True
        self.plateaus = dict.fromkeys(self.of, 0)
        self.begun_s: dict[str, float] = {}

    def rung(self, rungs: dict[str, Rung]) -> None:
        bench, ground = self.bench, self.ground
        start = {tag: bench.gas.get(tag, self.of[tag].clean_reading) for tag in rungs}
        others = {}
        if self.first:
            others = {
                channel.tag: ground.signatures[channel.tag].amounts[0] / 2
                for channel in self.channels
                if channel.tag not in rungs
            }
        else:
            self.next_signature([tag for tag in self.of if tag not in rungs])
        names = _names(rungs)
        bench.say(f"Just short of {names} the level must stay off.")
        bench.apply({**others, **{tag: rung.short for tag, rung in rungs.items()}})
        if self.first:
            bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
            for channel in self.channels:
                self.settled(channel, bench.gas[channel.tag])
        else:
            bench.hold(max(self.near(tag, rungs[tag], start[tag]) for tag in rungs))
        self.first = False
        self.up(rungs)
        latching = [tag for tag, rung in rungs.items() if rung.level.latching]
        if latching:
            self.reset("With the gas still there, reset changes nothing.")
        self.down(rungs)
        if latching:
            self.unlatch({tag: rungs[tag] for tag in latching})
        for tag, rung in rungs.items():
            self.claim(tag, rung)
        self.take_settled()

    def near(self, tag: str, rung: Rung, start: float) -> float:
        within = 0.3 * abs(rung.level.setpoint - rung.short)
        return self.timing.reaches_s(self.of[tag], start, rung.short, within)

    def up(self, rungs: dict[str, Rung]) -> None:
        way = {tag: abs(rung.past - rung.short) for tag, rung in rungs.items()}
        ramp_s = max(self.timing.ramp_s(self.of[t], r.name, way[t]) for t, r in rungs.items())
        self.bench.say(f"Slowly past {_names(rungs)}.")
        self.bench.apply({tag: rung.past for tag, rung in rungs.items()}, ramp_s)
        waits = [
            self.timing.near_s(
                self.of[tag], self.ground.crossing(self.of[tag], rung, past=rung.past), way[tag] / 2
            )
            + rung.level.on_delay_s
            for tag, rung in rungs.items()
        ]
        self.bench.hold(ramp_s + max(waits) + self.timing.level_s)

    def down(self, rungs: dict[str, Rung]) -> None:
        """Back: levels that do not latch through their hysteresis; latched ones into theirs."""
        plain = {tag: rung for tag, rung in rungs.items() if not rung.level.latching}
        inside = {
            tag: rung.inside
            for tag, rung in rungs.items()
            if rung.level.latching and rung.inside is not None
        }
        wait_s = 0.0
        if plain:
            way = {tag: abs(rung.past - rung.back) for tag, rung in plain.items()}
            ramp_s = max(self.timing.ramp_s(self.of[t], r.name, way[t]) for t, r in plain.items())
            self.bench.say("Slowly back through the hysteresis.")
            self.bench.apply({tag: rung.back for tag, rung in plain.items()}, ramp_s)
            wait_s = ramp_s + max(
                self.timing.near_s(self.of[tag], self.beyond(self.of[tag], rung), way[tag] / 2)
                for tag, rung in plain.items()
            )
        if inside:
            self.bench.say("Back into the hysteresis, where the condition still stands.")
            self.bench.apply(inside)
            for tag, level in inside.items():
                rung = rungs[tag]
                room = rung.level.hysteresis / 2 - self.timing.doubt(self.of[tag])
                wait_s = max(
                    wait_s, self.timing.reaches_s(self.of[tag], rung.past, level, 0.5 * room)
                )
        self.bench.hold(wait_s + self.timing.level_s)
        if inside:
            self.reset("Within the hysteresis reset changes nothing.")

    def beyond(self, channel: Channel, rung: Rung) -> float:
        """How near `back` the reading must be so that the level has surely cleared."""
        clears = rung.level.setpoint - (
            rung.level.hysteresis if rung.short < rung.past else -rung.level.hysteresis
        )
        room = abs(rung.back - clears) - self.timing.doubt(channel)
        return 0.6 * max(room, 0.1 * abs(rung.back - clears), 1e-9)

    def unlatch(self, rungs: dict[str, Rung]) -> None:
        bench = self.bench
        bench.say("Past the hysteresis the level stays: it is latched.")
        bench.apply({tag: rung.back for tag, rung in rungs.items()})
        waits = [
            self.timing.reaches_s(
                self.of[tag], rung.past, rung.back, self.beyond(self.of[tag], rung)
            )
            for tag, rung in rungs.items()
        ]
        bench.hold(max(waits) + self.timing.level_s)
        self.reset("Its gas has gone: reset clears it.")

    def reset(self, words: str) -> None:
        self.bench.say(words)
        self.bench.press("reset")
        self.bench.hold(self.timing.key_s)

    def claim(self, tag: str, rung: Rung) -> None:
        fact = f"{tag}.{rung.name}"
        self.bench.cover(fact, "U", "R")
        if rung.level.latching:
            self.bench.cover(fact, "L", "P", "A")
        else:
            self.bench.cover(fact, "F")
        if not self.ground.level_seen(tag, rung.name):
            return
        aspects = ["setpoint"]
        if rung.level.latching:
            aspects += ["latches", "reset", "reset refused"]
        else:
            aspects += ["clears"]
        if rung.level.on_delay_s:
            aspects += ["delay"]
        self.bench.claim(*(f"level/{fact}: {aspect}" for aspect in aspects))

    def plain_plateau(self) -> None:
        """Of channels without levels: a low reading."""
        self.bench.apply(
            {one.tag: self.ground.signatures[one.tag].amounts[0] / 2 for one in self.channels}
        )
        self.bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
        for channel in self.channels:
            self.settled(channel, self.bench.gas[channel.tag])
        self.first = False

    def settled(self, channel: Channel, amount: float) -> None:
        self.bench.claim(*self.ground.readings(channel, float(f"{amount:.5g}")))
        self.bench.cover(f"{channel.tag}.reading", "N")

    def next_signature(self, tags: Sequence[str]) -> None:
        """Channels that stand at none go to their next amount, where there is one."""
        to = {
            tag: self.ground.signatures[tag].amounts[self.plateaus[tag]]
            for tag in tags
            if self.plateaus[tag] < PLATEAUS and tag not in self.begun_s
        }
        if not to:
            return
        self.bench.say("A reading of its own for each channel: no register can be another's.")
        self.bench.apply(to)
        self.begun_s.update(dict.fromkeys(to, self.bench.now_s))

    def remaining_s(self, tag: str) -> float:
        return self.timing.settled_s(self.of[tag]) - (self.bench.now_s - self.begun_s[tag])

    def take_settled(self) -> None:
        """Channels that have stood long enough at their amount have shown it."""
        for tag in [tag for tag in self.begun_s if self.remaining_s(tag) <= 0]:
            del self.begun_s[tag]
            self.plateaus[tag] += 1
            self.settled(self.of[tag], self.bench.gas[tag])

    def signatures(self) -> None:
        """The amounts that are left, all at once; meanwhile each detector drops out once."""
        dropped = False
        while any(count < PLATEAUS for count in self.plateaus.values()):
            self.next_signature(list(self.of))
            self.bench.hold(max(self.remaining_s(tag) for tag in self.begun_s))
            self.take_settled()
            if not dropped:
                self.drop_out()
                dropped = True

    def drop_out(self) -> None:
        """The detectors leave the bus while in gas, and return."""
        bench, timing = self.bench, self.timing
        bench.say(
            "In gas the detectors drop out: readings and levels do what they must on a fault."
        )
        for tag in self.of:
            bench.fault(tag, on=True, drop_out=True)
        delay_s = max(channel.fault_delay_s for channel in self.channels)
        bench.hold(delay_s + timing.flag_s + timing.lost_s())
        for tag, channel in self.of.items():
            bench.fault(tag, on=False, drop_out=True)
            bench.claim(*self.ground.in_fault(channel))
            bench.cover(f"{tag}.fault", "G")
        delays = [level.on_delay_s for one in self.channels for level in one.levels.values()]
        bench.hold(timing.flag_s + timing.lost_s() + max(delays, default=0.0) + timing.level_s)

    def over_range(self) -> None:
        bench = self.bench
        bench.say("Beyond what the panel shows.")
        stagger = STAGGER_S if len(self.channels) <= MOST_STAGGERED else 0.0
        if stagger:
            for channel in self.channels:
                bench.apply({channel.tag: "over range"})
                bench.hold(stagger)
        else:
            bench.apply({channel.tag: "over range" for channel in self.channels})
        bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
        for channel in self.channels:
            self.settled(channel, bench.gas[channel.tag])
            bench.cover(f"{channel.tag}.reading", "O")
            flag = f"{channel.tag}.over_range"
            if not channel.over_range_latches:
                bench.claim(*self.ground.shows(flag))

    def rest(self) -> None:
        bench = self.bench
        bench.apply({channel.tag: "clean" for channel in self.channels})
        bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
        for channel in self.channels:
            self.settled(channel, channel.clean_reading)
        bench.recovered(list(self.of))
        bench.press("reset")
        bench.hold(self.timing.key_s)
        bench.press("accept")
        bench.hold(self.timing.key_s)
        cells = [cell for cell in self.ground.site.matrix if cell.effect in bench.draft.moves]
        bench.hold(self.timing.goes_s(cells))
        found = {name for channel in self.channels for name in channel.levels}
        bench.claim(*self.ground.shows("panel.unaccepted", *(f"any.{n}" for n in sorted(found))))


def _names(rungs: dict[str, Rung]) -> str:
    return " or ".join(sorted({rung.name for rung in rungs.values()}))
