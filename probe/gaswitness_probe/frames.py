"""Modbus/TCP frames as the probe sends and accepts them: MBAP header, requests that read, and the
strict check of replies. Pure; knows no function that writes."""

import struct
from typing import Final, NamedTuple

from gaswitness_probe.deviation import EXCEPTION_WORDS, Deviation, LinkProblem
from gaswitness_sitefile.points import Table

HEADER: Final = struct.Struct(">HHHB")
"""Transaction id, protocol id, length, unit id (Messaging guide V1.0b clause 3.1.3)."""

HEADER_BYTES: Final = 7
SHORTEST_LENGTH: Final = 2
LONGEST_LENGTH: Final = 254
"""Bounds of the length field: unit id plus a PDU of 1 to 253 bytes (V1.1b3 clause 4.1)."""

READ_FUNCTIONS: Final = frozenset({1, 2, 3, 4})
BIT_FUNCTIONS: Final = frozenset({1, 2})
IDENTIFICATION: Final = 0x2B
READ_DEVICE_ID: Final = 0x0E

_READ = struct.Struct(">BHH")


class Adu(NamedTuple):
    """One frame cut out of the stream; `raw` is all of it."""

    transaction: int
    unit: int
    pdu: bytes
    raw: bytes


class Checked(NamedTuple):
    """What a reply turned out to be; `note` is a deviation that does not spoil it."""

    problem: LinkProblem | None = None
    exception_code: int | None = None
    note: LinkProblem | None = None


GOOD: Final = Checked()


def encode(transaction: int, unit: int, pdu: bytes) -> bytes:
    """The whole frame for a request."""
    return HEADER.pack(transaction, 0, len(pdu) + 1, unit) + pdu


def read_request(table: Table, address: int, count: int) -> bytes:
    """The PDU that reads `count` addresses of the table (V1.1b3 clauses 6.1 to 6.4)."""
    return _READ.pack(table.read_function, address, count)


def identification_request(code: int, object_id: int) -> bytes:
    """The PDU that reads device identification (V1.1b3 clause 6.21)."""
    return bytes((IDENTIFICATION, READ_DEVICE_ID, code, object_id))


class Stream:
    """Bytes as they come over TCP, cut into frames. Segments may be split or merged."""

    def __init__(self) -> None:
        self.pending = b""

    def feed(self, data: bytes) -> None:
        """Add what was received."""
        self.pending = self.pending + data if self.pending else data

    def take(self) -> Adu | LinkProblem | None:
        """The next whole frame; None while there is none; a problem ends the stream's use, but
        for a wrong protocol id, whose frame is taken out whole."""
        data = self.pending
        if len(data) < HEADER_BYTES:
            return None
        transaction, protocol, length, unit = HEADER.unpack_from(data)
        if not SHORTEST_LENGTH <= length <= LONGEST_LENGTH:
            if protocol:
                return LinkProblem(Deviation.NOT_MODBUS, data, "no Modbus/TCP header")
            return LinkProblem(Deviation.WRONG_LENGTH, data, f"the header's length says {length}")
        end = HEADER_BYTES - 1 + length
        if len(data) < end:
            return None
        self.pending = data[end:]
        raw = data[:end]
        if protocol:
            return LinkProblem(Deviation.WRONG_PROTOCOL, raw, f"protocol id {protocol}, not 0")
        return Adu(transaction, unit, raw[HEADER_BYTES:], raw)

    def starts_whole(self) -> bool:
        """Whether what is pending begins with a whole frame of Modbus/TCP."""
        data = self.pending
        if len(data) < HEADER_BYTES:
            return False
        _, protocol, length, _ = HEADER.unpack_from(data)
        sound = not protocol and SHORTEST_LENGTH <= length <= LONGEST_LENGTH
        return sound and len(data) >= HEADER_BYTES - 1 + length


def check_reply(request: bytes, reply: bytes) -> Checked:
    """Hold a reply's PDU against its request's PDU."""
    asked = request[0]
    function = reply[0]
    if function == asked | 0x80:
        return _checked_exception(reply)
    if function != asked:
        return _bad(Deviation.WRONG_FUNCTION, reply, f"asked {asked:02X}, answered {function:02X}")
    if asked in READ_FUNCTIONS:
        return _checked_read(request, reply)
    if asked == IDENTIFICATION and request[1:2] == bytes((READ_DEVICE_ID,)):
        return _checked_identification(request, reply)
    return GOOD


def _bad(deviation: Deviation, raw: bytes, detail: str) -> Checked:
    return Checked(LinkProblem(deviation, raw, detail))


def _checked_exception(reply: bytes) -> Checked:
    if len(reply) != 2:
        return _bad(
            Deviation.MALFORMED_EXCEPTION,
            reply,
            f"an exception is two bytes, these are {len(reply)}",
        )
    code = reply[1]
    if code in EXCEPTION_WORDS:
        return Checked(exception_code=code)
    note = LinkProblem(Deviation.UNKNOWN_EXCEPTION, reply, f"code {code:02X}")
    return Checked(exception_code=code, note=note)


def expected_bytes(request: bytes) -> int:
    """The byte count that answers a read of functions 01 to 04."""
    count = int.from_bytes(request[3:5], "big")
    return (count + 7) // 8 if request[0] in BIT_FUNCTIONS else 2 * count


def _checked_read(request: bytes, reply: bytes) -> Checked:
    expected = expected_bytes(request)
    carried = len(reply) - 2
    if carried < 0:
        return _bad(Deviation.TRUNCATED, reply, "no byte count")
    if reply[1] != expected:
        return _bad(
            Deviation.WRONG_BYTE_COUNT,
            reply,
            f"byte count {reply[1]}, {expected} were due, {carried} came",
        )
    if carried != expected:
        deviation = Deviation.TRUNCATED if carried < expected else Deviation.TOO_LONG
        return _bad(deviation, reply, f"{expected} data bytes were due, {carried} came")
    spare = -int.from_bytes(request[3:5], "big") % 8
    if request[0] in BIT_FUNCTIONS and spare and reply[-1] >> (8 - spare):
        # V1.1b3 clause 6.1: remaining bits of the last byte are padded with zeros
        return Checked(note=LinkProblem(Deviation.PADDING_NOT_ZERO, reply, f"{spare} padding bits"))
    return GOOD


class Identification(NamedTuple):
    """One reply to Read Device Identification; `objects` by object id.

    `stated` is the number of objects that the reply says it holds.
    """

    code: int
    conformity: int
    more_follows: bool
    next_object: int
    stated: int
    objects: dict[int, bytes]


CONFORMITY_LEVELS: Final = frozenset({0x01, 0x02, 0x03, 0x81, 0x82, 0x83})


def parse_identification(reply: bytes) -> Identification:
    """Read the PDU of a reply (V1.1b3 clause 6.21). Raises ValueError that says what is wrong."""
    if len(reply) < 7 or reply[1] != READ_DEVICE_ID:
        raise ValueError("not a reply to Read Device Identification")
    code, conformity, more, following, count = reply[2:7]
    if more not in (0x00, 0xFF):
        raise ValueError(f"more follows is {more:02X}, neither 00 nor FF")
    if conformity not in CONFORMITY_LEVELS:
        raise ValueError(f"conformity level {conformity:02X} does not exist")
    objects: dict[int, bytes] = {}
    at = 7
    while at < len(reply):
        head = reply[at : at + 2]
        body = reply[at + 2 : at + 2 + head[1]] if len(head) == 2 else b""
        if len(head) < 2 or len(body) != head[1]:
            raise ValueError("an object is cut short, or its length is wrong")
        objects[head[0]] = body
        at += 2 + len(body)
    return Identification(code, conformity, more == 0xFF, following, count, objects)


def _checked_identification(request: bytes, reply: bytes) -> Checked:
    try:
        found = parse_identification(reply)
    except ValueError as error:
        return _bad(Deviation.MALFORMED_IDENTIFICATION, reply, str(error))
    if found.code != request[2]:
        return _bad(
            Deviation.MALFORMED_IDENTIFICATION,
            reply,
            f"asked with code {request[2]:02X}, answered with {found.code:02X}",
        )
    if found.stated != len(found.objects):
        # the second example of V1.1b3 clause 6.21 does the same, so it is a note
        detail = f"says {found.stated} objects, carries {len(found.objects)}"
        return Checked(note=LinkProblem(Deviation.MALFORMED_IDENTIFICATION, reply, detail))
    return GOOD
