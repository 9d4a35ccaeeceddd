"""MBAP frames: requests out of a stream of bytes, answers into frames.

MODBUS Messaging on TCP/IP Implementation Guide V1.0b, clause 3.1.3. Sans-I/O.
"""

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

HEADER: Final = struct.Struct(">HHHB")
_BEFORE_UNIT: Final = struct.Struct(">HHH")
SHORTEST: Final = 2
"""Least length field: unit id and function code."""

LONGEST: Final = 254
"""Greatest length field: unit id and a PDU of 253 bytes (V1.1b3 clause 4.1)."""


class Nonsense(Exception):
    """The stream has lost its frames: there is no telling where the next one begins."""


class Request(NamedTuple):
    """One request as framed."""

    transaction: int
    unit: int
    pdu: bytes


class RequestReader:
    """Cuts requests out of bytes as they come, whole, in parts, or several at once."""

    def __init__(self) -> None:
        self._waiting = bytearray()

    def alone(self, data: bytes) -> Request | None:
        """The one request that these bytes are, as nearly all are; None: `feed` them."""
        if self._waiting or len(data) <= HEADER.size:
            return None
        transaction, protocol, length, unit = HEADER.unpack_from(data)
        if protocol or length != len(data) - HEADER.size + 1 or length > LONGEST:
            return None
        return Request(transaction, unit, data[HEADER.size :])

    def feed(self, data: bytes) -> Iterator[Request]:
        """Every request that is now complete. A frame of another protocol is passed over.

        Raises Nonsense where a length cannot be; requests before it are given first.
        """
        self._waiting += data
        while len(self._waiting) >= HEADER.size - 1:
            transaction, protocol, length = _BEFORE_UNIT.unpack_from(self._waiting)
            if not SHORTEST <= length <= LONGEST:
                raise Nonsense(f"length field {length}")
            end = HEADER.size - 1 + length
            if len(self._waiting) < end:
                return
            unit, pdu = self._waiting[6], bytes(self._waiting[7:end])
            del self._waiting[:end]
            if protocol == 0:
                yield Request(transaction, unit, pdu)


def framed(request: Request, pdu: bytes) -> bytes:
    """The answer's bytes: transaction and unit id as they came."""
    return HEADER.pack(request.transaction, 0, len(pdu) + 1, request.unit) + pdu
