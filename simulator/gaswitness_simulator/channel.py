"""One channel as the panel sees it: reading, fault, inhibit, levels (rules 1 to 6).

Judges when it must be looked at next, so that quiet scans can be jumped over. Knows no matrix.
"""

import math
from dataclasses import dataclass
from typing import Final, Protocol, Self

from gaswitness_simulator import loop
from gaswitness_simulator.exposure import ExposureState
from gaswitness_simulator.gas import Air
from gaswitness_simulator.level import TICK_S, Level
from gaswitness_simulator.noise import deviation
from gaswitness_simulator.scanning import Scanning
from gaswitness_simulator.sensor import NEW, Ageing
from gaswitness_simulator.stimulus import Profile, Step, final_level
from gaswitness_sitefile.channel import Channel, LevelsOnFault, ReadingOnFault, SignalKind

NEVER: Final = 1 << 62
"""A scan that does not come."""

NOT_YET: Final = (NEVER, math.nan)


class Asks(Protocol):
    """How the panel asks the channel's device over the bus."""

    cycle_s: float

    def answered_s(self, tag: str, at_s: float) -> float:
        """When the device last answered, at or before the instant."""

    def answers(self, tag: str) -> bool:
        """Whether it answers when it is asked."""


@dataclass(frozen=True, slots=True)
class OnBus:
    """The channel's device in the scan of its bus."""

    asks: Asks
    device: str

    def answered_s(self, at_s: float) -> float:
        return self.asks.answered_s(self.device, at_s)


@dataclass(slots=True)
class ChannelState:
    """`live`: scanned since power-up. `ranges_count`: over-range or under-range is some cause.

    `kept`: what a detector that left the bus measured last, until a scan hears it
    again. `past`: (scan, lagged value) where the
    gas was changed after that scan. `held`: the last good reading before the fault. Readings are
    held from `bottom` to `top`. `steady`: (scan, lagged value) since which the lag has settled.
    `silent`: drives nothing, for inhibit, test or calibration. `seen`: what was `shown` after the
    last scan that looked at the channel. `due`: the next one.

    What few channels have: `calibrated_s`, when a calibration that was begun is over; `ageing`, a
    sensor's errors; `forced_ma`, a current put on its loop from outside, and `loop_failed`;
    `over_latched`; `exposure`; `on_cylinder`, gas applied to a detector that stands in a
    room. On a living bus: `bus`; `older`, airs until the gas changed, of which the panel may
    not have heard yet; what the bus says of the channel's device.
    """

    facts: Channel
    index: int
    scanning: Scanning
    inhibit_takes_levels: bool
    ranges_count: bool
    air: Air
    levels: dict[str, Level]
    held: float
    bottom: float
    top: float
    noise: float
    live: bool = False
    faulty: bool = False
    dropped: bool = False
    inhibit_asked: bool = False
    inhibited: bool = False
    test_asked: bool = False
    testing: bool = False
    calibrated_s: float | None = None
    calibrating: bool = False
    silent: bool = False
    fault: bool = False
    fault_since_s: float | None = None
    kept: float | None = None
    past: tuple[int, float] | None = None
    steady: tuple[int, float] = NOT_YET
    seen: tuple[int, ...] = ()
    due: int = -1
    ageing: Ageing | None = None
    forced_ma: float | None = None
    loop_failed: bool = False
    over_latched: bool = False
    exposure: ExposureState | None = None
    on_cylinder: bool = False
    bus: OnBus | None = None
    older: tuple[tuple[float, Air], ...] = ()
    comms_fault: bool = False
    missing: bool = False
    wrong_type: bool = False

    @classmethod
    def of(
        cls,
        facts: Channel,
        index: int,
        scanning: Scanning,
        *,
        inhibit_takes_levels: bool,
        ranges_count: bool,
    ) -> Self:
        levels = {name: Level.of(level) for name, level in facts.levels.items()}
        air = Air.at_rest(facts.clean_reading, facts.tau_s)
        ranges_count |= facts.over_range_latches or facts.under_range_is_fault
        limits = facts.exposure.limits if facts.exposure is not None else None
        bottom, top = facts.shown_limits
        return cls(
            facts=facts,
            index=index,
            scanning=scanning,
            inhibit_takes_levels=inhibit_takes_levels,
            ranges_count=ranges_count,
            air=air,
            levels=levels,
            held=facts.clean_reading,
            bottom=bottom,
            top=top,
            noise=facts.noise,
            exposure=None if limits is None else ExposureState.of(limits),
        )

    def measured(self, scan: int) -> float:
        """The lagged value with noise, before it is held within limits."""
        if self.kept is not None:
            return self.kept
        if self.forced_ma is not None:
            return loop.value_of(self.forced_ma, *self.facts.range)
        value = self.steady[1] if scan >= self.steady[0] else self.lagged(scan)
        if self.ageing is not None:
            value = self.ageing.shows(value, self.scanning.at_s(scan))
        if self.noise:
            value += deviation(self.scanning.noise(scan)[self.index], self.noise)
        return value

    def lagged(self, scan: int) -> float:
        if self.past is not None and self.past[0] == scan:
            return self.past[1]
        at_s = self.taken_s(scan)
        for until_s, air in self.older:
            if at_s < until_s:
                return air.lagged(at_s)
        value = self.air.lagged(at_s)
        if at_s >= self.air.settled_s:
            self.steady = (scan, value)
        return value

    def on_bus(self, asks: Asks, device: str) -> None:
        """Let the readings come over the bus, as old as its scan has them."""
        self.bus = OnBus(asks, device)

    def taken_s(self, scan: int) -> float:
        """When the reading that the scan has was taken."""
        at_s = self.scanning.at_s(scan)
        return at_s if self.bus is None else self.bus.answered_s(at_s)

    def good_reading(self, scan: int) -> float:
        """The reading as it is without a fault."""
        return min(max(self.measured(scan), self.bottom), self.top)

    @property
    def reading(self) -> float:
        """What the panel shows after the last scan; NaN where it shows no number."""
        if not self.live:
            return math.nan
        if not self.fault:
            return self.good_reading(self.scanning.now)
        shows = {ReadingOnFault.HOLD: self.held, ReadingOnFault.ZERO: 0.0}
        return shows.get(self.facts.on_fault, math.nan)

    @property
    def over_range(self) -> bool:
        return self.live and (self.over_latched or self.measured(self.scanning.now) > self.top)

    @property
    def under_range(self) -> bool:
        return self.live and self.measured(self.scanning.now) < self.bottom

    @property
    def current_ma(self) -> float:
        """The current of the channel's loop after the last scan; 0 without power."""
        return self._current_ma(self.scanning.now) if self.live else 0.0

    def _current_ma(self, scan: int) -> float:
        if self.forced_ma is not None:
            return self.forced_ma
        if self.dropped:
            return 0.0
        if self.faulty:
            return self.facts.fail_ma
        return loop.current_ma(self.measured(scan), *self.facts.range)

    def rests(self, at_s: float) -> bool:
        """Whether the reading stays as it is from `at_s` on, unless something is done."""
        if self.bus is not None:
            at_s = self.bus.answered_s(at_s)
        moves_s = self.air.settled_s
        if self.ageing is not None:
            moves_s = max(moves_s, self.ageing.settled_s)
        return not self.noise and at_s >= moves_s

    def exposed(self, name: str) -> bool:
        """Whether the average, STEL or TWA, has reached its limit."""
        return self.exposure is not None and self.exposure.averages[name].on

    @property
    def in_alarm(self) -> bool:
        """Whether a level or an average of exposure is on and counts."""
        if self.silent:
            return False
        if any(level.on for level in self.levels.values()):
            return True
        return self.exposure is not None and any(one.on for one in self.exposure.averages.values())

    def level_on(self, name: str) -> bool:
        return name in self.levels and self.levels[name].on

    def cylinder_to(self, reads: float, share: float, at_s: float, after_s: float) -> None:
        """Lead a cylinder's gas to the detector, where it comes `after_s` later, `share` of it
        pure and the rest the air that is there now."""
        level = share * reads + (1.0 - share) * self.air.gas(at_s)
        self.gas_to(Step(level), at_s, after_s)
        self.on_cylinder = True

    def gas_to(self, profile: Profile, at_s: float, after_s: float = 0.0) -> None:
        """Let the profile begin `after_s` later; the last scan's reading stays what it was."""
        scan = self.scanning.now
        if self.past is None or self.past[0] != scan:
            self.past = (scan, self.lagged(scan))
        self.steady = NOT_YET
        if self.bus is not None:
            answered_s = self.bus.answered_s(at_s)
            unheard = [one for one in self.older if one[0] > answered_s]
            self.older = (*unheard, (at_s, self.air))
        facts = self.facts
        if facts.t50_s is None and facts.recovery_t90_s is None and not after_s:
            self.air = self.air.to(profile, at_s)
        else:
            dead_s, tau_s = facts.dead_time_s + after_s, self._tau_s(profile, at_s)
            self.air = self.air.later_to(profile, at_s, dead_s=dead_s, tau_s=tau_s)

    def _tau_s(self, profile: Profile, at_s: float) -> float:
        """The lag that answers the profile: recovery's where it ends nearer to clean air."""
        facts = self.facts
        if facts.recovery_t90_s is None:
            return facts.tau_s
        clean, now = facts.clean_reading, self.air.lagged(at_s)
        goes_back = abs(final_level(profile) - clean) < abs(now - clean)
        if not goes_back:
            return facts.tau_s
        return max(0.0, facts.recovery_t90_s - facts.dead_time_s) / math.log(10.0)

    def age(self, zero: float | None, span: float | None, at_s: float, over_s: float) -> None:
        """Let the sensor's errors go there; None leaves one as it is."""
        self.ageing = (self.ageing or NEW).to(zero, span, at_s, over_s)

    def force_current(self, current_ma: float | None) -> None:
        """Put a current on the loop from outside; ValueError where there is no loop."""
        if self.facts.signal is not SignalKind.LOOP:
            raise ValueError(f"channel {self.facts.tag} has no loop: its signal is not 4-20 mA")
        self.forced_ma = current_ma

    def reset(self) -> None:
        """Let go of what is latched and whose condition is off."""
        for level in self.levels.values():
            level.reset()
        if self.over_latched:
            self.over_latched = self.measured(self.scanning.now) > self.top
        self.seen = self.shown()

    def drop_out(self, *, on: bool) -> None:
        if on and self.kept is None:
            self.kept = self.measured(self.scanning.now)
        self.dropped = on
        if not self.live:
            self._hear_again()

    def _hear_again(self) -> None:
        if not self.dropped:
            self.kept = None

    def set_setpoint(self, level: str, setpoint: float) -> None:
        """Change the level's setpoint, held within the range; what is no number changes nothing."""
        if not math.isnan(setpoint):
            low, high = self.facts.range
            self.levels[level].setpoint = min(max(setpoint, low), high)

    def power_off(self) -> None:
        self.live = self.fault = self.inhibited = self.over_latched = self.loop_failed = False
        self.comms_fault = self.missing = self.wrong_type = False
        self.test_asked = self.testing = self.calibrating = self.silent = False
        self.calibrated_s = None
        self._hear_again()
        if self.exposure is not None:
            self.exposure.clear()
        self.fault_since_s = None
        for level in self.levels.values():
            level.force(on=False)

    def shown(self) -> tuple[int, ...]:
        """Everything about the channel that a cause may depend on, and when averages changed."""
        ranges = (self.over_range, self.under_range) if self.ranges_count else ()
        more = () if self.exposure is None else self.exposure.shown
        levels = (one.on for one in self.levels.values())
        modes = (self.inhibited, self.testing, self.calibrating)
        return (*modes, self.fault, *ranges, *more, *levels)

    def follow(self, *, warm_up: bool) -> bool:
        """Take the scan that is now. Says whether a level or the fault came on, and counts."""
        scan = self.scanning.now
        at_s = self.scanning.at_s(scan)
        faulted, ons = self.fault, [level.on for level in self.levels.values()]
        self.live = True
        self._follow_modes(at_s)
        self._follow_fault(scan, at_s)
        self._hear_again()
        if self.facts.over_range_latches:
            self.over_latched |= self.measured(scan) > self.top
        reads = self._follow_levels(scan, at_s, warm_up=warm_up)
        exposed = self.exposure is not None and self._follow_exposure(scan, at_s, warm_up=warm_up)
        self.seen = self.shown()
        self.due = max(scan + 1, self._next(scan, at_s, reads=reads))
        came = exposed or (self.fault and not faulted)
        came |= any(
            level.on and not before for level, before in zip(self.levels.values(), ons, strict=True)
        )
        return came and not self.silent

    def _follow_modes(self, at_s: float) -> None:
        """Inhibit, test, and a calibration with its end."""
        if self.calibrated_s is not None and at_s >= self.calibrated_s - TICK_S:
            self.calibrated_s = None
            if self.ageing is not None:
                self.age(0.0, 1.0, at_s, 0.0)
        self.inhibited, self.testing = self.inhibit_asked, self.test_asked
        self.calibrating = self.calibrated_s is not None
        self.silent = self.inhibited or self.testing or self.calibrating

    def _follow_exposure(self, scan: int, at_s: float, *, warm_up: bool) -> bool:
        """Take the reading into the averages. Says whether one came to its limit."""
        if self.exposure is None:
            return False
        before = [average.on for average in self.exposure.averages.values()]
        reading = 0.0 if warm_up or self.fault else self.good_reading(scan)
        self.exposure.take(reading, at_s)
        after = [average.on for average in self.exposure.averages.values()]
        return any(now and not was for now, was in zip(after, before, strict=True))

    def _seems_faulty(self, scan: int) -> bool:
        facts = self.facts
        if self.comms_fault or self.wrong_type:
            return True
        if facts.signal is SignalKind.LOOP:
            self.loop_failed = loop.failed(self._current_ma(scan), before=self.loop_failed)
            if self.loop_failed:
                return True
        elif self.faulty or self.dropped:
            return True
        return facts.under_range_is_fault and self.measured(scan) < self.bottom

    def _follow_fault(self, scan: int, at_s: float) -> None:
        if not self._seems_faulty(scan):
            self.fault = False
            self.fault_since_s = None
            return
        if self.fault_since_s is None:
            self.fault_since_s = at_s
        if not self.fault and at_s - self.fault_since_s >= self.facts.fault_delay_s - TICK_S:
            self.held = self.good_reading(scan - 1)
            self.fault = True

    def _follow_levels(self, scan: int, at_s: float, *, warm_up: bool) -> bool:
        """Move the levels on. Says whether they follow the reading."""
        if warm_up or (self.inhibited and self.inhibit_takes_levels):
            for level in self.levels.values():
                level.force(on=False)
            return False
        if self.fault:
            for level in self.levels.values():
                if self.facts.levels_on_fault is LevelsOnFault.HOLD:
                    level.hold()
                else:
                    level.force(on=self.facts.levels_on_fault is LevelsOnFault.TRIP)
            return False
        if self.levels:
            reading = self.good_reading(scan)
            for level in self.levels.values():
                level.follow(reading, at_s)
        return True

    def _next(self, scan: int, at_s: float, *, reads: bool) -> int:
        """The next scan at which anything in `shown` may change by itself, or one before it."""
        ends = [level.due_s for level in self.levels.values()] if reads else []
        if self.fault_since_s is not None and not self.fault:
            ends.append(self.fault_since_s + self.facts.fault_delay_s)
        if self.exposure is not None:
            ends.append(self.exposure.due_s)
        ends.append(self.calibrated_s)
        due = min((self.scanning.when_due(end) for end in ends if end is not None), default=NEVER)
        if self.kept is not None or self.forced_ma is not None:
            return due
        if self.bus is not None:
            if not self.bus.asks.answers(self.bus.device):
                return due
            at_s = self.taken_s(scan)
            if self.older and at_s < self.older[-1][0]:
                return scan + 1
        edges = self._edges_in_reach(at_s, reads=reads)
        return min(due, scan + self._scans_to(edges, at_s)) if edges else due

    def _edges_in_reach(self, at_s: float, *, reads: bool) -> list[float]:
        low, high = self.air.reach(at_s)
        if self.ageing is not None:
            low, high = self.ageing.reach(low, high, at_s)
        low, high = low - self.noise, high + self.noise
        bottom, top = self.bottom, self.top
        edges: list[float] = []
        if self.ranges_count and ((low > top) != (high > top) or (low < bottom) != (high < bottom)):
            edges += (top, bottom)
        if reads:
            held_low, held_high = min(max(low, bottom), top), min(max(high, bottom), top)
            for level in self.levels.values():
                if not level.same_over(held_low, held_high):
                    edges += level.edges()
        return edges

    def _scans_to(self, edges: list[float], at_s: float) -> int:
        """Scans that may pass before the value with noise could touch the nearest edge."""
        now, fastest = self.air.lagged(at_s), self.air.fastest(at_s)
        if self.ageing is not None:
            fastest = self.ageing.fastest(fastest, *self.air.reach(at_s), at_s)
            now = self.ageing.shows(now, at_s)
        if not fastest < math.inf:
            return 1
        gap = min(abs(edge - now) for edge in edges) - self.noise
        if gap <= 0.0 or fastest <= 0.0:
            return 1
        ahead_s = gap / fastest
        if self.bus is not None:
            ahead_s -= self.scanning.period_s + self.bus.asks.cycle_s
        return max(1, math.floor(ahead_s / self.scanning.period_s - 1e-6))
