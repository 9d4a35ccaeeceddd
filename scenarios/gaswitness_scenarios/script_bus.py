"""Steps that change the detector bus, the mains or the panel's program, from their records."""

from collections.abc import Iterator
from typing import Any, Final, Protocol

from gaswitness_scenarios import bus_words
from gaswitness_scenarios.bus_record import BusRecord
from gaswitness_scenarios.schedule import Planned
from gaswitness_scenarios.script import (
    BusChange,
    DiscoveryAsked,
    MainsSwitched,
    Step,
    WatchdogRestarts,
)
from gaswitness_simulator.stimulus_bus import (
    BusBreak,
    BusMend,
    BusShort,
    BusStimulus,
    DeviceAddress,
    DeviceOff,
    DeviceType,
    WiresSwapped,
)
from gaswitness_sitefile.problems import Loc, one_of
from gaswitness_sitefile.site import Site

_OF_DEVICE: Final = (DeviceOff, DeviceType, DeviceAddress, WiresSwapped)

LIVES: Final = frozenset(("bus", "mains", "watchdog"))
"""Keys of the steps made here; `press: discover` is another."""


class Within(Protocol):
    """What builds a script's steps: knows the site, and collects what is wrong."""

    site: Site

    def refuse(self, loc: Loc, what: str, remedy: str) -> None:
        """Note a problem."""


def life_steps(within: Within, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
    """The steps of one record of those in LIVES, or of a discovery asked for."""
    site, record, loc = within.site, planned.record, planned.loc
    if record.bus is not None:
        if _stands(within, record.bus, (*loc, "bus")):
            change = record.bus.change
            yield BusChange(**base, words=bus_words.change_words(site, change), change=change)
    elif record.mains is not None:
        battery = site.bus is not None and site.bus.battery is not None and lives(site)
        said = bus_words.mains_words(on=record.mains, battery=battery)
        yield MainsSwitched(**base, words=said, on=record.mains, battery=battery)
    elif site.panel_life is None:
        what = "the site says nothing of its panel's life"
        key = "press" if record.press is not None else "watchdog"
        within.refuse((*loc, key), what, "write panel_life: {} in the site file")
    elif record.press is not None:
        yield DiscoveryAsked(**base, words=bus_words.DISCOVERY)
    else:
        yield WatchdogRestarts(**base, words=bus_words.WATCHDOG)


def lives(site: Site) -> bool:
    """Whether a virtual panel of the site has more of a life than its power switched."""
    return site.panel_life is not None or (site.bus is not None and site.bus.scan is not None)


def _stands(within: Within, record: BusRecord, loc: Loc) -> bool:
    bus = within.site.bus
    if bus is None or bus.scan is None:
        what = "nothing lives on the site's bus" if bus else "the site has no bus"
        within.refuse(loc, what, "write bus: with scan: {} in the site file")
        return False
    change = record.change
    of_cable = isinstance(change, BusBreak | BusShort | BusMend)
    known = [one.to for one in bus.segments] if of_cable else [one.tag for one in bus.devices]
    name = change.to if isinstance(change, BusBreak | BusShort | BusMend) else named(change)
    if name is None or name in known or "{" in name:
        return name is None or name in known
    kind = "cable of the bus leads to" if of_cable else "device of the bus is called"
    within.refuse(loc, f"no {kind} '{name}'", one_of(name, known))
    return False


def named(change: BusStimulus) -> str | None:
    """The device that is changed; None where it is none."""
    return change.tag if isinstance(change, _OF_DEVICE) else None
