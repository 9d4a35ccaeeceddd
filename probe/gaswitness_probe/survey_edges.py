"""What a panel does where it must refuse: addresses outside the map, quantities that cannot be, a
function it does not have; and whether it grants the largest read it states. Only reads."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from gaswitness_probe.deviation import exception_words
from gaswitness_probe.frames import read_request
from gaswitness_probe.read_plan import largest_read, readable_stretches
from gaswitness_probe.survey_reader import Answer, Reader
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_sitefile.points import Access, Gaps, Table
from gaswitness_sitefile.site import Site

ILLEGAL_FUNCTION: Final = 1
ILLEGAL_ADDRESS: Final = 2
ILLEGAL_VALUE: Final = 3

UNASSIGNED_FUNCTION: Final = 99
"""Neither public, nor user-defined (65..72, 100..110), nor reserved (Annex A): V1.1b3 clause 5."""

MOST_HOLES: Final = 8
"""Holes looked into for each table, spread evenly."""

LONGEST_HOLE_CROSSED: Final = 8
"""A longer hole is looked into, but no read reaches over it."""


@dataclass(frozen=True, slots=True)
class Outside:
    """A read that touches what the map does not have. `zeros`: it must be answered with zeros."""

    name: str
    table: Table
    address: int
    count: int
    zeros: bool


def outsides(site: Site) -> Iterator[Outside]:
    """Reads beside, across and between what is mapped, for each table that has readable points."""
    for table in Table:
        mapped = {at for p in site.points if p.table is table for at in range(p.address, p.end)}
        if mapped and readable_stretches(site, table):
            yield from _beside(site, table, mapped)
            yield from _between(site, table, mapped)


def _beside(site: Site, table: Table, mapped: set[int]) -> Iterator[Outside]:
    first, last = min(mapped), max(mapped)
    if first > 0:
        yield Outside(
            f"{table.value} {first - 1}, before the first", table, first - 1, 1, zeros=False
        )
    if last < 0xFFFF:
        yield Outside(f"{table.value} {last + 1}, after the last", table, last + 1, 1, zeros=False)
        if largest_read(site, table) > 1 and last in _readable(site, table):
            name = f"{table.value}s {last} and {last + 1}, across the end"
            yield Outside(name, table, last, 2, zeros=False)


def _between(site: Site, table: Table, mapped: set[int]) -> Iterator[Outside]:
    holes = _holes(mapped)
    step = max(1, -(-len(holes) // MOST_HOLES))
    zeros = site.map.gaps_of(table) is Gaps.ZEROS
    readable = _readable(site, table)
    for first, end in holes[::step]:
        yield Outside(f"{table.value} {first}, in a gap", table, first, 1, zeros=zeros)
        wide = end - first + 2
        beside = {first - 1, end} <= readable
        if zeros or not beside or wide > min(LONGEST_HOLE_CROSSED, largest_read(site, table)):
            continue
        name = f"{table.value}s {first - 1} to {end}, across a gap"
        yield Outside(name, table, first - 1, wide, zeros=False)


def _readable(site: Site, table: Table) -> set[int]:
    points = (p for p in site.points if p.table is table and p.access is not Access.WRITE)
    return {at for point in points for at in range(point.address, point.end)}


def _holes(mapped: set[int]) -> list[tuple[int, int]]:
    """Stretches (first, end) between mapped addresses."""
    inside = sorted(mapped)
    return [(low + 1, high) for low, high in pairwise(inside) if high - low > 1]


async def survey_unmapped(reader: Reader, site: Site) -> Verdict:
    """Whether addresses outside the map answer as the site file states."""
    aspects = tuple([await _outside(reader, found) for found in outsides(site)])
    expected = "exception 02 outside the map; in gaps what the site file states"
    if not aspects:
        because = "every address of the mapped tables is mapped"
        return Verdict("link/unmapped", Kind.LINK, Outcome.NOT_RUN, expected, because=because)
    return gathered("link/unmapped", expected, aspects)


async def _outside(reader: Reader, outside: Outside) -> Aspect:
    answer = await reader.read(outside.table, outside.address, outside.count)
    if not outside.zeros:
        return refusal(outside.name, answer, {ILLEGAL_ADDRESS}, ILLEGAL_ADDRESS)
    expected = "zeros"
    if answer.ok:
        zero = not any(answer.payload)
        outcome = Outcome.PROVEN if zero else Outcome.FAILED
        because = "" if zero else "there is something where the map has nothing"
        seen = "" if zero else answer.frames
        return Aspect(outside.name, outcome, expected, seen, None, because, answer.at_s)
    outcome = Outcome.INCONCLUSIVE if answer.lost else Outcome.FAILED
    return Aspect(outside.name, outcome, expected, answer.frames, None, answer.words, answer.at_s)


def refusal(name: str, answer: Answer, permitted: set[int], usual: int) -> Aspect:
    """Whether the panel refused with an exception that the protocol permits here."""
    expected = exception_words(usual).partition(":")[0]
    if answer.ok:
        because = "answered, though it must be refused"
        return Aspect(name, Outcome.FAILED, expected, answer.frames, None, because, answer.at_s)
    if answer.lost:
        return Aspect(name, Outcome.INCONCLUSIVE, expected, answer.frames, None, answer.words)
    code = answer.refused
    if code == usual:
        return Aspect(name, Outcome.PROVEN, expected, at_s=answer.at_s)
    if code in permitted:
        because = (
            f"exception {code:02X}: the address was checked before the quantity, as figure 9 of "
            "V1.1b3 has it; the figure of the function has the other order"
        )
        return Aspect(name, Outcome.PROVEN, expected, answer.frames, None, because, answer.at_s)
    because = answer.words if code is None else f"{exception_words(code)}, not {expected}"
    return Aspect(name, Outcome.FAILED, expected, answer.frames, None, because, answer.at_s)


async def survey_exceptions(reader: Reader, site: Site) -> Verdict:
    """Whether impossible requests are refused with the exceptions of V1.1b3."""
    aspects = []
    for table in Table:
        stretches = readable_stretches(site, table)
        if not stretches:
            continue
        most = 2000 if table.of_bits else 125
        for count in (0, most + 1):
            name = f"{count} x {table.value}"
            answer = await reader.ask(read_request(table, stretches[0][0], count), name)
            # V1.1b3 figures 11 to 14 check the quantity first, figure 9 the address
            permitted = {ILLEGAL_VALUE, ILLEGAL_ADDRESS}
            aspects.append(refusal(name, answer, permitted, ILLEGAL_VALUE))
    # as long as a read: some servers drop the connection at a frame shorter than that
    request = bytes((UNASSIGNED_FUNCTION, 0, 0, 0, 1))
    answer = await reader.ask(request, f"function {UNASSIGNED_FUNCTION}")
    name = f"function {UNASSIGNED_FUNCTION}, which nobody has"
    aspects.append(refusal(name, answer, {ILLEGAL_FUNCTION}, ILLEGAL_FUNCTION))
    expected = "impossible requests are refused with the protocol's exceptions"
    return gathered("link/exceptions", expected, tuple(aspects))


_LARGEST: Final = (
    ("largest_read_registers", (Table.HOLDING, Table.INPUT)),
    ("largest_read_bits", (Table.COIL, Table.DISCRETE_INPUT)),
)


async def survey_largest_reads(reader: Reader, site: Site) -> list[Verdict]:
    """Whether the largest reads that the site file states really work.

    A limit that it leaves to the protocol is only tried where the map is long enough for it.
    """
    verdicts = []
    for name, tables in _LARGEST:
        aspects = [
            aspect
            for table in tables
            for aspect in [await _largest(reader, site, table)]
            if aspect is not None
        ]
        stated = name in site.pace.model_fields_set
        if not stated and not any(a.outcome is not Outcome.NOT_RUN for a in aspects):
            continue
        limit = getattr(site.pace, name)
        verdicts.append(gathered(f"link/{name}", f"{limit} at once", tuple(aspects)))
    return verdicts


async def _largest(reader: Reader, site: Site, table: Table) -> Aspect | None:
    stretches = readable_stretches(site, table)
    if not stretches:
        return None
    limit = largest_read(site, table)
    expected = f"{limit} {table.value}s in one read"
    first, end = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
    if end - first < limit:
        because = f"the map has no more than {end - first} in a row without a gap"
        return Aspect(table.value, Outcome.NOT_RUN, expected, because=because)
    answer = await reader.read(table, first, limit)
    if answer.ok:
        return Aspect(table.value, Outcome.PROVEN, expected, at_s=answer.at_s)
    if answer.lost:
        because = f"{answer.words}; is the limit of the panel lower?"
        return Aspect(table.value, Outcome.INCONCLUSIVE, expected, answer.frames, None, because)
    most = await _most_granted(reader, table, first, limit)
    because = f"{answer.words}; the most that it granted is {most}"
    return Aspect(table.value, Outcome.FAILED, expected, answer.frames, None, because, answer.at_s)


async def _most_granted(reader: Reader, table: Table, first: int, limit: int) -> int:
    good, bad = 0, limit
    while bad - good > 1:
        middle = (good + bad) // 2
        if (await reader.read(table, first, middle)).ok:
            good = middle
        else:
            bad = middle
    return good


def gathered(verdict_id: str, expected: str, aspects: tuple[Aspect, ...]) -> Verdict:
    """A verdict of the link out of its aspects, in whose words what is wrong is said."""
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = [a for a in aspects if a.because and a.outcome is outcome]
    because = "; ".join(f"{aspect.name}: {aspect.because}" for aspect in telling)
    right = sum(aspect.outcome is Outcome.PROVEN for aspect in aspects)
    seen = f"{right} of {len(aspects)} as expected"
    return Verdict(verdict_id, Kind.LINK, outcome, expected, seen, because=because, aspects=aspects)
