"""A kept frame cut into its parts, and where the bytes of a point stand in it. Pure.

Modbus/TCP: seven bytes of header, then the PDU (Messaging guide V1.0b clause 3.1.3). RTU: the unit
id, the PDU, two bytes of CRC (Serial line guide V1.02 clause 2.5.1).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness.report_blocks import Span, Style, Text, said
from gaswitness_probe.exchange import Exchange
from gaswitness_sitefile.points import Point, Table

MBAP_BYTES: Final = 7
READ_TABLES: Final = {table.read_function: table for table in Table}


@dataclass(frozen=True, slots=True)
class Asked:
    """What a request asks for: `count` addresses of `table` from `address` on."""

    table: Table
    address: int
    count: int

    def holds(self, point: Point) -> bool:
        """Whether all of the point is asked for."""
        inside = self.address <= point.address and point.end <= self.address + self.count
        return self.table is point.table and inside

    def __str__(self) -> str:
        last = self.address + self.count - 1
        many = f"{self.table}s {self.address} to {last}"
        return many if self.count > 1 else f"{self.table} {self.address}"


def head_bytes(*, rtu: bool) -> int:
    """How many bytes stand before the PDU."""
    return 1 if rtu else MBAP_BYTES


def asked_in(request: bytes, *, rtu: bool) -> Asked | None:
    """What the request asks for; None where it is no read of a table."""
    pdu = request[head_bytes(rtu=rtu) :]
    table = READ_TABLES.get(pdu[0]) if len(pdu) >= 5 else None
    if table is None:
        return None
    return Asked(table, int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big"))


def place_in(asked: Asked, point: Point, *, rtu: bool) -> tuple[int, int]:
    """First byte of the point in the response, and how many bytes it takes there."""
    data = head_bytes(rtu=rtu) + 2
    offset = point.address - asked.address
    if asked.table.of_bits:
        return data + offset // 8, 1
    return data + 2 * offset, 2 * point.width


def bytes_of(point: Point, frames: Exchange, asked: Asked, *, rtu: bool) -> bytes:
    """The bytes of the point in the response; of bits, the byte that holds it."""
    first, count = place_in(asked, point, rtu=rtu)
    return frames.response[first : first + count]


def raw_of(point: Point, frames: Exchange, asked: Asked, *, rtu: bool) -> tuple[int, ...]:
    """The point's registers as received, first address first; of a bit, 0 or 1."""
    data = bytes_of(point, frames, asked, rtu=rtu)
    if asked.table.of_bits:
        return (data[0] >> (point.address - asked.address) % 8 & 1,)
    return tuple(int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2))


def in_hex(data: bytes) -> str:
    """Bytes as people read them: `00 1A FF`."""
    return data.hex(" ").upper()


def marked_hex(
    data: bytes, places: Sequence[tuple[int, int]], *, around: int | None = None
) -> Text:
    """The bytes in hex, those of the places marked and in brackets.

    With `around`, only so many bytes beside each place and at both ends; how many are left out is
    said.
    """
    spans: list[Span] = []
    at = 0
    kept = [one for one in sorted(places) if one[0] + one[1] <= len(data)]
    for first, count in kept:
        spans += _between(data, at, first, around)
        spans.append(Span(f"[{in_hex(data[first : first + count])}]", Style.MARKED))
        at = first + count
    spans += _between(data, at, len(data), around)
    return said(*spans) if spans else said("nothing")


def _between(data: bytes, first: int, end: int, around: int | None) -> Iterator[Span]:
    """Bytes that are not marked, the middle of many left out; blanks towards what is marked."""
    if first >= end:
        if 0 < first < len(data):
            yield Span(" ", Style.MONO)
        return
    before, after = " " if first else "", " " if end < len(data) else ""
    left_out = 0 if around is None else end - first - 2 * around
    if around is None or left_out < around:
        yield Span(f"{before}{in_hex(data[first:end])}{after}", Style.MONO)
        return
    yield Span(f"{before}{in_hex(data[first : first + around])} ", Style.MONO)
    yield Span(f"\u2026 {left_out} more \u2026")
    yield Span(f" {in_hex(data[end - around : end])}{after}", Style.MONO)
