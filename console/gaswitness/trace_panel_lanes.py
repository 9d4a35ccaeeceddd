"""The lanes of a traced panel itself: the stages of its life, supply, bus, faults, inputs."""

from collections.abc import Iterator
from typing import Final

from gaswitness.chart import Bar, Strip
from gaswitness.trace_bars import bar, bar_of, ever
from gaswitness_scenarios.panel_trace import PanelTrace
from gaswitness_scenarios.trace_readers import POWERED, UNSERVED

_STAGES: Final = {
    UNSERVED[0]: "relay pulse",
    UNSERVED[1]: "self-test",
    "panel.discovery_open": "discovery offered",
    "panel.discovering": "discovery",
}
PANEL_FLAGS: Final = {
    "panel.on_battery": "on battery",
    "panel.battery_low": "battery low",
    "panel.bus_fault": "bus fault",
    "panel.setup_differs": "setup differs",
    "panel.restarted": "restarted by watchdog",
    "panel.test": "output test",
    "panel.fault": "common fault",
    "panel.unaccepted": "not accepted",
}


def panel_strip(trace: PanelTrace) -> Strip:
    """What was ever on of the panel, and its inputs; the stages, where it was powered up anew."""
    bars = [*_stages(trace)]
    bars += [bar(trace, fact, said) for fact, said in PANEL_FLAGS.items() if ever(trace, fact)]
    bars += [
        bar(trace, f"{one.tag}.active", f"{one.tag} {one.name}", f"{one.tag} {one.name} active")
        for one in trace.site.inputs
        if ever(trace, f"{one.tag}.active")
    ]
    return Strip("Panel and inputs", bars=tuple(bars))


def _stages(trace: PanelTrace) -> Iterator[Bar]:
    """Every run begins with a power-up, of which the shading says enough."""
    again = len(trace.changes(POWERED)) > 1 or ever(trace, "panel.discovering")
    if UNSERVED[0] not in trace.changed or not again:
        return
    for fact, said in _STAGES.items():
        if ever(trace, fact):
            yield bar(trace, fact, said)
    yield bar_of(trace, _warming(trace), "warm-up")


def _warming(trace: PanelTrace) -> tuple[tuple[float, bool], ...]:
    """When the panel warmed up, and was in none of the stages before."""
    last = trace.facts.index("panel.warm_up")
    before = [trace.facts.index(fact) for fact in _STAGES if fact in trace.changed]
    found: list[tuple[float, bool]] = []
    for sample in trace.samples:
        on = sample.facts[last] and not any(sample.facts[one] for one in before)
        if not found or found[-1][1] != on:
            found.append((sample.at_s, on))
    return tuple(found)
