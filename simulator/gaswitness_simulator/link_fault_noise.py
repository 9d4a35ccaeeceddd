"""Link faults that spoil the bytes of a finished frame on their way. Pure."""

from collections.abc import Callable, Mapping
from random import Random
from types import MappingProxyType
from typing import Any, Final

from gaswitness_sitefile.link_fault import FaultKind, Flipped, Stray, Truncated, WrongCrc

Spoil = Callable[[Any, bytes, Random], bytes]


def _wrong_crc(_kind: WrongCrc, data: bytes, draw: Random) -> bytes:
    crc = int.from_bytes(data[-2:], "big") ^ draw.randint(1, 0xFFFF)
    return data[:-2] + crc.to_bytes(2, "big")


def _flipped(kind: Flipped, data: bytes, draw: Random) -> bytes:
    spoilt = bytearray(data)
    for bit in draw.sample(range(8 * len(data)), min(kind.count, 8 * len(data))):
        spoilt[bit // 8] ^= 1 << bit % 8
    return bytes(spoilt)


def _truncated(kind: Truncated, data: bytes, _draw: Random) -> bytes:
    return data[: max(1, len(data) - kind.count)]


def _stray(kind: Stray, data: bytes, draw: Random) -> bytes:
    noise = draw.randbytes(kind.count)
    if kind.where == "before":
        return noise + data
    if kind.where == "after" or len(data) < 2:
        return data + noise
    at = draw.randrange(1, len(data))
    return data[:at] + noise + data[at:]


SPOILS: Final[Mapping[type[FaultKind], Spoil]] = MappingProxyType(
    {WrongCrc: _wrong_crc, Flipped: _flipped, Truncated: _truncated, Stray: _stray}
)
"""What each does to the bytes of a frame, in the order in which they act."""
