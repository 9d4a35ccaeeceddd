"""What is looked at of a traced panel, by name, and how each of it is read. Keeps nothing."""

import math
from collections.abc import Callable
from typing import Final

from gaswitness_scenarios.site_facts import facts_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.site import Site

POWERED: Final = "panel.powered"
"""Beside the panel's facts: whether its supply is on."""
UNSERVED: Final = ("panel.relay_pulse", "panel.self_test")
"""Beside them, of a site with a panel's life: the stages in which the map is not served."""


def facts_of_site(site: Site) -> tuple[str, ...]:
    """The names of all facts that a trace holds, in order."""
    facts = [name for name in facts_of(site) if not name.startswith("any.")]
    stages = UNSERVED if site.panel_life is not None else ()
    return (*facts, *stages, POWERED)


def averages_of_site(site: Site) -> tuple[str, ...]:
    """The averages of exposure that a trace holds, in order."""
    return tuple(
        f"{c.tag}.{name}" for c in site.channels if c.exposure for name in c.exposure.limits
    )


def devices_of_site(site: Site) -> tuple[str, ...]:
    """The devices of a living bus, whose voltages a trace holds, in order."""
    bus = site.bus
    return () if bus is None or bus.scan is None else tuple(one.tag for one in bus.devices)


def fact_reader(panel: VirtualPanel, name: str) -> Callable[[], bool]:
    """Of a fact, or of one of those beside the panel's."""
    if name == POWERED:
        return lambda: panel.powered
    if name in UNSERVED:
        stage = name.partition(".")[2]
        return lambda: panel.powered and panel.state.panel_state() == stage
    return panel.state.shown(name)


def average_reader(panel: VirtualPanel, name: str) -> Callable[[], float]:
    """Of an average of exposure, such as AT-1.TWA."""
    tag, _, what = name.partition(".")
    exposure = panel.state.channels[tag].exposure
    return lambda: 0.0 if exposure is None else exposure.averages[what].value


def volts_reader(panel: VirtualPanel, tag: str) -> Callable[[], float]:
    """Of a device's voltage; NaN without power, and where there is no working point."""
    bus = None if panel.living is None else panel.living.bus
    return lambda: bus.wired_v.get(tag, math.nan) if bus and panel.powered else math.nan
