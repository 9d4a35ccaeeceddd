"""One channel as the panel sees it: reading, fault, inhibit, levels (rules 1 to 6).

Judges when it must be looked at next, so that quiet scans can be jumped over. Knows no matrix.
"""

import math
from dataclasses import dataclass
from typing import Final, Self

from gaswitness_simulator.gas import Air
from gaswitness_simulator.level import TICK_S, Level
from gaswitness_simulator.noise import deviation
from gaswitness_simulator.scanning import Scanning
from gaswitness_simulator.stimulus import Profile
from gaswitness_sitefile.channel import Channel, LevelsOnFault, ReadingOnFault

NEVER: Final = 1 << 62
"""A scan that does not come."""

NOT_YET: Final = (NEVER, math.nan)


@dataclass(slots=True)
class ChannelState:
    """`live`: scanned since power-up. `ranges_count`: over-range or under-range is some cause.

    `kept`: what a detector that left the bus measured last, until a scan hears it
    again. `past`: (scan, lagged value) where the
    gas was changed after that scan. `held`: the last good reading before the fault. Readings are
    held from `bottom` to `top`. `steady`: (scan, lagged value) since which the lag has settled.
    `seen`: what was `shown` after the last scan that looked at the channel. `due`: the next one.
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
    fault: bool = False
    fault_since_s: float | None = None
    kept: float | None = None
    past: tuple[int, float] | None = None
    steady: tuple[int, float] = NOT_YET
    seen: tuple[bool, ...] = ()
    due: int = -1

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
        air = Air.still(facts.clean_reading, facts.t90_s)
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
        )

    def measured(self, scan: int) -> float:
        """The lagged value with noise, before it is held within limits."""
        if self.kept is not None:
            return self.kept
        value = self.steady[1] if scan >= self.steady[0] else self.lagged(scan)
        if self.noise:
            value += deviation(self.scanning.noise(scan)[self.index], self.noise)
        return value

    def lagged(self, scan: int) -> float:
        if self.past is not None and self.past[0] == scan:
            return self.past[1]
        at_s = self.scanning.at_s(scan)
        value = self.air.lagged(at_s)
        if at_s >= self.air.settled_s:
            self.steady = (scan, value)
        return value

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
        return self.live and self.measured(self.scanning.now) > self.top

    @property
    def under_range(self) -> bool:
        return self.live and self.measured(self.scanning.now) < self.bottom

    def level_on(self, name: str) -> bool:
        return name in self.levels and self.levels[name].on

    def gas_to(self, profile: Profile, at_s: float) -> None:
        """Let the profile begin; the last scan's reading stays what it was."""
        scan = self.scanning.now
        if self.past is None or self.past[0] != scan:
            self.past = (scan, self.air.lagged(self.scanning.at_s(scan)))
        self.steady = NOT_YET
        self.air = self.air.to(profile, at_s)

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
        self.live = self.fault = self.inhibited = False
        self._hear_again()
        self.fault_since_s = None
        for level in self.levels.values():
            level.force(on=False)

    def shown(self) -> tuple[bool, ...]:
        """Everything about the channel that a cause may depend on."""
        ranges = (self.over_range, self.under_range) if self.ranges_count else ()
        return (self.inhibited, self.fault, *ranges, *(one.on for one in self.levels.values()))

    def follow(self, *, warm_up: bool) -> bool:
        """Take the scan that is now. Says whether a level or the fault came on, not inhibited."""
        scan = self.scanning.now
        at_s = self.scanning.at_s(scan)
        faulted, ons = self.fault, [level.on for level in self.levels.values()]
        self.live = True
        self._follow_fault(scan, at_s)
        self._hear_again()
        self.inhibited = self.inhibit_asked
        reads = self._follow_levels(scan, at_s, warm_up=warm_up)
        self.seen = self.shown()
        self.due = max(scan + 1, self._next(scan, at_s, reads=reads))
        came = self.fault and not faulted
        came |= any(
            level.on and not before for level, before in zip(self.levels.values(), ons, strict=True)
        )
        return came and not self.inhibited

    def _follow_fault(self, scan: int, at_s: float) -> None:
        if not (self.faulty or self.dropped):
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
        due = min((self.scanning.when_due(end) for end in ends if end is not None), default=NEVER)
        if self.kept is not None:
            return due
        edges = self._edges_in_reach(at_s, reads=reads)
        return min(due, scan + self._scans_to(edges, at_s)) if edges else due

    def _edges_in_reach(self, at_s: float, *, reads: bool) -> list[float]:
        low, high = self.air.reach(at_s)
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
        now = self.air.lagged(at_s)
        gap = min(abs(edge - now) for edge in edges) - self.noise
        fastest = self.air.fastest(at_s)
        if gap <= 0.0 or fastest <= 0.0:
            return 1
        return max(1, math.floor(gap / fastest / self.scanning.period_s - 1e-6))
