"""Which blocks to read: the fewest requests that fetch every readable point within the pace and
without asking for what the map does not have. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass

from gaswitness_sitefile.points import Access, Gaps, Point, Table
from gaswitness_sitefile.site import Site


@dataclass(frozen=True, slots=True)
class Block:
    """One read: `count` addresses of `table` from PDU address `address` on, and its points."""

    table: Table
    address: int
    count: int
    points: tuple[Point, ...]

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


def plan_reads(site: Site) -> tuple[Block, ...]:
    """The fewest blocks that hold every readable point whole, by table and address.

    No block is longer than the pace allows, none reaches over an unmapped address where the map
    answers gaps with an exception, and none over an address that can only be written. Points for
    which `why_unread` gives a reason are left out.
    """
    return tuple(block for table in Table for block in _plan_table(site, table))


def _plan_table(site: Site, table: Table) -> Iterator[Block]:
    limit = largest_read(site, table)
    points = [p for p in site.points if p.table is table and why_unread(site, p) is None]
    for first, end in readable_stretches(site, table):
        inside = [p for p in points if first <= p.address < end]
        yield from _cover(table, sorted(inside, key=lambda p: p.address), limit)


def _cover(table: Table, points: list[Point], limit: int) -> Iterator[Block]:
    """Windows from left to right, each from the first point not yet covered.

    No choice of windows is fewer: whichever covers the leftmost point starts at or before it, and
    moved right up to that point it covers all that it covered of the rest.
    """
    while points:
        start = points[0].address
        taken = [p for p in points if p.end <= start + limit]
        points = [p for p in points if p.end > start + limit]
        yield Block(table, start, max(p.end for p in taken) - start, tuple(taken))


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
