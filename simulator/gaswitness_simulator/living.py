"""A running panel's life: its stages, its supply, its detector bus, as far as the site has them.

Between the panel's scans and the modules that know one of these each. Knows no cells and no map.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from gaswitness_simulator.bus_motion import BusMotion
from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.output import OutputState
from gaswitness_simulator.panel_life import DEAD_TO_MAP, LifeCourse, Stage
from gaswitness_simulator.power_budget import power_budget
from gaswitness_simulator.stimulus_bus import (
    AskDiscovery,
    BusStimulus,
    LifeStimulus,
    Mains,
    WatchdogRestart,
)
from gaswitness_simulator.supply import Supply
from gaswitness_sitefile.bus import Bus
from gaswitness_sitefile.life_facts import LIFE_FLAGS
from gaswitness_sitefile.panel_life import PanelLife
from gaswitness_sitefile.site import Site


@dataclass(slots=True)
class Living:
    """`course` and `bus`: None where the site does not ask for them. `restart_s`: when the watchdog
    has the panel running again. `restarted`: it did so, and nobody has pressed reset since.
    `connected`: mains and battery lead to the panel; nobody has switched both off."""

    site: Site
    channels: Mapping[str, ChannelState]
    outputs: Mapping[str, OutputState]
    course: LifeCourse | None
    bus: BusMotion | None
    supply: Supply
    battery_low: float
    restart_after_s: float
    stage: Stage = Stage.NORMAL
    restart_s: float = math.inf
    restarted: bool = False
    connected: bool = True

    @classmethod
    def of(
        cls,
        site: Site,
        channels: Mapping[str, ChannelState],
        outputs: Mapping[str, OutputState],
        seed: int,
    ) -> "Living | None":
        """The life that the site asks for; None where it asks for none."""
        bus, facts = site.bus, site.panel_life
        scan = None if bus is None else bus.scan
        if facts is None and scan is None:
            return None
        life = PanelLife() if facts is None else facts
        return cls(
            site,
            channels,
            outputs,
            None if facts is None else LifeCourse(facts, site.warm_up_s),
            None if scan is None else BusMotion.of(site, scan, channels, seed),
            _supply(site, bus, life.recharge_h),
            life.battery_low,
            life.restart_s,
        )

    @property
    def dead_to_map(self) -> bool:
        """Whether the panel still pulses its relays or tests itself."""
        return self.stage in DEAD_TO_MAP

    @property
    def fed(self) -> bool:
        """Whether the panel has power from anywhere."""
        return self.connected and (self.supply.mains or self.supply.on_battery)

    @property
    def dark(self) -> frozenset[str]:
        """Outputs at detectors that have lost their supply."""
        return frozenset() if self.bus is None else self.bus.dark

    @property
    def warming(self) -> bool:
        """Whether alarms do not count yet."""
        return self.stage is not Stage.NORMAL

    def power_off(self, at_s: float) -> None:
        """The panel takes nothing any more."""
        self.supply.take(0.0, at_s, alarm=False)

    def power_up(self, at_s: float) -> None:
        """Begin anew."""
        self.restart_s = math.inf
        if self.course is not None:
            self.course.power_up(at_s)
            self.stage = self.course.stage(at_s)
        if self.bus is not None:
            self.bus.power_up(at_s)

    def apply(self, stimulus: BusStimulus | LifeStimulus, at_s: float) -> bool | None:
        """Do it. Says what it makes of the panel's power: on, off, or None for as it was.

        ValueError where the site has nothing to which it could be done.
        """
        match stimulus:
            case Mains(on):
                self.supply.switch(at_s, mains=on)
                return None if self.restart_s < math.inf else self.fed
            case WatchdogRestart():
                self.restart_s, self.restarted = at_s + self.restart_after_s, True
                return False
            case AskDiscovery():
                if self.course is None:
                    raise ValueError("the site has no panel_life, so that nothing is discovered")
                self.course.ask(at_s)
            case _:
                if self.bus is None:
                    raise ValueError("the site's bus has no scan, so that nothing lives on it")
                self.bus.apply(stimulus, at_s)
        return None

    def power_event_s(self) -> float:
        """When the panel's power next changes by itself: battery empty, restart over."""
        return min(self.restart_s, self.supply.empty_s())

    def power_event(self, at_s: float) -> bool:
        """Let it happen. Says whether the power is on then."""
        self.supply.advance(at_s)
        if at_s >= self.restart_s:
            self.restart_s = math.inf
            return self.fed
        self.supply.charge_ah = 0.0
        return False

    def next_s(self, now_s: float) -> float | None:
        """When something here may change by itself."""
        dues = [self.supply.crosses_s((self.battery_low,))]
        if self.course is not None:
            dues.append(self.course.next_s(now_s))
        if self.bus is not None:
            dues.append(self.bus.polls.due_s(now_s))
        return min((due for due in dues if due is not None), default=None)

    def scan(self, at_s: float) -> set[str]:
        """Take the panel's scan. Says of which channels, and `panel`, something changed."""
        before = self._shown()
        touched: set[str] = set()
        self.supply.advance(at_s)
        if self.course is not None:
            was, self.stage = self.stage, self.course.stage(at_s)
            if was in DEAD_TO_MAP and not self.dead_to_map and self.bus is not None:
                touched |= self.bus.power_up(at_s)
            if was is Stage.DISCOVERING and self.stage is not was and self.bus is not None:
                self.bus.discover()
        if self.bus is not None and not self.dead_to_map:
            touched |= self.bus.scan(at_s)
        return touched | {"panel"} if self._shown() != before else touched

    def settle(self, at_s: float) -> None:
        """Let voltages and battery follow what is on after a scan."""
        alarmed = frozenset(
            tag
            for tag, channel in self.channels.items()
            if any(level.on for level in channel.levels.values())
        )
        energised = frozenset(tag for tag, one in self.outputs.items() if one.energised)
        feed_a = 0.0
        if self.bus is not None:
            self.bus.settle(energised, alarmed, self.supply.volts, at_s)
            feed_a = self.bus.feed_a
        if not self.supply.mains:
            taken_a = feed_a + self._panel_a(energised, alarm=bool(alarmed))
            self.supply.take(taken_a, at_s, alarm=bool(alarmed))

    def own_fault(self) -> bool:
        """Whether supply, bus, setup or watchdog make a fault of the panel itself."""
        flags = ("on_battery", "battery_low", "restarted", "bus_fault", "setup_differs")
        return any(self.flag(name) for name in flags)

    def flag(self, name: str) -> bool:
        """One of LIFE_FLAGS."""
        match name:
            case "discovery_open":
                return self.stage is Stage.DISCOVERY_OPEN
            case "discovering":
                return self.stage is Stage.DISCOVERING
            case "on_battery":
                return self.supply.on_battery
            case "battery_low":
                return self.supply.battery is not None and self.supply.share < self.battery_low
            case "restarted":
                return self.restarted
            case "bus_fault":
                return self.bus is not None and self.bus.wiring.cable_faulty
            case "setup_differs":
                return self.number("differences") > 0
        raise ValueError(f"{name!r} is none of {', '.join(LIFE_FLAGS)}")

    def number(self, name: str) -> float:
        """One of LIFE_NUMBERS."""
        if name == "battery":
            return 100.0 * self.supply.share
        found = None if self.bus is None else self.bus.discovered
        if found is None:
            return 0.0
        return float(found.found if name == "devices_found" else found.differences)

    def _shown(self) -> tuple[object, ...]:
        flags = tuple(self.flag(name) for name in LIFE_FLAGS)
        return (self.stage, *flags, round(self.number("battery")), self.supply.volts)

    def _panel_a(self, energised: frozenset[str], *, alarm: bool) -> float:
        bus = self.site.bus
        if bus is None:
            return 0.0
        current_a = bus.panel.most_a if alarm else bus.panel.rest_a
        carried = () if self.bus is None else self.bus.supply.carried
        for entry in bus.outputs:
            if entry.output in energised and entry.output not in carried:
                current_a += entry.draws.current_a + entry.draws.power_w / self.supply.volts
        return current_a


def _supply(site: Site, bus: Bus | None, recharge_h: float) -> Supply:
    if bus is None or bus.battery is None:
        return Supply.of(None, None, 24.0 if bus is None else bus.supply_v, recharge_h)
    capacity_ah = bus.battery.capacity_ah
    if capacity_ah is None:
        budget = power_budget(site).battery
        capacity_ah = None if budget is None else budget.needed_ah
    return Supply.of(bus.battery, capacity_ah, bus.supply_v, recharge_h)
