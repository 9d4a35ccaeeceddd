"""The whole of a panel's power: its bus at rest and in full alarm, its spur, its battery.

Puts the sums together and says what is too small; how that is worded and shown is not asked here.
"""

from dataclasses import dataclass
from typing import Final

from gaswitness_simulator.battery import autonomy_h, needed_ah
from gaswitness_simulator.bus_loads import bus_tree, consumers, panel_side, unstated_outputs
from gaswitness_simulator.bus_power import Consumer, Load, Node, Settled, settle
from gaswitness_sitefile.bus import Battery, Bus
from gaswitness_sitefile.site import Site

SPUR_FULL: Final = 0.8
"""The part of a fuse's rating above which one warns; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Case:
    """The bus at one supply voltage. `panel`: what the panel's side takes beside the bus."""

    on_battery: bool
    full_alarm: bool
    supply_v: float
    consumers: tuple[Consumer, ...]
    settled: Settled
    panel: Load

    @property
    def supply_a(self) -> float | None:
        """Bus and panel together with everything on; None where that cannot be."""
        if self.settled.as_wired_a is None:
            return None
        return self.settled.as_wired_a + self.panel.current_a + self.panel.power_w / self.supply_v

    @property
    def short(self) -> bool:
        """Whether anything drops out."""
        return bool(self.settled.drop_outs)


@dataclass(frozen=True, slots=True)
class Margin:
    """How far above (or below) its least voltage a consumer is, with everything on."""

    case: Case
    consumer: Consumer
    volts: float

    @property
    def margin_v(self) -> float:
        """Below zero where it drops out."""
        return self.volts - self.consumer.least_v


@dataclass(frozen=True, slots=True)
class BatteryBudget:
    """Currents are the battery's own; None in all where the bus has no working point."""

    battery: Battery
    rest_a: float | None
    alarm_a: float | None
    needed_ah: float | None
    autonomy_h: float | None

    @property
    def too_small(self) -> bool:
        """Whether the battery fitted is known to fall short."""
        fitted = self.battery.capacity_ah
        return fitted is not None and self.needed_ah is not None and fitted < self.needed_ah


@dataclass(frozen=True, slots=True)
class PowerBudget:
    """Everything that `gaswitness power` tells. `spur_a`: None where there is no working point.

    `unstated`: outputs at detectors of which nobody says what they draw.
    """

    bus: Bus
    tree: tuple[Node, ...]
    cases: tuple[Case, ...]
    spur_a: float | None
    battery: BatteryBudget | None
    unstated: tuple[str, ...]

    @property
    def drops_out(self) -> bool:
        """Whether anything falls out in any case."""
        return any(case.short for case in self.cases)

    @property
    def over_limit(self) -> tuple[Case, ...]:
        """Cases in which the bus is known to take more than its output gives."""
        limit_a = self.bus.limit_a
        known = ((one, one.settled.as_wired_a) for one in self.cases)
        return tuple(
            one for one, bus_a in known if limit_a is not None and (bus_a or 0.0) > limit_a
        )

    @property
    def collapsing(self) -> tuple[Case, ...]:
        """Cases without a working point: with everything on, no voltage above zero holds."""
        return tuple(one for one in self.cases if one.settled.as_wired is None)

    @property
    def spur_too_small(self) -> bool:
        """Whether the fuse of the spur is known to carry more than its rating."""
        return self.spur_a is not None and self.spur_a > self.bus.spur.fuse_a

    @property
    def too_small(self) -> bool:
        """Whether anything at all is known to fall short."""
        battery = self.battery is not None and self.battery.too_small
        return self.drops_out or bool(self.over_limit) or self.spur_too_small or battery

    @property
    def worst(self) -> Margin | None:
        """The consumer with the least margin of all cases that have a working point."""
        found = [margin for case in self.cases for margin in margins(case)]
        return min(found, key=lambda one: one.margin_v, default=None)


def margins(case: Case) -> tuple[Margin, ...]:
    """Of every consumer, with everything on; empty where the bus has no working point."""
    volts = case.settled.as_wired
    if volts is None:
        return ()
    return tuple(Margin(case, one, volts[one.node]) for one in case.consumers)


def power_budget(site: Site) -> PowerBudget:
    """Work everything out. Raises ValueError for a site without a bus."""
    bus = site.bus
    if bus is None:
        raise ValueError("the site has no bus")
    tree = bus_tree(bus)
    battery = bus.battery
    cases = [_case(site, bus, tree, full_alarm=on) for on in (False, True)]
    if battery is not None and not battery.regulated:
        cases += [
            _case(site, bus, tree, full_alarm=on, battery_v=battery.lowest_v)
            for on in (False, True)
        ]
    return PowerBudget(
        bus=bus,
        tree=tree,
        cases=tuple(cases),
        spur_a=_spur_a(bus, cases),
        battery=None if battery is None else _battery(battery, cases),
        unstated=unstated_outputs(site, bus),
    )


def _case(
    site: Site,
    bus: Bus,
    tree: tuple[Node, ...],
    *,
    full_alarm: bool,
    battery_v: float | None = None,
) -> Case:
    supply_v = bus.supply_v if battery_v is None else battery_v
    wanted = consumers(site, bus, tree, full_alarm=full_alarm)
    return Case(
        on_battery=battery_v is not None,
        full_alarm=full_alarm,
        supply_v=supply_v,
        consumers=wanted,
        settled=settle(tree, wanted, supply_v),
        panel=panel_side(site, bus, full_alarm=full_alarm),
    )


def _spur_a(bus: Bus, cases: list[Case]) -> float | None:
    """What the spur carries at the most, in ampere, on mains: steady, no inrush."""
    powers_w = [
        None if one.supply_a is None else one.supply_a * one.supply_v
        for one in cases
        if not one.on_battery
    ]
    most_w = None if None in powers_w else max(one for one in powers_w if one is not None)
    if most_w is None:
        return None
    spur = bus.spur
    return (most_w + spur.charger_w) / (spur.efficiency * spur.power_factor * spur.volts)


def _battery(battery: Battery, cases: list[Case]) -> BatteryBudget:
    """At the battery's own end voltage, or through the converter that holds the supply."""
    taken: dict[bool, float | None] = {}
    for one in cases:
        if one.on_battery is not battery.regulated:
            current_a = one.supply_a
            if current_a is not None and battery.regulated:
                current_a *= one.supply_v / (battery.nominal_v * battery.efficiency)
            taken[one.full_alarm] = current_a
    rest_a, alarm_a = taken[False], taken[True]
    if rest_a is None or alarm_a is None:
        return BatteryBudget(battery, rest_a, alarm_a, None, None)
    needed = needed_ah(battery, rest_a=rest_a, alarm_a=alarm_a)
    fitted = battery.capacity_ah
    lasts_h = None
    if fitted is not None:
        lasts_h = autonomy_h(battery, fitted, rest_a=rest_a, alarm_a=alarm_a)
    return BatteryBudget(battery, rest_a, alarm_a, needed, lasts_h)
