"""The test of readings and alarm levels: slow ramps over every setpoint, settled readings between.

All channels at once, since only registers and levels are looked at: what the levels drive is shown
in other tests. Resets come where a latched level must stay, and where it must let go.
"""

from collections.abc import Sequence
from math import ceil, sqrt

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung, plain_between, stages
from gaswitness_scenarios.plan_timing import LEAST_RAMP_S
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.matrix import Fact

NEAR = 0.008
"""How near the gas a reading counts as standing, as a part of the span, without settling."""

BEYOND_RANGE = 0.7
"""Between the end of the range and the highest shown reading."""

OVER_RANGE = 0.2
"""How far beyond the highest shown reading gas over range stands, as a part of the span."""


def levels_test(ground: Ground, found: Sequence[Channel], title: str) -> Draft | None:
    """Readings at three points and more, over-range, and every level of the channels that a point
    shows; None where no point shows anything of any of them."""
    channels = [channel for channel in found if ground.anything_seen(channel)]
    if not channels:
        return None
    bench = ground.bench(title, "levels")
    writer = _Writer(ground, bench, channels)
    writer.first_signature()
    rungs = {
        channel.tag: [
            rung
            for rung in stages(ground.ladders[channel.tag])
            if ground.level_tells(channel.tag, rung.name)
        ]
        for channel in channels
    }
    most = max((len(found) for found in rungs.values()), default=0)
    for number in range(most):
        of = {tag: found[number] for tag, found in rungs.items() if number < len(found)}
        writer.rung(of, first=number == 0)
    if not most:
        writer.low()
    writer.last_signature()
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
        self.begun_s: dict[str, float] = {}
        self.last: set[str] = set()

    def first_signature(self) -> None:
        """From clean air at once to an amount of each channel's own: its levels come after no more
        than their delay. Then the detectors drop out, and return."""
        self.signature(0, list(self.of))
        self.bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
        for tag in list(self.begun_s):
            if self.ground.stands_through_fault(self.of[tag]):
                del self.begun_s[tag]
        self.take_settled()
        self.drop_out()

    def signature(self, number: int, tags: Sequence[str]) -> None:
        bench = self.bench
        bench.say("A reading of its own for each channel: no register can be another's.")
        bench.apply({tag: self.ground.signatures[tag].amounts[number] for tag in tags})
        self.begun_s.update(dict.fromkeys(tags, bench.now_s))

    def take_settled(self) -> None:
        """Channels that have stood long enough at their amount have shown it."""
        for tag in [tag for tag in self.begun_s if self.remaining_s(tag) <= 0]:
            del self.begun_s[tag]
            self.settled(self.of[tag], self.bench.gas[tag])

    def remaining_s(self, tag: str) -> float:
        return self.timing.settled_s(self.of[tag]) - (self.bench.now_s - self.begun_s[tag])

    def drop_out(self) -> None:
        bench, timing = self.bench, self.timing
        bench.say(
            "In gas the detectors drop out: readings and levels do what they must on a fault."
        )
        for tag in self.of:
            bench.fault(tag, on=True, drop_out=True)
        delay_s = max(channel.fault_delay_s for channel in self.channels)
        bench.hold(delay_s + timing.flag_s + timing.lost_s())
        # Only once the fault stands: a level that was on before it says nothing.
        for channel in self.channels:
            self.ground.levels_in_fault(bench, channel, "in fault, in gas", timing.flag_s)
        bench.hold(timing.flag_s)
        for tag, channel in self.of.items():
            bench.fault(tag, on=False, drop_out=True)
            bench.claim(*self.ground.in_fault(channel))
            bench.cover(f"{tag}.fault", "G")
        delays = [level.on_delay_s for one in self.channels for level in one.levels.values()]
        bench.hold(timing.flag_s + timing.lost_s() + max(delays, default=0.0) + timing.level_s)

    def rung(self, rungs: dict[str, Rung], *, first: bool) -> None:
        """One level of each of these channels: short of it, past it, back, reset."""
        bench = self.bench
        start = {tag: bench.gas[tag] for tag in rungs}
        others = [tag for tag in self.of if tag not in rungs]
        to = {tag: rung.short for tag, rung in rungs.items()}
        if first:
            to |= {tag: self.ground.signatures[tag].amounts[0] / 2 for tag in others}
        else:
            fresh = [tag for tag in others if tag not in self.last]
            if fresh:
                self.signature(1, fresh)
                self.last.update(fresh)
        bench.say(f"Just short of {_names(rungs)} the level must stay off.")
        bench.apply(to)
        if first:
            bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
            self.reset("What came before is latched: reset clears it.")
            for channel in self.channels:
                self.settled(channel, bench.gas[channel.tag])
        else:
            bench.hold(max(self.near(tag, rungs[tag], start[tag]) for tag in rungs))
            cells = [
                cell
                for tag, rung in rungs.items()
                for cell in self.ground.index.cells_by_fact.get(Fact(tag, rung.name), ())
            ]
            bench.hold(max((cell.on_delay_s for cell in cells), default=0.0) + self.timing.key_s)
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
        within = min(0.3 * abs(rung.level.setpoint - rung.short), NEAR * self.of[tag].span)
        return self.timing.reaches_s(self.of[tag], start, rung.short, within)

    def up(self, rungs: dict[str, Rung]) -> None:
        way = {tag: abs(rung.past - rung.short) for tag, rung in rungs.items()}
        ramp_s = max(self.ramp_s(tag, rung, way[tag]) for tag, rung in rungs.items())
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

    def ramp_s(self, tag: str, rung: Rung, way: float) -> float:
        """How slowly; no slower than it helps."""
        if self.ground.setpoint_blurred(self.of[tag], rung.name):
            return LEAST_RAMP_S
        return self.timing.ramp_s(self.of[tag], rung.name, way)

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
            ramp_s = max(self.ramp_s(tag, rung, way[tag]) for tag, rung in plain.items())
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
        blurred = self.ground.setpoint_blurred(self.of[tag], rung.name)
        aspects = [] if blurred else ["setpoint"]
        if rung.level.latching:
            aspects += ["latches", "reset", "reset refused"]
        elif not blurred:
            aspects += ["clears"]
        if fact in self.ground.timed_levels:
            aspects += ["delay"]
        self.bench.claim(*(f"level/{fact}: {aspect}" for aspect in aspects))

    def low(self) -> None:
        """Of channels without levels: a low reading."""
        self.bench.apply(
            {one.tag: self.ground.signatures[one.tag].amounts[0] / 2 for one in self.channels}
        )
        self.bench.hold(max(self.timing.settled_s(channel) for channel in self.channels))
        for channel in self.channels:
            self.settled(channel, self.bench.gas[channel.tag])

    def settled(self, channel: Channel, amount: float) -> None:
        self.bench.claim(*self.ground.readings(channel, float(f"{amount:.5g}")))
        self.bench.cover(f"{channel.tag}.reading", "N")

    def last_signature(self) -> None:
        fresh = [tag for tag in self.of if tag not in self.last]
        if fresh:
            self.signature(1, fresh)
        self.bench.hold(max((self.remaining_s(tag) for tag in self.begun_s), default=0.0))
        self.take_settled()

    def over_range(self) -> None:
        """Over range and back, in stages: no two channels go up and come down in the same two.

        A flag that stands at another channel's bit is then seen while that one is settled.
        """
        bench, timing = self.bench, self.timing
        stages_of, count = _stages(list(self.of))
        bench.say("Beyond what the panel shows, one group after the other.")
        for stage in range(count):
            tags = [tag for tag, (up, _) in stages_of.items() if up == stage]
            start = {tag: bench.gas[tag] for tag in tags}
            bench.apply({tag: self.beyond_range(tag) for tag in tags})
            if stage + 1 < count:
                lags = [timing.reaches_s(self.of[t], start[t], *self.top(t)) for t in tags]
                bench.hold(max(lags) + timing.flag_s)
        bench.hold(max(timing.settled_s(channel) for channel in self.channels))
        for channel in self.channels:
            self.settled(channel, bench.gas[channel.tag])
            bench.cover(f"{channel.tag}.reading", "O")
            flag = f"{channel.tag}.over_range"
            if not channel.over_range_latches:
                bench.claim(*self.ground.shows(flag))
        self.reset("Latched levels that lie the other way go: over range is all there is to show.")
        bench.say("Clean air, one group after the other.")
        for stage in range(count):
            tags = [tag for tag, (_, down) in stages_of.items() if down == stage]
            if not tags:
                continue
            bench.apply(dict.fromkeys(tags, "clean"))
            if stage + 1 < count:
                lags = [self.leaves_top_s(tag) for tag in tags]
                bench.hold(max(lags) + timing.flag_s)

    def beyond_range(self, tag: str) -> float | str:
        """Over range; where no point shows that flag, beyond the range and still a reading."""
        channel = self.of[tag]
        if f"{tag}.over_range" in self.ground.shown:
            return "over range"
        low, high = channel.range[1], channel.shown_limits[1]
        return plain_between(low + BEYOND_RANGE * (high - low), low, high)

    def top(self, tag: str) -> tuple[float, float]:
        """Gas over range, and how near it the reading is surely over."""
        channel = self.of[tag]
        beyond = OVER_RANGE * channel.span
        return channel.shown_limits[1] + beyond, 0.7 * (beyond - channel.noise)

    def leaves_top_s(self, tag: str) -> float:
        channel = self.of[tag]
        within = 0.9 * (channel.shown_limits[1] - channel.clean_reading)
        return self.timing.reaches_s(channel, self.top(tag)[0], channel.clean_reading, within)

    def rest(self) -> None:
        bench = self.bench
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


def _stages(tags: Sequence[str]) -> tuple[dict[str, tuple[int, int]], int]:
    """For each channel the stage in which it goes over range and the one in which it leaves, no two
    alike; and how many stages there are."""
    count = ceil(sqrt(len(tags)))
    return {tag: divmod(at, count) for at, tag in enumerate(tags)}, count


def _names(rungs: dict[str, Rung]) -> str:
    return " or ".join(sorted({rung.name for rung in rungs.values()}))
