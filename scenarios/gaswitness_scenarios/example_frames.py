"""Requests and answers in full, byte for byte, as a panel at rest gives them; each byte named.

The answers are the virtual panel's, held against the probe's own check of replies. Nothing is sent.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gaswitness_probe import rtu_frames
from gaswitness_probe.frames import check_reply, encode, read_request
from gaswitness_probe.read_plan import Block, readable_stretches
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_simulator.mbap import Request
from gaswitness_simulator.mbap import framed as mbap_framed
from gaswitness_simulator.rtu import rtu_framed
from gaswitness_sitefile.points import COMMANDS, Access, Point, PointType, Table
from gaswitness_sitefile.site import Site

TRANSACTION: Final = 1
Part = tuple[bytes, str]
"""Some bytes of a frame, and what they are."""


@dataclass(frozen=True, slots=True)
class ExampleFrames:
    """A request with its answer. `title`: what is asked. `framing`: Modbus/TCP or RTU."""

    title: str
    framing: str
    request: tuple[Part, ...]
    answer: tuple[Part, ...]

    @property
    def request_bytes(self) -> bytes:
        """The whole request."""
        return b"".join(data for data, _ in self.request)

    @property
    def answer_bytes(self) -> bytes:
        """The whole answer."""
        return b"".join(data for data, _ in self.answer)


def read_frames(rest: RestPanel, block: Block, unit: int, *, rtu: bool) -> ExampleFrames:
    """A read of the block."""
    last = block.end - 1
    title = f"Read {block.table} {block.address}" + (f" to {last}" if block.count > 1 else "")
    pdu = read_request(block.table, block.address, block.count)
    return _exchange(rest, title, pdu, unit, rtu=rtu)


def gap_frames(rest: RestPanel, site: Site, unit: int, *, rtu: bool) -> ExampleFrames | None:
    """A read of an address that the map does not have; None where every one is answered."""
    for table in (Table.INPUT, Table.HOLDING, Table.DISCRETE_INPUT, Table.COIL):
        for _, end in readable_stretches(site, table)[-1:]:
            if end <= 0xFFFF:
                pdu = read_request(table, end, 1)
                return _exchange(
                    rest, f"Read {table} {end}, which is not mapped", pdu, unit, rtu=rtu
                )
    return None


def write_frames(site: Site, unit: int, *, rtu: bool) -> Iterator[ExampleFrames]:
    """One write for each kind of point that takes one: a command, a coil, a register."""
    rest = RestPanel(site)
    written: set[str] = set()
    for point in site.points:
        if point.access is Access.READ or point.type is PointType.BIT_IN_WORD:
            continue
        kind = "coil" if point.table is Table.COIL else f"{point.width} registers"
        if kind in written:
            continue
        pdu = _write_pdu(rest, point)
        if pdu is None:
            continue
        written.add(kind)
        what = f"Write {point.name}" + ("" if point.shows in COMMANDS else ", its own value again")
        yield _exchange(rest, what, pdu, unit, rtu=rtu)


def _write_pdu(rest: RestPanel, point: Point) -> bytes | None:
    """Function 05, 06 or 16 (V1.1b3 clauses 6.5, 6.6, 6.12)."""
    address = point.address.to_bytes(2, "big")
    now = rest.read_point(point)
    if point.table is Table.COIL:
        on = point.shows in COMMANDS or bool(now and now[0])
        return b"\x05" + address + (b"\xff\x00" if on else b"\x00\x00")
    words = (1,) if point.shows in COMMANDS else now
    if words is None:
        return None
    data = b"".join(word.to_bytes(2, "big") for word in words)
    if len(words) == 1:
        return b"\x06" + address + data
    return b"\x10" + address + len(words).to_bytes(2, "big") + bytes((len(data),)) + data


def _exchange(rest: RestPanel, title: str, pdu: bytes, unit: int, *, rtu: bool) -> ExampleFrames:
    answer = rest.answer(pdu)
    problem = check_reply(pdu, answer).problem
    if problem is not None:
        raise ValueError(f"{title}: the answer does not hold: {problem}")
    asked, answered = _named(pdu, answer=False), _named(answer, answer=True)
    if rtu:
        request, reply = rtu_frames.framed(unit, pdu), rtu_framed(unit, answer)
        return ExampleFrames(title, "RTU", _rtu(request, asked), _rtu(reply, answered))
    request = encode(TRANSACTION, unit, pdu)
    reply = mbap_framed(Request(TRANSACTION, unit, pdu), answer)
    return ExampleFrames(title, "Modbus/TCP", _mbap(request, asked), _mbap(reply, answered))


def _mbap(frame: bytes, pdu: tuple[Part, ...]) -> tuple[Part, ...]:
    length = int.from_bytes(frame[4:6], "big")
    return (
        (frame[0:2], "transaction id, the client's choice, comes back"),
        (frame[2:4], "protocol id, 0 is Modbus"),
        (frame[4:6], f"length: {length} bytes follow"),
        (frame[6:7], "unit id"),
        *pdu,
    )


def _rtu(frame: bytes, pdu: tuple[Part, ...]) -> tuple[Part, ...]:
    return ((frame[:1], "address (unit id)"), *pdu, (frame[-2:], "CRC, low byte first"))


def _named(pdu: bytes, *, answer: bool) -> tuple[Part, ...]:
    """The parts of a PDU (V1.1b3 clauses 6.1 to 6.6, 6.12 and 7)."""
    function = pdu[0]
    if function & 0x80:
        said = f"function {function & 0x7F:02d} with its highest bit set: an exception"
        return ((pdu[:1], said), (pdu[1:2], _EXCEPTIONS.get(pdu[1], "exception code")))
    head = (pdu[:1], f"function {function:02d}")
    if function <= 4 and answer:
        count = (pdu[1:2], f"byte count: {pdu[1]} bytes follow")
        return (head, count, (pdu[2:], "data"))
    start = (pdu[1:3], f"PDU address {int.from_bytes(pdu[1:3], 'big')}")
    number = int.from_bytes(pdu[3:5], "big")
    if function in (5, 6):
        return (head, start, (pdu[3:5], "FF00 is on, 0000 off" if function == 5 else "value"))
    count = (pdu[3:5], f"count {number}")
    if function <= 4 or answer:
        return (head, start, count)
    return (head, start, count, (pdu[5:6], f"byte count {pdu[5]}"), (pdu[6:], "values"))


_EXCEPTIONS: Final = {
    1: "exception 01, illegal function",
    2: "exception 02, illegal data address",
    3: "exception 03, illegal data value",
    4: "exception 04, server device failure",
}
