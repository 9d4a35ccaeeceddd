"""The voltage at a device of a traced panel's bus against the least that it needs."""

import math
from collections.abc import Iterator
from typing import Final

from gaswitness.chart import Curve, Limit, Plot, Strip
from gaswitness_scenarios.panel_trace import PanelTrace
from gaswitness_scenarios.trace_readers import UNSERVED

PULSE: Final = UNSERVED[0]
NEAR_V: Final = 1.0
"""A voltage that never comes so near to the least is not worth a picture."""


def supply_strips(trace: PanelTrace) -> Iterator[Strip]:
    """One strip, of the device that is worst off, where any comes near to its least voltage."""
    bus = trace.site.bus
    if bus is None or not trace.devices:
        return
    pulse = trace.facts.index(PULSE) if PULSE in trace.facts else None
    # While relays are pulsed everything is on at once; that is no alarm.
    told = [s.volts for s in trace.samples if pulse is None or not s.facts[pulse]]
    spare: dict[str, float] = {}
    for at, tag in enumerate(trace.devices):
        seen = [volts[at] for volts in told if not math.isnan(volts[at])]
        spare[tag] = min(seen, default=math.inf) - bus.device_of[tag].least_v
    worst = min(spare, key=lambda tag: spare[tag])
    if spare[worst] > NEAR_V:
        return
    at, least_v = trace.devices.index(worst), bus.device_of[worst].least_v
    curve = Curve("with all that is switched on", tuple(_steps(trace, at)))
    limit = Limit(least_v, f"least {least_v:g} V", trace.from_s, trace.until_s)
    yield Strip(f"Voltage at {worst}", Plot("V", (curve,), (limit,)))


def _steps(trace: PanelTrace, at: int) -> Iterator[tuple[float, float]]:
    """It changes with what is switched, at once."""
    before = math.nan
    for sample in trace.samples:
        volts = sample.volts[at]
        if volts != before and not math.isnan(volts) and not math.isnan(before):
            yield sample.at_s, before
        yield sample.at_s, volts
        before = volts
