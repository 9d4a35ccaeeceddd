"""How the panel is polled: its links, the blocks of the read plan with their times, what gaps
answer, and how a good client behaves. Words and rows only; the sums are the probe's."""

from collections.abc import Iterator
from dataclasses import dataclass

from gaswitness.timing_words import cycle_words, milliseconds
from gaswitness_probe.read_plan import Block, readable_stretches
from gaswitness_probe.timing import PollTimes, poll_times
from gaswitness_probe.wire_time import t35_s
from gaswitness_sitefile.link_address import RTU, RTU_TCP, TCP, TLS, LinkAddress, SerialLine
from gaswitness_sitefile.points import Access, Gaps, Table, reference
from gaswitness_sitefile.site import Site

FRAMING = {
    TCP: "Modbus/TCP: MBAP header, no CRC",
    TLS: "Modbus/TCP Security: MBAP header within TLS 1.2 or newer, certificates on both sides",
    RTU_TCP: "RTU frames with CRC, carried over TCP by a converter",
    RTU: "RTU frames with CRC on a serial line",
}
UNANSWERED_BEATS = 3
"""Heartbeats missed before a panel counts as dead (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Way:
    """A link with the times of its polling. `address` is None for a network that is not named."""

    name: str
    address: LinkAddress | None
    note: str
    times: PollTimes

    @property
    def blocks(self) -> tuple[Block, ...]:
        """The reads of the plan, in their order."""
        return tuple(request.block for request in self.times.requests)

    @property
    def unit(self) -> int:
        """The unit id to ask for."""
        return 1 if self.address is None or self.address.unit is None else self.address.unit

    @property
    def rtu(self) -> bool:
        """Whether frames carry a CRC."""
        return self.address is not None and self.address.rtu_framed


def ways(site: Site) -> tuple[Way, ...]:
    """Every link of the site; a network where it has none."""
    if not site.links:
        return (Way("a network", None, "", poll_times(site)),)
    return tuple(
        Way(link.name, link.where, link.note, poll_times(site, link.where)) for link in site.links
    )


def way_facts(way: Way) -> Iterator[tuple[str, str]]:
    """How the link is reached: (what, words)."""
    address = way.address
    if address is None:
        yield "Address", "not in the site file: agree on it"
        return
    yield "Framing", FRAMING[address.scheme]
    if address.on_serial_line:
        line = address.serial or SerialLine()
        yield "Line", f"{address.device} on the machine that the site file was written for"
        stop = f"{line.stop} stop bit{'' if line.stop == 1 else 's'}"
        parity = "no parity" if line.parity == "none" else f"{line.parity} parity"
        yield "Serial settings", f"{line.baud} baud, 8 data bits, {parity}, {stop}"
        yield "Silence between frames", f"{milliseconds(t35_s(line))} ms (3.5 characters)"
    else:
        yield "Host and port", f"{address.host}, port {address.port}"
    yield "Unit id", str(way.unit)
    if way.note:
        yield "Note", way.note


def block_rows(way: Way) -> Iterator[tuple[str, ...]]:
    """A row a block: number, function, table, start in both notations, count, what, times."""
    for at, request in enumerate(way.times.requests, 1):
        block = request.block
        yield (
            str(at),
            f"{block.table.read_function:02d}",
            str(block.table),
            str(block.address),
            f"0x{block.address:04X}",
            reference(block.table, block.address),
            str(block.count),
            holds(block),
            f"{request.period_s:g}",
            f"{request.request_bytes} + {request.answer_bytes}",
            milliseconds(request.took_s),
            f"{request.age.worst_s:.2f}",
        )


BLOCK_COLUMNS = (
    "block",
    "function",
    "table",
    "start (PDU)",
    "hex",
    "reference",
    "count",
    "what is in it",
    "every s",
    "bytes",
    "ms",
    "oldest s",
)


def holds(block: Block) -> str:
    """What a block brings, in short."""
    names = [point.name for point in block.points]
    if len(names) <= 3:
        return ", ".join(names)
    return f"{names[0]} to {names[-1]}, {len(names)} points"


def cycle(way: Way) -> str:
    """The whole cycle in words."""
    return cycle_words(way.times)


def gap_rows(site: Site) -> Iterator[tuple[str, ...]]:
    """A row a table: function, mapped stretches, what lies between them and beyond."""
    for table in Table:
        stretches = readable_stretches(site, table)
        if not stretches:
            yield str(table), f"{table.read_function:02d}", "", "nothing is mapped: exception 02"
            continue
        said = ", ".join(
            f"{first}" if end == first + 1 else f"{first} to {end - 1}" for first, end in stretches
        )
        if site.map.gaps_of(table) is Gaps.ZEROS:
            gaps = "unmapped addresses between them read as 0; beyond them exception 02"
        else:
            gaps = "a read that touches any other address gets exception 02, and no data"
        yield str(table), f"{table.read_function:02d}", said, gaps


def writable(site: Site) -> list[str]:
    """The points that take writes."""
    return [point.name for point in site.points if point.access is not Access.READ]


def client_rules(site: Site) -> list[str]:
    """How a good client behaves towards this panel."""
    pace, timing = site.pace, site.timing
    gap = (
        f" Then leave {1000 * pace.request_gap_s:g} ms before the next one."
        if pace.request_gap_s
        else ""
    )
    return [
        "One connection, and one request at a time: send the next request only when the answer has "
        f"come, or after the time-out of {pace.timeout_s:g} s.{gap}",
        f"Ask for at most {pace.largest_read_registers} registers or {pace.largest_read_bits} bits "
        f"in one request, and no more often than every {pace.shortest_period_s:g} s for the same.",
        "Read every value of several registers within one request: two requests may fall on both "
        "sides of a change.",
        "Hold each answer against its request: transaction id (TCP), unit id, function, byte "
        "count. After a time-out on a serial line, wait until a late answer can no longer come "
        "before asking again; it would be taken for the next one.",
        "An exception is an answer: exception 02 is a mistake in the client's map, and repeating "
        "the request mends nothing. After time-outs wait longer each time, up to a minute.",
        "A value that did not come is not 0. Show the last one with its age, and mark it as old "
        f"after {_stale_s(site):g} s; 0 means clean air, or of "
        "oxygen that there is none.",
        f"Registers are made anew every {timing.refresh_s:g} s and channels scanned every "
        f"{timing.scan_s:g} s: polling faster than the scan brings no news.",
        f"After power-up alarms count only after {site.alarms_count_after_s:g} s."
        + (
            " Until the map is served, answers are exception 04: go on asking at the same pace."
            if site.panel_life is not None
            else ""
        ),
    ]


def _stale_s(site: Site) -> float:
    """Two polls and a time-out (common practice, no source)."""
    return 2 * site.pace.poll_period_s + site.pace.timeout_s


def liveness(site: Site) -> str:
    """How a client knows that the panel lives."""
    beats = [point for point in site.points if point.shows == "heartbeat"]
    if not beats:
        return (
            "The map has no heartbeat: an answer shows that the link lives, not that the panel "
            "does. Ask for a heartbeat, or watch another value that must change."
        )
    each_s = site.timing.heartbeat_s
    which = ", ".join(f"{point.name} ({reference(point.table, point.address)})" for point in beats)
    if each_s is None:
        return (
            f"{which} changes while the panel lives; the site file does not say how often. Measure "
            "it, and raise an alarm when it has not changed for several times as long."
        )
    limit_s = UNANSWERED_BEATS * each_s + site.pace.poll_period_s
    return (
        f"{which} changes every {each_s:g} s. Raise an alarm when it has not changed for "
        f"{limit_s:g} s ({UNANSWERED_BEATS} beats and one poll). Compare for any change, not for "
        "one more: polls may skip a count, and it begins anew after its highest and at power-up."
    )
