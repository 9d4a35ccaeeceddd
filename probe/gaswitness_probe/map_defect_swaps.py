"""Map defects of tags: two channels, outputs or inputs that stand in each other's place."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import Final

from gaswitness_probe.decode import decode, ordered
from gaswitness_probe.map_defect import Held, MapDefect, Raw, bit_put, names_of
from gaswitness_probe.map_defect_words import registers
from gaswitness_sitefile.points import NUMERIC, Point, PointType
from gaswitness_sitefile.site import Site

_NUMBERS: Final = ("reading", "STEL.average", "TWA.average", "current")


def swap_defects(site: Site, points: list[Point]) -> Iterator[MapDefect]:
    """Readings, setpoints and status apart, of every pair."""
    parts = {
        "readings exchanged": lambda what: what in _NUMBERS,
        "setpoints exchanged": lambda what: what.endswith(".setpoint"),
        "status exchanged": lambda what: what not in _NUMBERS and not what.endswith(".setpoint"),
    }
    of = _by_tag(points)
    there = frozenset(shows for point in points for _, shows in point.facts())
    for one, other in combinations(site.channel_of, 2):
        both = [*of[one], *of[other]]
        for kind, belongs in parts.items():
            yield from _swap(site, both, there, kind, (one, other), belongs)
    groups = {
        "outputs exchanged": list(site.output_of),
        "inputs exchanged": list(site.input_of),
    }
    for kind, tags in groups.items():
        for first, second in combinations(tags, 2):
            both = [*of[first], *of[second]]
            yield from _swap(site, both, there, kind, (first, second), lambda _what: True)


def _by_tag(points: list[Point]) -> dict[str, list[Point]]:
    """The points that show anything of each tag."""
    found: dict[str, list[Point]] = defaultdict(list)
    for point in points:
        for tag in dict.fromkeys(shows.partition(".")[0] for _, shows in point.facts()):
            found[tag].append(point)
    return found


def _swap(
    site: Site,
    points: list[Point],
    there: frozenset[str],
    kind: str,
    tags: tuple[str, str],
    belongs: Callable[[str], bool],
) -> Iterator[MapDefect]:
    one, other = tags
    partner = {one: other, other: one}
    by_shows = {point.shows: point for point in points if point.type is not PointType.BIT_FIELD}

    def exchanged(shows: str) -> str | None:
        subject, _, what = shows.partition(".")
        return f"{partner[subject]}.{what}" if subject in partner and belongs(what) else None

    def shown(held: Held, point: Point) -> Raw | None:
        if point.type is PointType.BIT_FIELD:
            return _bits_exchanged(held, point, exchanged)
        beside = by_shows.get(exchanged(point.shows) or "")
        raw = held.raw(point)
        theirs = held.raw(beside) if beside is not None else None
        if beside is None or raw is None or theirs is None:
            return raw
        if point.type in NUMERIC:
            value = decode(beside, theirs)
            return registers(point, value if isinstance(value, int | float) else None)
        if point.type is PointType.BIT_IN_WORD or point.type is not beside.type:
            return bit_put(point, raw, on=bool(decode(beside, theirs)))
        return theirs

    concerned = [
        point
        for point in points
        if any((exchanged(shows) or "") in there for _, shows in point.facts())
    ]
    if concerned:
        yield MapDefect(
            kind,
            f"{one} and {other}",
            names_of(concerned),
            shown,
            "neither was ever settled while the other stood elsewhere",
            f"move {one} alone, or bring both to values of their own",
            _alike(site, kind, one, other),
        )


def _alike(site: Site, kind: str, one: str, other: str) -> str:
    if kind != "setpoints exchanged":
        return ""
    ours, theirs = site.channel_of[one].levels, site.channel_of[other].levels
    both = ours.keys() & theirs.keys()
    same = all(ours[name].setpoint == theirs[name].setpoint for name in both)
    return "the site file gives both the same setpoints" if same else ""


def _bits_exchanged(held: Held, point: Point, exchanged: Callable[[str], str | None]) -> Raw | None:
    raw = held.raw(point)
    if raw is None:
        return None
    bit_of = {shows: bit for bit, shows in point.bits.items()}
    word = ordered(point.order, raw)[0]
    found = word
    for bit, shows in point.bits.items():
        theirs = bit_of.get(exchanged(shows) or "")
        if theirs is not None:
            found = found & ~(1 << bit) | (word >> theirs & 1) << bit
    return ordered(point.order, (found,))
