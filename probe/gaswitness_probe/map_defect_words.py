"""Registers as a panel with a defect would put them: the arithmetic of map defects. Pure.

Not how a good panel encodes: nothing here is asked what a panel must show, only what a wrong one
might. A defect that this module would put wrongly is told as seen where it was not, or the other
way round; no verdict comes of it.
"""

import math
import struct
from typing import Final

from gaswitness_probe.decode import ordered, unscaled
from gaswitness_sitefile.points import FLOATS, Point, PointType

Raw = tuple[int, ...]

_SIGNED: Final = (PointType.INT16, PointType.INT32, PointType.INT64)
_BCD: Final = (PointType.BCD16, PointType.BCD32)


def registers(point: Point, value: float | None) -> Raw:
    """The point's registers for a value in its unit; None: NaN, or its sentinel, 0 without one."""
    if value is None or math.isnan(value):
        if point.type in FLOATS:
            return _put(point, math.nan)
        return _put(point, float(point.sentinel or 0))
    return _put(point, (value - point.offset) / point.scale if point.scale else 0.0)


def _put(point: Point, number: float) -> Raw:
    """An unscaled number, held at the ends of the point's type."""
    if point.type in FLOATS:
        kind = ">f" if point.width == 2 else ">d"
        largest = 3.4028234663852886e38 if point.width == 2 else 1.7976931348623157e308
        number = number if math.isnan(number) else max(-largest, min(largest, number))
        return _words(point, struct.pack(kind, number))
    bits = 16 * point.width
    if point.type in _BCD:
        digits = max(0, min(10 ** (bits // 4) - 1, round(number)))
        return _words(point, bytes.fromhex(f"{digits:0{bits // 4}d}"))
    signed = point.type in _SIGNED
    low, high = (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1) if signed else (0, 2**bits - 1)
    whole = round(number) if math.isfinite(number) else low
    if not low <= whole <= high and whole % 2**bits == (point.sentinel or 0) % 2**bits:
        return _words(point, (whole % 2**bits).to_bytes(bits // 8, "big"))
    return _words(point, max(low, min(high, whole)).to_bytes(bits // 8, "big", signed=signed))


def _words(point: Point, data: bytes) -> Raw:
    return ordered(point.order, struct.unpack(f">{len(data) // 2}H", data))


def _number(point: Point, raw: Raw) -> float | None:
    """The unscaled number; None for NaN, digits that are none, and the sentinel."""
    number = unscaled(point, raw)
    if number is None or (isinstance(number, float) and math.isnan(number)):
        return None
    if point.sentinel is not None and point.type not in FLOATS:
        return None if (int(number) - point.sentinel) % 2 ** (16 * point.width) == 0 else number
    return number


def scaled(by: float, point: Point, raw: Raw) -> Raw:
    """The number times `by`; what is no number stays as it is."""
    number = _number(point, raw)
    return raw if number is None else _put(point, number * by)


def held_at_zero(point: Point, raw: Raw) -> Raw:
    """0 in place of a number below it."""
    number = _number(point, raw)
    return raw if number is None or number >= 0 else _put(point, 0.0)


def as_bcd(point: Point, raw: Raw) -> Raw:
    """The count in decimal digits, four bits each, held from 0 to as many as there is room for."""
    number = _number(point, raw)
    if number is None:
        return raw
    digits = 4 * point.width
    held = max(0, min(10**digits - 1, int(number)))
    return _words(point, bytes.fromhex(f"{held:0{digits}d}"))


def widened(point: Point, raw: Raw) -> Raw:
    """What the one register holds of a number of 32 bits: its high word."""
    number = unscaled(point, raw)
    return ordered(point.order, (0xFFFF if number is not None and number < 0 else 0,))


def mirrored(word: int) -> int:
    """Bit 0 at 15, bit 1 at 14, and so on."""
    return int(f"{word:016b}"[::-1], 2)


def bytes_turned(word: int) -> int:
    """The high byte in the low one's place."""
    return (word & 0xFF) << 8 | word >> 8
