"""RTU frames as the probe sends and accepts them: address, PDU, CRC, and where in a burst of bytes
a whole frame lies. Pure; knows no time and no line."""

from itertools import chain
from typing import Final

from gaswitness_probe.frames import IDENTIFICATION, READ_FUNCTIONS, expected_bytes

SHORTEST_FRAME: Final = 4
LONGEST_FRAME: Final = 256
"""Address, PDU of 1 to 253 bytes, CRC (serial-line specification V1.02 clause 2.5.1)."""

EXCEPTION_BYTES: Final = 5
_IDENTITY_HEAD: Final = 8
_OF_EIGHT_BYTES: Final = frozenset({0x05, 0x06, 0x0F, 0x10})


def _table() -> tuple[int, ...]:
    entries = []
    for byte in range(256):
        register = byte
        for _ in range(8):
            register = register >> 1 ^ 0xA001 if register & 1 else register >> 1
        entries.append(register)
    return tuple(entries)


_TABLE: Final = _table()


def crc(data: bytes) -> int:
    """The CRC of V1.02 clause 6.2.2 (appendix B): 0 over a frame that has its own appended."""
    register = 0xFFFF
    for byte in data:
        register = register >> 8 ^ _TABLE[(register ^ byte) & 0xFF]
    return register


def framed(unit: int, pdu: bytes) -> bytes:
    """The whole frame; its CRC goes low byte first."""
    body = bytes((unit,)) + pdu
    return body + crc(body).to_bytes(2, "little")


def whole(data: bytes) -> bool:
    """Whether these bytes are one frame with a right CRC."""
    return SHORTEST_FRAME <= len(data) <= LONGEST_FRAME and crc(data) == 0


def due_length(request: bytes) -> int | None:
    """Bytes of the good reply's frame; None where the request does not say."""
    function = request[1]
    if function in READ_FUNCTIONS:
        return 5 + expected_bytes(request[1:-2])
    return 8 if function in _OF_EIGHT_BYTES else None


def stated_length(data: bytes) -> int | None:
    """How long the frame that begins here says it is; None where it does not, or not yet."""
    if len(data) < 3:
        return None
    function = data[1]
    if function & 0x80:
        return EXCEPTION_BYTES
    if function in READ_FUNCTIONS:
        return 5 + data[2]
    if function in _OF_EIGHT_BYTES:
        return 8
    return _identity_length(data) if function == IDENTIFICATION else None


def _identity_length(data: bytes) -> int | None:
    if len(data) < _IDENTITY_HEAD:
        return None
    at = _IDENTITY_HEAD
    for _ in range(data[7]):
        if len(data) < at + 2:
            return None
        at += 2 + data[at + 1]
    return at + 2


def find_reply(data: bytes, request: bytes) -> tuple[int, int] | None:
    """Begin and end of the first frame in the bytes that answers the request, well or with an
    exception; None where there is none (yet)."""
    unit, function = request[0], request[1]
    due = due_length(request)
    if due is not None and len(data) < due and data[:3] == bytes((unit, function, due - 5)):
        return None  # what looks like a frame inside one that is still coming is data
    at = data.find(unit)
    while 0 <= at <= len(data) - SHORTEST_FRAME:
        length: int | None = None
        if data[at + 1] == function | 0x80:
            length = EXCEPTION_BYTES
        elif data[at + 1] == function:
            stated = stated_length(data[at:])
            length = stated if due is None or stated == due else None
        if length is not None and at + length <= len(data) and crc(data[at : at + length]) == 0:
            return at, at + length
        at = data.find(unit, at + 1)
    return None


def first_frame(data: bytes) -> int | None:
    """End of the frame that the bytes begin with, as long as it says and with a right CRC."""
    length = stated_length(data)
    if length is not None and length <= len(data) and whole(data[:length]):
        return length
    return None


def any_frame(data: bytes) -> tuple[int, int] | None:
    """Begin and end of the first frame of any kind, when no more bytes are to come: as long as it
    says, or to the end. The longer the bytes, the likelier is one by chance (1 in 65,536 for each
    offset), so this gives a deviation its name, never a value."""
    for at in range(len(data) - SHORTEST_FRAME + 1):
        rest = data[at:]
        for length in chain((len(rest),), filter(None, (stated_length(rest),))):
            if length <= len(rest) and whole(rest[:length]):
                return at, at + length
    return None
