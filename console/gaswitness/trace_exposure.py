"""The averages of exposure of a traced channel against their limits, and their alarms."""

from typing import Final

from gaswitness.chart import Curve, Limit, Plot, Strip
from gaswitness.trace_bars import bar
from gaswitness_scenarios.panel_trace import PanelTrace
from gaswitness_sitefile.channel import Channel

MOVES: Final = 0.05
"""An average that stays below this part of its limit is not worth a picture."""
_OVER: Final = {"STEL": "average of 15 min", "TWA": "sum of the day over 8 h"}


def exposure_strip(trace: PanelTrace, channel: Channel) -> Strip | None:
    """None for a channel without limits of exposure, or whose averages hardly moved."""
    limits = channel.exposure.limits if channel.exposure is not None else {}
    places = {name: trace.averages.index(f"{channel.tag}.{name}") for name in limits}
    highest = {n: max(s.averages[at] for s in trace.samples) for n, at in places.items()}
    if not any(highest[name] >= MOVES * limit for name, limit in limits.items()):
        return None
    curves = tuple(
        Curve(_OVER[name], tuple((s.at_s, s.averages[at]) for s in trace.samples), name == "STEL")
        for name, at in places.items()
    )
    lines = tuple(
        Limit(limit, f"{name} {limit:g} {channel.unit}", trace.from_s, trace.until_s)
        for name, limit in limits.items()
    )
    bars = tuple(bar(trace, f"{channel.tag}.{name}", f"{channel.tag} {name}") for name in limits)
    title = f"{channel.tag} exposure, {channel.gas}"
    return Strip(title, Plot(channel.unit, curves, lines, 0.0, 0.0), bars)
