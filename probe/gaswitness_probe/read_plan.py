"""Which blocks to read, and how often: the plan that takes the least time on the wire to fetch
every readable point within the pace, without asking for what the map does not have. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gaswitness_probe.read_plan_cover import Costs, Spot, cheapest_cover
from gaswitness_probe.wire_time import Wire, data_bytes, wire_of
from gaswitness_sitefile.fast_points import fast_points
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.points import Access, Gaps, Point, Table
from gaswitness_sitefile.site import Site

FINENESS = 1e12
"""Shares of time are added up as whole numbers of this part, so that equal plans are equal."""


@dataclass(frozen=True, slots=True)
class Block:
    """One read: `count` addresses of `table` from PDU address `address` on, and its points.

    `period_s`: how often it is asked for; None is the pace's poll period.
    """

    table: Table
    address: int
    count: int
    points: tuple[Point, ...]
    period_s: float | None = None

    @property
    def end(self) -> int:
        """The address after the block's last."""
        return self.address + self.count


def largest_read(site: Site, table: Table) -> int:
    """The most addresses of the table that one request may ask for."""
    return site.pace.largest_read_bits if table.of_bits else site.pace.largest_read_registers


def why_unread(site: Site, point: Point) -> str | None:
    """Why no plan reads the point, in words; None where it is read."""
    if point.access is Access.WRITE:
        return "the points list says that it can only be written"
    limit = largest_read(site, point.table)
    if point.width > limit:
        return f"it takes {point.width} addresses, and one read may ask for {limit} at most"
    return None


def plan_reads(site: Site, link: LinkAddress | None = None) -> tuple[Block, ...]:
    """The reads that hold every readable point whole and as often as the pace asks for it, with the
    least time on the wire each second; by table and address.

    No block is longer than the pace allows, none reaches over an unmapped address where the map
    answers gaps with an exception, and none over an address that can only be written. Points for
    which `why_unread` gives a reason are left out. A point that shares addresses with a fast one is
    fast as well, and one that comes along cheaply with fast ones is read with them. Without a link
    the plan is made for a network.
    """
    wire = wire_of(link, site.timing.answer_s)
    fast = fast_points(site)
    return tuple(block for table in Table for block in _plan_table(site, table, wire, fast))


def _plan_table(site: Site, table: Table, wire: Wire, fast: frozenset[str]) -> Iterator[Block]:
    points = [p for p in site.points if p.table is table and why_unread(site, p) is None]
    points.sort(key=lambda p: p.address)
    if not points:
        return
    rated = _rated(points, fast)
    costs = _costs(site, table, wire)
    for first, end in readable_stretches(site, table):
        inside = [(point, spot) for point, spot in rated if first <= point.address < end]
        reads = cheapest_cover([spot for _, spot in inside], costs) if inside else ()
        yield from _blocks(site, table, reads, inside)


def _rated(points: Sequence[Point], fast: frozenset[str]) -> list[tuple[Point, Spot]]:
    """Each point, sorted by address, with its addresses: fast if one that shares any with it is."""
    groups: list[list[Point]] = []
    reach = -1
    for point in points:
        if point.address < reach:
            groups[-1].append(point)
        else:
            groups.append([point])
        reach = max(reach, point.end)
    return [
        (point, Spot(point.address, point.end, any(one.name in fast for one in group)))
        for group in groups
        for point in group
    ]


def _costs(site: Site, table: Table, wire: Wire) -> Costs:
    """The share of each second that a read takes, by the addresses that it asks for."""
    pace = site.pace
    busy_s = [
        wire.busy_s(data_bytes(table, count), pace.request_gap_s)
        for count in range(largest_read(site, table) + 1)
    ]
    return Costs(
        [round(each / pace.poll_period_s * FINENESS) for each in busy_s],
        [round(each / pace.shortest_period_s * FINENESS) for each in busy_s],
    )


def _blocks(
    site: Site, table: Table, reads: Sequence[Spot], rated: Sequence[tuple[Point, Spot]]
) -> Iterator[Block]:
    """The reads with their points, each point in the fastest read that holds it."""
    holds: dict[Spot, list[Point]] = {read: [] for read in reads}
    quickest_first = sorted(reads, key=lambda read: not read.fast)
    for point, spot in rated:
        read = next(
            read
            for read in quickest_first
            if read.first <= spot.first and spot.end <= read.end and read.fast >= spot.fast
        )
        holds[read].append(point)
    pace = site.pace
    for read, points in holds.items():
        period_s = pace.shortest_period_s if read.fast else pace.poll_period_s
        yield Block(table, read.first, read.end - read.first, tuple(points), period_s)


def readable_stretches(site: Site, table: Table) -> list[tuple[int, int]]:
    """The longest stretches (first, end) of addresses that one read may reach over, pace aside."""
    mapped = [p for p in site.points if p.table is table]
    readable = {a for p in mapped if p.access is not Access.WRITE for a in range(p.address, p.end)}
    if not readable:
        return []
    if site.map.gaps_of(table) is Gaps.ZEROS:
        barred = {a for p in mapped for a in range(p.address, p.end)} - readable
        readable = set(range(min(readable), max(readable) + 1)) - barred
    stretches: list[tuple[int, int]] = []
    for address in sorted(readable):
        if stretches and stretches[-1][1] == address:
            stretches[-1] = (stretches[-1][0], address + 1)
        else:
            stretches.append((address, address + 1))
    return stretches
