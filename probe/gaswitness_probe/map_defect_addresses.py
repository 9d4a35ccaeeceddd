"""Map defects of addresses: points found beside, in another table, or after something put in."""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import groupby
from typing import Final

from gaswitness_probe.map_defect import Held, MapDefect, Raw, Shown, names_of
from gaswitness_sitefile.points import Point, Table

Place = tuple[Table, int]


def address_defects(points: list[Point]) -> Iterator[MapDefect]:
    """Of the whole map, of each table, and from each point on."""
    yield from _moved(points)
    yield from _other_table(points)
    yield from _insertions(points)


def _from(source: Callable[[Table, int], Place | None]) -> Shown:
    """A panel that has at each address what belongs to another; None: 0."""

    def shown(held: Held, point: Point) -> Raw | None:
        places = [source(point.table, at) for at in range(point.address, point.end)]
        found = [0 if place is None else held.word(*place) for place in places]
        whole = tuple(word for word in found if word is not None)
        return whole if len(whole) == len(found) else None

    return shown


_ALIKE: Final = "wherever it was looked, neighbours held the same as each other"
_SIGNS: Final = "give neighbours values of their own, and every bit its own pattern"


def _moved(points: list[Point]) -> Iterator[MapDefect]:
    places: list[tuple[str, list[Point]]] = [("all tables", points)]
    tables = list(dict.fromkeys(point.table for point in points))
    if len(tables) > 1:
        places += [(f"{t}s", [p for p in points if p.table is t]) for t in tables]
    for by, kind in ((1, "every address one too high"), (-1, "every address one too low")):
        for place, there in places:
            yield MapDefect(
                kind, place, names_of(there), _from(partial(_beside, by)), _ALIKE, _SIGNS
            )


_OTHER: Final = {
    Table.COIL: Table.DISCRETE_INPUT,
    Table.DISCRETE_INPUT: Table.COIL,
    Table.HOLDING: Table.INPUT,
    Table.INPUT: Table.HOLDING,
}


def _other_table(points: list[Point]) -> Iterator[MapDefect]:
    for tables in ((Table.COIL, Table.DISCRETE_INPUT), (Table.HOLDING, Table.INPUT)):
        there = [point for point in points if point.table in tables]
        if there:
            yield MapDefect(
                "tables exchanged",
                f"{tables[0]}s and {tables[1]}s",
                names_of(there),
                _from(_in_other_table),
                "both tables held the same wherever it was looked",
                _SIGNS,
            )


def _insertions(points: list[Point]) -> Iterator[MapDefect]:
    for table in dict.fromkeys(point.table for point in points):
        there = sorted((p for p in points if p.table is table), key=lambda p: p.address)
        for address, group in groupby(there, key=lambda p: p.address):
            first = next(group)
            later = [point for point in there if point.address >= address]
            for by in (1,) if table.of_bits else (1, 2):
                what = "bit" if table.of_bits else "register"
                yield MapDefect(
                    f"{by} {what}{'s' if by > 1 else ''} put in before a point",
                    first.name,
                    names_of(later),
                    _from(partial(_before, address, by)),
                    _ALIKE,
                    _SIGNS,
                )


def _beside(by: int, table: Table, address: int) -> Place:
    return table, address - by


def _in_other_table(table: Table, address: int) -> Place:
    return _OTHER[table], address


def _before(since: int, by: int, table: Table, address: int) -> Place | None:
    """What was put in reads as 0."""
    return (table, address - by) if address >= since + by else None
