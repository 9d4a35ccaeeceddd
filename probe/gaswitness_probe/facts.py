"""Which points show which facts of the panel, and what a value of each says of the fact."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.history import Value
from gaswitness_probe.observe import Meaning
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Truth
from gaswitness_sitefile.channel import EXPOSURES, LEVEL_NAMES, Channel
from gaswitness_sitefile.life_facts import BUS_FLAGS
from gaswitness_sitefile.mode_facts import (
    CHANNEL_MODES,
    FIRST_UP,
    FORCED,
    is_first_up_number,
)
from gaswitness_sitefile.points import (
    CHANNEL_STATES,
    NUMERIC,
    PANEL_FLAGS,
    Access,
    Point,
    PointType,
)
from gaswitness_sitefile.site import Site

RANKS: Final = {
    state: rank
    for rank, state in enumerate(
        (
            "warm_up",
            "inhibit",
            *CHANNEL_MODES,
            "fault",
            "A3",
            "A2",
            "A1",
            "over_range",
            "under_range",
            "normal",
        )
    )
}
"""The order in which the panel chooses a channel's state (see CHANNEL_STATES)."""

FLAGS = (
    *LEVEL_NAMES,
    *EXPOSURES,
    "fault",
    "inhibit",
    *CHANNEL_MODES,
    FIRST_UP,
    "over_range",
    "under_range",
)


@dataclass(frozen=True, slots=True)
class Source:
    """A point that shows a fact. `direct`: it shows the fact itself, nothing that implies it."""

    point: Point
    meaning: Meaning
    direct: bool = True


def fact_sources(site: Site) -> Mapping[str, tuple[Source, ...]]:
    """All sources of each fact, the direct ones first, then in the order of the points list."""
    found: dict[str, list[Source]] = defaultdict(list)
    for point in site.points:
        if point.access is Access.WRITE:
            continue
        for fact, source in _sources_in(site, point):
            found[fact].append(source)
    return {
        fact: tuple(sorted(sources, key=lambda source: not source.direct))
        for fact, sources in found.items()
    }


def _sources_in(site: Site, point: Point) -> Iterator[tuple[str, Source]]:
    if point.what == "state" and point.type is PointType.ENUMERATION:
        channel = site.channel_of.get(point.subject)
        if channel is not None:
            yield from _state_sources(channel, point)
        return
    if is_first_up_number(point.subject, point.what):
        named = point.type is PointType.ENUMERATION
        for number, tag in enumerate(site.channel_of, 1):
            if not named or tag in point.codes.values():
                meaning = _is_said(tag if named else number)
                yield f"{tag}.{FIRST_UP}", Source(point, meaning, direct=False)
        return
    for bit, shown in point.facts():
        subject, _, what = shown.partition(".")
        if not _is_flag(site, subject, what):
            continue
        meaning = _yes if bit is None else _bit_meaning(bit)
        if what == "energised":
            output = site.output_of[subject]
            yield f"{subject}.energised", Source(point, meaning)
            acting = _opposite(meaning) if output.normally_energised else meaning
            yield f"{subject}.active", Source(point, acting, direct=False)
        else:
            yield shown, Source(point, meaning)


def _is_flag(site: Site, subject: str, what: str) -> bool:
    if subject in site.channel_of:
        return what in FLAGS or what in BUS_FLAGS
    if subject in site.output_of:
        return what in ("active", "energised", "muted", FORCED)
    if subject in site.input_of:
        return what == "active"
    if subject == "panel":
        return what in PANEL_FLAGS
    return subject == "any" and what in (*LEVEL_NAMES, "fault")


def _yes(value: Value) -> Truth:
    if value is None or isinstance(value, str):
        return UNKNOWN
    return TRUE if value else FALSE


def _bit_meaning(bit: int) -> Meaning:
    def meaning(value: Value) -> Truth:
        if not isinstance(value, int):
            return UNKNOWN
        return TRUE if value >> bit & 1 else FALSE

    return meaning


def _is_said(said: str | int) -> Meaning:
    def meaning(value: Value) -> Truth:
        if value is None:
            return UNKNOWN
        return TRUE if value == said else FALSE

    return meaning


def _opposite(meaning: Meaning) -> Meaning:
    return lambda value: Truth(2 - meaning(value))


def _state_sources(channel: Channel, point: Point) -> Iterator[tuple[str, Source]]:
    named = set(point.codes.values()) or set(CHANNEL_STATES)
    for what in (*channel.levels, "fault", "inhibit", *CHANNEL_MODES):
        if what in named:
            yield f"{channel.tag}.{what}", Source(point, _state_meaning(what), direct=False)


def _state_meaning(what: str) -> Meaning:
    """What a channel's state says of one of its flags.

    Of those that the enumeration names, the panel shows the first that applies: what stands before
    the state shown does not apply, of what stands after it nothing is said.
    """
    mine = RANKS[what]

    def meaning(value: Value) -> Truth:
        if value == what:
            return TRUE
        if not isinstance(value, str) or value not in RANKS:
            return UNKNOWN
        return FALSE if mine < RANKS[value] else UNKNOWN

    return meaning


def reading_points(site: Site, tag: str) -> tuple[Point, ...]:
    """The points that show a channel's reading, the finest first."""
    shown = [p for p in site.points if p.shows == f"{tag}.reading" and p.type in NUMERIC]
    return tuple(sorted(shown, key=resolution))


def resolution(point: Point) -> float:
    """Half the smallest step that the point can show, in its unit; 0 for floats."""
    if point.type in (PointType.FLOAT32, PointType.FLOAT64):
        return 0.0
    return abs(point.scale) / 2


def within_type(point: Point, value: float) -> float:
    """The value held at the ends of the point's integer type; floats as they are."""
    ends = _INTEGER_ENDS.get(point.type)
    if ends is None:
        return value
    low, high = sorted(end * point.scale + point.offset for end in ends)
    return min(max(value, low), high)


_INTEGER_ENDS: Final = {
    PointType.INT16: (-(2**15), 2**15 - 1),
    PointType.UINT16: (0, 2**16 - 1),
    PointType.INT32: (-(2**31), 2**31 - 1),
    PointType.UINT32: (0, 2**32 - 1),
    PointType.INT64: (-(2**63), 2**63 - 1),
    PointType.UINT64: (0, 2**64 - 1),
    PointType.BCD16: (0, 9999),
    PointType.BCD32: (0, 99999999),
}
