"""What several points say of the same thing, and must say alike. Pure; nothing is read here."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.decode import decode, decode_bits
from gaswitness_probe.facts import RANKS
from gaswitness_probe.history import Value
from gaswitness_probe.survey_value import reading_of, wire_tolerance
from gaswitness_sitefile.points import (
    CHANNEL_STATES,
    COMMANDS,
    PLAIN_SHOWS,
    Point,
    PointType,
    is_number,
)
from gaswitness_sitefile.site import Site

Raws = Mapping[str, tuple[int, ...]]
"""Registers or bits as read, by point name."""

_UNSHARED: Final = (*PLAIN_SHOWS, *COMMANDS)


@dataclass(frozen=True, slots=True)
class Source:
    """A point that shows something; `shows` picks the bit of a bit field."""

    point: Point
    shows: str

    def value(self, raws: Raws) -> Value:
        """What it shows: a bool for a flag, a number or a name otherwise; None where nothing."""
        raw = raws.get(self.point.name)
        if raw is None:
            return None
        if self.point.type is PointType.BIT_FIELD:
            return decode_bits(self.point, raw)[self.shows]
        value = decode(self.point, raw)
        if self.is_flag and value in (0, 1):
            return bool(value)
        return value

    @property
    def is_flag(self) -> bool:
        """Whether it shows a fact, not a number or a state."""
        subject, _, what = self.shows.partition(".")
        return what != "state" and not is_number(what, subject)


@dataclass(frozen=True, slots=True)
class Relation:
    """Something that must hold between two points. `test` gets their values, neither None."""

    first: Source
    second: Source
    expected: str
    test: Callable[[Value, Value], bool]

    def holds(self, raws: Raws) -> bool | None:
        """Whether it holds; None where one of the two shows nothing."""
        values = self.first.value(raws), self.second.value(raws)
        if None in values:
            return None
        return self.test(*values)

    def shown(self, raws: Raws) -> str:
        """What the two show, for people."""
        return "; ".join(
            f"{source.point.name} shows {source.shows} {source.value(raws)!r}"
            for source in (self.first, self.second)
        )


def sources(site: Site, readable: set[str]) -> dict[str, list[Source]]:
    """Who shows what, of the points named, by what they show."""
    found: dict[str, list[Source]] = {}
    for point in site.points:
        for _, shows in point.facts():
            if point.name in readable and shows not in _UNSHARED:
                found.setdefault(shows, []).append(Source(point, shows))
    return found


def relations(site: Site, readable: set[str]) -> list[Relation]:
    """All that must hold between the points named."""
    shown = sources(site, readable)
    found = [_alike(site, alike[0], other) for alike in shown.values() for other in alike[1:]]
    found += _coils(site, shown)
    for tag in site.channel_of:
        for state in shown.get(f"{tag}.state", []):
            found += _states(tag, state, shown)
    return found


def _alike(site: Site, first: Source, second: Source) -> Relation:
    channel = reading_of(site, first.point)
    noise = 2.0 * channel.noise if channel is not None else 0.0

    def test(one: Value, other: Value) -> bool:
        if isinstance(one, str | bool) or isinstance(other, str | bool):
            return one == other
        number, beside = float(one or 0.0), float(other or 0.0)
        tolerance = wire_tolerance(first.point, number) + wire_tolerance(second.point, beside)
        return abs(number - beside) <= tolerance + noise

    return Relation(first, second, f"both show the same {first.shows}", test)


def _coils(site: Site, shown: Mapping[str, list[Source]]) -> Iterator[Relation]:
    for tag, output in site.output_of.items():
        active, energised = shown.get(f"{tag}.active"), shown.get(f"{tag}.energised")
        if not active or not energised:
            continue
        if output.normally_energised:
            expected = f"{tag} is normally energised: its coil is on when it does not act"
            yield Relation(active[0], energised[0], expected, lambda acts, coil: acts != coil)
        else:
            expected = f"{tag}'s coil is on when it acts"
            yield Relation(active[0], energised[0], expected, lambda acts, coil: acts == coil)


_BY_RANK: Final = tuple(RANKS)
assert set(_BY_RANK) == set(CHANNEL_STATES)


def _states(tag: str, state: Source, shown: Mapping[str, list[Source]]) -> Iterator[Relation]:
    """Of several states that apply the panel shows the first by rank."""
    named = set(state.point.codes.values())
    for rank, what in enumerate(_BY_RANK[:-1]):
        fact = "panel.warm_up" if what == "warm_up" else f"{tag}.{what}"
        if what in named and fact in shown:
            expected = f"{tag}.state and {fact} go together"
            yield Relation(state, shown[fact][0], expected, _goes_with(what, rank))


def _goes_with(what: str, rank: int) -> Callable[[Value, Value], bool]:
    def test(state: Value, flag: Value) -> bool:
        if state == what:
            return flag is True
        outranked = isinstance(state, str) and state in _BY_RANK[:rank]
        return outranked or flag is False

    return test


def fault_shown(tag: str, shown: Mapping[str, list[Source]], raws: Raws) -> bool | None:
    """Whether any point shows the channel in fault; None where none can."""
    states = (s for s in shown.get(f"{tag}.state", []) if "fault" in s.point.codes.values())
    values = [source.value(raws) for source in shown.get(f"{tag}.fault", [])]
    values += [source.value(raws) == "fault" for source in states]
    known = [value for value in values if value is not None]
    return any(value is True for value in known) if known else None
