"""The cheapest reads that hold every spot of a stretch of addresses whole. Pure sums: what the
spots mean, and what a read costs on which link, is not known here.

Why the result is the cheapest of all sets of reads, not only of those tried:

1. A read costs no less the more it asks for, so each may be cut to the spots it is needed for.
2. A spot within another of the same rate needs nothing of its own; spots that overlap have the same
   rate. What remains is sorted by first address and by end alike.
3. Of two reads of one rate that both reach over a spot, one may be cut short of it: the reads of
   each rate follow each other. Reads of different rates may lie over each other.
4. Going from spot to spot, all that the rest depends on is where a read that goes on has begun, of
   each rate (`_Way`). A way is dropped only if another, begun no earlier, is at least as cheap
   however it goes on.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace


@dataclass(frozen=True, slots=True)
class Spot:
    """Addresses `first` to `end` (the one after the last) that one read must hold whole."""

    first: int
    end: int
    fast: bool = False


@dataclass(frozen=True)
class Costs:
    """What a read of n addresses costs at each rate, at index n; never falling with n, in whole
    numbers so that equal costs are equal. The longest read is the last index.
    """

    slow: Sequence[int]
    fast: Sequence[int]
    _saved: dict[tuple[bool, int], int] = field(default_factory=dict, compare=False, repr=False)

    @property
    def limit(self) -> int:
        """The most addresses that one read may ask for."""
        return len(self.slow) - 1

    def of(self, read: Spot) -> int:
        """What the read costs."""
        return (self.fast if read.fast else self.slow)[read.end - read.first]

    def saved(self, later: int, *, fast: bool) -> int:
        """What a read at least saves by beginning so many addresses later, wherever it ends."""
        key = fast, later
        if key not in self._saved:
            table = self.fast if fast else self.slow
            pairs = zip(table[later + 1 :], table[1:], strict=False)
            self._saved[key] = min((more - less for more, less in pairs), default=0)
        return self._saved[key]


Chain = tuple[Spot, "Chain"] | None
"""Reads, the last one first."""


@dataclass(frozen=True, slots=True)
class _Way:
    """A way to have held all spots so far: the cost and number of the reads that have ended, and
    where a read begins that is to go on (of each rate at most one; its cost is not yet counted)."""

    cost: int
    reads: int
    ended: Chain
    fast_from: int | None = None
    slow_from: int | None = None

    @property
    def rank(self) -> tuple[int, int, int]:
        """Cheap before dear, then few reads before many, then the long ones first."""
        size = 0 if self.ended is None else self.ended[0].end - self.ended[0].first
        return self.cost, self.reads, size


def cheapest_cover(spots: Sequence[Spot], costs: Costs) -> tuple[Spot, ...]:
    """The reads, by first address: least in cost, then in number, then the leftmost the longest.

    Every address from the first spot to the last must be one that may be read, no spot longer than
    the limit, and spots that overlap of the same rate.
    """
    ways = [_Way(0, 0, None)]
    any_fast = any(spot.fast for spot in spots)
    for spot in _outermost(spots):
        held = [
            more
            for way in ways
            for more in _holding(way, spot, costs.limit)
            if any_fast or more.fast_from is None
        ]
        ways = _worth_going_on([more for way in held for more in _ending(way, spot, costs)], costs)
    done = [way for way in ways if way.fast_from is None and way.slow_from is None]
    return _listed(min(done, key=lambda way: way.rank).ended)


def _outermost(spots: Sequence[Spot]) -> list[Spot]:
    kept: list[Spot] = []
    for spot in sorted(spots, key=lambda one: (one.first, -one.end)):
        if not kept or spot.end > kept[-1].end:
            kept.append(spot)
    return kept


def _holding(way: _Way, spot: Spot, limit: int) -> Iterator[_Way]:
    """The way with the spot held: by a read that goes on, or by one that begins here."""
    begun = [first for first in (way.fast_from, way.slow_from) if first is not None]
    if any(spot.end - first > limit for first in begun):
        return
    if way.fast_from is not None or (way.slow_from is not None and not spot.fast):
        yield way
        return
    yield replace(way, fast_from=spot.first)
    if not spot.fast:
        yield replace(way, slow_from=spot.first)


def _ending(way: _Way, spot: Spot, costs: Costs) -> Iterator[_Way]:
    """The way as it is, and with a read ended that is needed for this spot."""
    yield way
    if way.fast_from is not None and (spot.fast or way.slow_from is None):
        yield replace(_ended(way, Spot(way.fast_from, spot.end, fast=True), costs), fast_from=None)
    if way.slow_from is not None and way.fast_from is None and not spot.fast:
        yield replace(_ended(way, Spot(way.slow_from, spot.end), costs), slow_from=None)


def _ended(way: _Way, read: Spot, costs: Costs) -> _Way:
    return replace(
        way, cost=way.cost + costs.of(read), reads=way.reads + 1, ended=(read, way.ended)
    )


def _worth_going_on(ways: list[_Way], costs: Costs) -> list[_Way]:
    """The ways without those that another beats however both go on."""
    kept: list[_Way] = []
    for way in sorted(ways, key=lambda one: one.rank):
        if not any(_beats(other, way, costs) for other in kept):
            kept = [other for other in kept if not _beats(way, other, costs)]
            kept.append(way)
    return kept


def _beats(one: _Way, other: _Way, costs: Costs) -> bool:
    saved = 0
    for mine, yours, fast in (
        (one.fast_from, other.fast_from, True),
        (one.slow_from, other.slow_from, False),
    ):
        if mine is None and yours is None:
            continue
        if mine is None or yours is None or mine < yours:
            return False
        saved += costs.saved(mine - yours, fast=fast)
    return (one.cost - saved, one.reads) <= (other.cost, other.reads)


def _listed(chain: Chain) -> tuple[Spot, ...]:
    reads: list[Spot] = []
    while chain is not None:
        read, chain = chain
        reads.append(read)
    return tuple(sorted(reads, key=lambda read: (read.first, read.end)))
