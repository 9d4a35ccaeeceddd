"""Whether a panel is at rest, as far as it shows, and how long it takes to come to rest.

Knows the site and what was seen; asks nothing, judges nothing.
"""

from collections.abc import Callable, Mapping
from typing import Final

from gaswitness_probe.facts import fact_sources
from gaswitness_probe.history import PointHistory, Value
from gaswitness_probe.signal import TRUE
from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.mode_facts import CHANNEL_MODES, FORCED
from gaswitness_sitefile.points import NUMERIC
from gaswitness_sitefile.site import Site

LONGEST_SETTLE_S: Final = 300.0
_RESTLESS: Final = (
    *("active", "muted", FORCED, "fault", "inhibit"),
    *CHANNEL_MODES,
    *LEVEL_NAMES,
)


def settle_s(site: Site) -> float:
    """How long the last effect of a script may take to come and go, in seconds; bounded."""
    windows = [
        cell.on_delay_s + max(cell.off_delay_s, _own_time_s(site, cell.effect)) + cell.response_s
        for cell in site.matrix
    ]
    panel_s = site.timing.scan_s + site.timing.refresh_s
    longest_s = max(windows, default=0.0) + panel_s + 2 * site.pace.poll_period_s
    return min(longest_s, LONGEST_SETTLE_S)


def _own_time_s(site: Site, tag: str) -> float:
    """How long a cause alone keeps the output on."""
    output = site.output_of.get(tag)
    return 0.0 if output is None or output.timed_s is None else output.timed_s


def not_at_rest(site: Site, histories: Mapping[str, PointHistory]) -> tuple[str, ...]:
    """What the last samples show that should not be so before a test begins, in words."""
    facts = []
    for fact, sources in fact_sources(site).items():
        subject, _, what = fact.partition(".")
        if subject == "any" or what not in _RESTLESS:
            continue
        if any(_last(histories, s.point.name, s.meaning) is TRUE for s in sources):
            facts.append(fact)
    return tuple(dict.fromkeys([*facts, *readings_away(site, histories)]))


def readings_away(site: Site, histories: Mapping[str, PointHistory]) -> tuple[str, ...]:
    """The readings that are not what clean air gives, in words."""
    readings = []
    for point in site.points:
        channel = site.channel_of.get(point.subject)
        if channel is None or point.what != "reading" or point.type not in NUMERIC:
            continue
        value = _last(histories, point.name, lambda value: value)
        if not isinstance(value, int | float):
            continue
        if abs(value - channel.clean_reading) > channel.reading_tolerance:
            readings.append(f"{channel.tag} reads {value:g} {channel.unit}")
    return tuple(dict.fromkeys(readings))


def _last(
    histories: Mapping[str, PointHistory], name: str, meaning: Callable[[Value], object]
) -> object:
    history = histories.get(name)
    return meaning(history.runs[-1].value) if history is not None and history.runs else None
