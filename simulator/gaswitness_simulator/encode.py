"""Values into the bytes of registers, and back for what a client writes (rule 14).

The simulator's own: the probe decodes with code of its own, so that a bug in one shows in the
other. Do not merge them.
"""

import math
import struct
from collections.abc import Callable
from typing import Final

from gaswitness_sitefile.points import FLOATS, Point, PointType

INTEGERS: Final = {
    PointType.INT16: "h",
    PointType.UINT16: "H",
    PointType.ENUMERATION: "H",
    PointType.BIT_FIELD: "H",
    PointType.INT32: "i",
    PointType.UINT32: "I",
    PointType.INT64: "q",
    PointType.UINT64: "Q",
}
LARGEST_FLOAT32: Final = 3.4028234663852886e38
FLOAT_COUNT: Final = 2**24
"""Up to here a binary32 tells each whole number from the next (IEEE 754-2019 clause 3.6)."""

Encoder = Callable[[float], bytes]


def raw_limits(point: Point) -> tuple[int, int]:
    """Least and greatest raw whole number of the point's type; for floats, what counts exactly."""
    bits = 16 * point.width
    match point.type:
        case PointType.INT16 | PointType.INT32 | PointType.INT64:
            return -(1 << (bits - 1)), (1 << (bits - 1)) - 1
        case PointType.BCD16 | PointType.BCD32:
            return 0, 10 ** (bits // 4) - 1
        case PointType.FLOAT32 | PointType.FLOAT64:
            return 0, FLOAT_COUNT - 1
    return 0, (1 << bits) - 1


def on_wire(point: Point, big_endian: bytes) -> bytes:
    """The bytes of a value, most significant first, in the point's order."""
    data = big_endian
    if point.order.low_word_first and point.type is not PointType.STRING:
        data = _words_reversed(data)
    if point.order.bytes_swapped:
        swapped = bytearray(data)
        swapped[0::2], swapped[1::2] = data[1::2], data[0::2]
        data = bytes(swapped)
    return data


def raw_encoder(point: Point) -> Encoder:
    """From a raw number to the bytes on the wire: rounded, held at the type's ends."""
    if point.type in FLOATS:
        return _float_encoder(point)
    low, high = raw_limits(point)
    if point.type in (PointType.BCD16, PointType.BCD32):
        digits = 4 * point.width
        return lambda raw: on_wire(point, bytes.fromhex(f"{_whole(raw, low, high):0{digits}d}"))
    pack = _packer(point, INTEGERS[point.type])
    return lambda raw: pack(_whole(raw, low, high))


def _float_encoder(point: Point) -> Encoder:
    pack = _packer(point, "f" if point.type is PointType.FLOAT32 else "d")

    def encode(raw: float) -> bytes:
        try:
            return pack(raw)
        except OverflowError:
            return pack(math.copysign(LARGEST_FLOAT32, raw))

    return encode


def _packer(point: Point, letter: str) -> Callable[[float], bytes]:
    """`struct` in the point's order. Where all bytes are turned round it does so by itself."""
    order = point.order
    pack = struct.Struct(("<" if order.bytes_swapped else ">") + letter).pack
    if point.width == 1 or order.low_word_first == order.bytes_swapped:
        return pack
    return lambda raw: _words_reversed(pack(raw))


def _words_reversed(data: bytes) -> bytes:
    return b"".join(data[i : i + 2] for i in range(len(data) - 2, -1, -2))


def value_encoder(point: Point) -> Encoder:
    """From a value in the point's unit to the bytes on the wire."""
    encode, scale, offset = raw_encoder(point), point.scale, point.offset
    if scale == 1.0 and offset == 0.0:
        return encode
    return lambda value: encode((value - offset) / scale)


def sentinel_bytes(point: Point) -> bytes | None:
    """The bytes that say fault; None where the point has no sentinel."""
    if point.sentinel is None:
        return None
    if point.type in FLOATS:
        return raw_encoder(point)(float(point.sentinel))
    low, high = raw_limits(point)
    if point.type in (PointType.BCD16, PointType.BCD32) and low <= point.sentinel <= high:
        return raw_encoder(point)(point.sentinel)
    bits = 16 * point.width
    return on_wire(point, (point.sentinel % (1 << bits)).to_bytes(bits // 8, "big"))


def text_bytes(point: Point, text: str) -> bytes:
    """The text in the point's registers, first character in the high byte, filled with NUL."""
    size = 2 * point.width
    return on_wire(point, text.encode("ascii", "replace")[:size].ljust(size, b"\0"))


def written_value(point: Point, data: bytes) -> float:
    """The value in the point's unit that a client wrote; NaN where the bytes mean no number."""
    big_endian = on_wire(point, data)
    match point.type:
        case PointType.FLOAT32:
            raw: float = struct.unpack(">f", big_endian)[0]
        case PointType.FLOAT64:
            raw = struct.unpack(">d", big_endian)[0]
        case PointType.BCD16 | PointType.BCD32:
            digits = big_endian.hex()
            raw = float(digits) if digits.isdigit() else math.nan
        case _ if point.type in INTEGERS:
            raw = struct.unpack(">" + INTEGERS[point.type], big_endian)[0]
        case _:
            return math.nan
    return raw * point.scale + point.offset


def _whole(raw: float, low: int, high: int) -> int:
    if low <= raw <= high:
        return raw if isinstance(raw, int) else math.floor(raw + 0.5)
    return 0 if math.isnan(raw) else low if raw < low else high
