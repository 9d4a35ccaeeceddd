"""How long each thing in a test has to stand, in seconds: lag, delays, scans, polls, windows.

Every time is the longest that a good panel may take, plus what it takes to see it over the link.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, log
from typing import Final, Self

from gaswitness_probe.facts import reading_points, resolution
from gaswitness_probe.output_time import LATE
from gaswitness_probe.settling import SETTLING
from gaswitness_probe.timing import poll_times
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.site import Site

POLLS_OF_A_PLATEAU: Final = 4
"""A settled reading is held for so many samples more."""

SLOPE_SHARE: Final = 0.6
"""On a ramp the reading may move by this part of the slack of a setpoint in the time that it takes
to see a level come."""

LEAST_RAMP_S: Final = 20.0
LONG_RAMP_S: Final = 120.0
HALF_MINUTE_S: Final = 30.0
"""A ramp as long as that is told in minutes, and takes whole or half ones."""

HAND_S: Final = 1.0
"""A margin for a hand that is not quite quick; an assumption."""


@dataclass(frozen=True)
class PlanTiming:
    """The times of one site on one link.

    `sight_s`: from something that happened until it was surely seen to have held.
    """

    site: Site
    sight_s: float

    @classmethod
    def of(cls, site: Site, link: LinkAddress | None) -> Self:
        """From the pace, the link, and the panel's own times."""
        times = poll_times(site, link)
        apart_s = max((one.apart_s + one.took_s for one in times.requests), default=1.0)
        timing = site.timing
        return cls(site, 2 * apart_s + timing.refresh_s + timing.scan_s)

    @property
    def flag_s(self) -> float:
        """From a fault, inhibit or contact that was made until its flag was seen."""
        return self.up(self.site.timing.flag_response_s + self.sight_s)

    @property
    def key_s(self) -> float:
        """From a key until what it does, or does not, was seen."""
        return self.up(self.site.timing.key_response_s + self.sight_s)

    @property
    def level_s(self) -> float:
        """From a reading beyond a setpoint until the level was seen, its delay aside."""
        return self.site.timing.level_allowance_s + self.sight_s

    def comes_s(self, cells: Iterable[Cell]) -> float:
        """From causes until all their effects were seen to come, their own times being over."""
        waits = [cell.on_delay_s + cell.response_s + self.own_s(cell.effect) for cell in cells]
        return max(waits, default=0.0) + self.sight_s

    def own_s(self, tag: str) -> float:
        """For how long a cause makes an output act by itself, at the longest."""
        timed_s = self.site.output_of[tag].timed_s
        return 0.0 if timed_s is None else LATE * timed_s + self.site.timing.scan_s

    def goes_s(self, cells: Iterable[Cell]) -> float:
        """From the end of causes until all their effects were seen to go."""
        waits = [cell.off_delay_s + cell.response_s for cell in cells]
        return max(waits, default=0.0) + self.sight_s

    def settled_s(self, channel: Channel) -> float:
        """Until a reading counts as settled, and was seen so for some samples."""
        timing = self.site.timing
        settle_s = SETTLING * channel.slowest_t90_s + 2 * timing.scan_s + timing.refresh_s
        return settle_s + POLLS_OF_A_PLATEAU * self.sight_s / 2

    def reaches_s(self, channel: Channel, start: float, end: float, within: float) -> float:
        """Until a step of gas has brought the reading to `within` of its end, seen by a scan."""
        way = abs(end - start)
        scan_s = self.site.timing.scan_s
        if way <= within or within <= 0:
            return scan_s
        tau_s = max(channel.tau_s, (channel.recovery_t90_s or 0.0) / log(10))
        return channel.dead_time_s + tau_s * log(way / within) + scan_s

    def near_s(self, channel: Channel, within: float, way: float) -> float:
        """After a slow ramp of `way`: until the reading is `within` of its end."""
        return self.reaches_s(channel, 0.0, max(way, 2 * within), within)

    def doubt(self, channel: Channel) -> float:
        """How far a shown reading may stand from the one judged: noise and the register's step."""
        grain = max((resolution(p) for p in reading_points(self.site, channel.tag)), default=0.0)
        return 2 * channel.noise + 2 * grain

    def ramp_s(self, channel: Channel, name: str, way: float) -> float:
        """How slowly gas has to cross a setpoint so that it can be located within its tolerance."""
        level = channel.levels[name]
        doubts = 1.5 if level.on_delay_s else 1.0
        slack = max(
            channel.level_tolerance(name) - doubts * self.doubt(channel),
            0.1 * channel.level_tolerance(name),
        )
        early_s = 0.1 * level.on_delay_s + self.site.timing.scan_s if level.on_delay_s else 0.0
        see_s = self.level_s + early_s
        ramp_s = self.up(max(LEAST_RAMP_S, abs(way) * see_s / (SLOPE_SHARE * slack)))
        return ramp_s if ramp_s < LONG_RAMP_S else HALF_MINUTE_S * ceil(ramp_s / HALF_MINUTE_S)

    def lost_s(self) -> float:
        """Until a detector that has left the bus is missed, or one that is back is heard again."""
        bus = self.site.bus
        if bus is None or bus.scan is None:
            return 0.0
        cycle_s = bus.scan.device_s * max(len(bus.devices), 1)
        return (bus.scan.missed + 2) * max(cycle_s, self.site.timing.scan_s)

    @staticmethod
    def up(seconds: float) -> float:
        """Rounded up to a whole second, for people."""
        return float(ceil(seconds + HAND_S - 1e-9))
