"""A defect of a map: how a panel that has it would put its points.

Data. A defect says what a client would read of a point, from what a good panel holds at an instant.
It knows neither whether a panel has it nor what was done to it.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.decode import ordered
from gaswitness_probe.signal import TRUE, Signal
from gaswitness_sitefile.points import Gaps, Point, PointType, Table
from gaswitness_sitefile.site import Site

Raw = tuple[int, ...]


@dataclass(frozen=True)
class Ground:
    """What holds for all instants of a run. `at`: the points that claim each address; `ends`: of
    each table, first mapped address and that after the last; `faults`: when channels showed fault.
    """

    site: Site
    at: Mapping[tuple[Table, int], Sequence[Point]]
    ends: Mapping[Table, tuple[int, int]]
    faults: Mapping[str, Signal]


class Held:
    """What a good panel held at an instant. Nothing is looked up before it is asked for.

    `look_up`: since when a point, by its name, has shown what it shows, and that.
    """

    def __init__(
        self, ground: Ground, at_s: float, look_up: Callable[[str], tuple[float, Raw] | None]
    ) -> None:
        self._ground = ground
        self._at_s = at_s
        self._look_up = look_up
        self._raws: dict[str, Raw | None] = {}

    def faulty(self, tag: str) -> bool:
        """Whether the panel showed the channel in fault."""
        return self._ground.faults[tag].at(self._at_s) is TRUE

    def raw(self, point: Point) -> Raw | None:
        """What a good panel has at the point's addresses; None where it was not read."""
        if point.name not in self._raws:
            sharing = point.type in FIELDS and not point.table.of_bits
            points = self._ground.at[point.table, point.address] if sharing else (point,)
            found = [one for name in points if (one := self._look_up(name.name)) is not None]
            # Of points in one register the one that changed last saw it as it is.
            self._raws[point.name] = max(found)[1] if found else None
        return self._raws[point.name]

    def word(self, table: Table, address: int) -> int | None:
        """A word or bit; 0 in a gap that reads so, None where there is nothing to read."""
        there = self._ground.at.get((table, address))
        if there is not None:
            raw = self.raw(there[0])
            return None if raw is None else raw[address - there[0].address]
        low, high = self._ground.ends.get(table, (1, 0))
        zeros = self._ground.site.map.gaps_of(table) is Gaps.ZEROS
        return 0 if zeros and low <= address < high else None


FIELDS: Final = (PointType.BIT_FIELD, PointType.BIT_IN_WORD)
"""Points that may share a register with others."""

Shown = Callable[[Held, Point], Raw | None]
"""What a client reads of a point; None where the panel refuses the read."""


@dataclass(frozen=True, slots=True)
class MapDefect:
    """One defect at one place.

    `points`: names of the points that it concerns. `unseen`: why a run may not show it; `remedy`:
    what would. `same`: why no panel with it can be told from a good one; empty where one can.
    """

    kind: str
    place: str
    points: frozenset[str]
    shown: Shown
    unseen: str
    remedy: str
    same: str = ""


def names_of(points: Iterable[Point]) -> frozenset[str]:
    """The names of the points."""
    return frozenset(point.name for point in points)


def altered(change: Callable[[Point, Raw], Raw]) -> Shown:
    """A panel that puts the right value in another way."""

    def shown(held: Held, point: Point) -> Raw | None:
        raw = held.raw(point)
        return None if raw is None else change(point, raw)

    return shown


def bit_put(point: Point, raw: Raw, *, on: bool) -> Raw:
    """The registers with the point's own bit on or off."""
    if point.type is PointType.BIT_IN_WORD:
        bit = 1 << (point.bit or 0)
        word = ordered(point.order, raw)[0]
        return ordered(point.order, (word | bit if on else word & ~bit,))
    return (int(on),)
