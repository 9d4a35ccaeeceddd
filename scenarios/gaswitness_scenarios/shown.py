"""Whether the panel's own map shows that a step was done, by the last samples. Judges nothing."""

from collections.abc import Mapping

from gaswitness_probe.facts import fact_sources
from gaswitness_probe.history import PointHistory, Value
from gaswitness_probe.signal import TRUE, Truth, truth
from gaswitness_scenarios.script import (
    Calibration,
    Fault,
    Gas,
    Inhibit,
    Input,
    InTest,
    OutputTest,
    Power,
    Step,
)
from gaswitness_sitefile.mode_facts import FORCED
from gaswitness_sitefile.points import NUMERIC
from gaswitness_sitefile.site import Site

HALF_WAY = 0.5
"""Gas is there once the reading has gone this part of its way."""


def shows(site: Site, histories: Mapping[str, PointHistory], step: Step) -> bool | None:
    """Whether the last samples show the step done; None where they cannot show it."""
    match step:
        case Gas():
            return _shows_gas(site, histories, step)
        case Fault():
            return _shows_fact(site, histories, f"{step.channel}.fault", truth(step.on))
        case Inhibit():
            return _shows_fact(site, histories, f"{step.channel}.inhibit", truth(step.on))
        case InTest():
            return _shows_fact(site, histories, f"{step.channel}.test", truth(step.on))
        case Calibration():
            return _shows_fact(site, histories, f"{step.channel}.calibration", TRUE)
        case OutputTest():
            held = truth(step.on is not None)
            return _shows_fact(site, histories, f"{step.output}.{FORCED}", held)
        case Power(on=True):
            # Told by a key alone, it would be later than it was by the way back from the panel.
            return _shows_fact(site, histories, "panel.warm_up", TRUE)
        case Input():
            return _shows_fact(site, histories, f"{step.tag}.active", truth(step.on))
        case _:
            return None


def _shows_gas(site: Site, histories: Mapping[str, PointHistory], step: Gas) -> bool | None:
    channel = site.channel_of[step.channel]
    way = step.level - step.start
    if abs(way) <= 2 * (channel.noise + channel.reading_tolerance):
        return None
    for point in site.points:
        if point.shows == f"{step.channel}.reading" and point.type in NUMERIC:
            value = _last(histories, point.name)
            if isinstance(value, int | float) and not isinstance(value, bool):
                return (value - step.start) / way >= HALF_WAY
    return None


def _shows_fact(
    site: Site, histories: Mapping[str, PointHistory], fact: str, wanted: Truth
) -> bool | None:
    for source in fact_sources(site).get(fact, ()):
        history = histories.get(source.point.name)
        if history is not None and history.runs:
            return source.meaning(history.runs[-1].value) is wanted
    return None


def _last(histories: Mapping[str, PointHistory], name: str) -> Value:
    history = histories.get(name)
    return history.runs[-1].value if history is not None and history.runs else None
