"""A whole frame taken apart and put together again, right or wrong. What spoils it is not here."""

from dataclasses import dataclass
from typing import Final

from gaswitness_simulator.mbap import HEADER
from gaswitness_simulator.outgoing import Finished, Framing
from gaswitness_simulator.rtu import SHORTEST, rtu_framed

HEADER_BYTES: Final = HEADER.size


@dataclass(frozen=True, slots=True)
class Frame:
    """`length` None is the right one. An RTU frame has no transaction, protocol id or length."""

    framing: Framing
    unit: int
    pdu: bytes
    transaction: int = 0
    protocol: int = 0
    length: int | None = None

    def encoded(self) -> bytes:
        """The frame's bytes, with its CRC where it has one."""
        if self.framing == "rtu":
            return rtu_framed(self.unit, self.pdu)
        length = (len(self.pdu) + 1) & 0xFFFF if self.length is None else self.length
        return HEADER.pack(self.transaction, self.protocol, length, self.unit) + self.pdu


def taken_apart(framing: Framing, data: bytes) -> Frame | None:
    """The frame that the bytes are; None where they are none."""
    if framing == "rtu":
        return Frame("rtu", data[0], data[1:-2]) if len(data) >= SHORTEST else None
    if len(data) <= HEADER_BYTES:
        return None
    transaction, protocol, length, unit = HEADER.unpack_from(data)
    pdu = data[HEADER_BYTES:]
    right = length == len(pdu) + 1
    return Frame("mbap", unit, pdu, transaction, protocol, None if right else length)


def asked_pdu(finished: Finished) -> bytes:
    """The request's PDU; empty where there is none."""
    data = finished.request
    if finished.framing == "rtu":
        return data[1:-2] if len(data) >= SHORTEST else b""
    return data[HEADER_BYTES:]
