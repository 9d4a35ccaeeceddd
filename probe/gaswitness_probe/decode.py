"""Registers and bits to values, by the probe's own reading of the points list.

Written a second time on purpose: the panel's side encodes by the same rules in its own code, so
that a mistake in one cannot hide in the other. Do not merge the two.
"""

import math
import struct
from collections.abc import Callable
from decimal import Decimal
from typing import Final

from gaswitness_probe.history import Value
from gaswitness_sitefile.points import FLOATS, NUMERIC, Order, Point, PointType

Decoder = Callable[[tuple[int, ...]], Value]
"""From the registers (or the bit) as received, first address first, to the value."""

MOST_DECIMALS: Final = 12
"""Scales with more decimals than this, such as 1/3, are applied without rounding."""

_SIGNED: Final = frozenset({PointType.INT16, PointType.INT32, PointType.INT64})
_BCD: Final = frozenset({PointType.BCD16, PointType.BCD32})


def decode(point: Point, raw: tuple[int, ...]) -> Value:
    """The point's value.

    `raw`: as received, first address first, 0..65535 each (0 or 1 for bits), `point.width` of them.
    Numbers in the point's unit; the state's name for an enumeration, the raw register for a bit
    field, text without trailing blanks and NULs for a string. None for the sentinel, NaN, an
    unknown code, a BCD digit above 9, a byte outside ASCII. Raises ValueError on a wrong count.
    """
    if len(raw) != point.width:
        raise ValueError(f"point {point.name} takes {point.width} addresses, got {len(raw)}")
    return decoder(point)(raw)


def decode_bits(point: Point, raw: tuple[int, ...]) -> dict[str, bool]:
    """What each named bit of a bit field says, by what it shows."""
    register = ordered(point.order, raw)[0]
    return {shows: bool(register >> bit & 1) for bit, shows in sorted(point.bits.items())}


def decoder(point: Point) -> Decoder:
    """`decode` for this point, made ready once for many samples."""
    kind = point.type
    if kind is PointType.BIT:
        return lambda raw: bool(raw[0])
    if kind is PointType.BIT_IN_WORD:
        mask = bit_mask(point)
        return lambda raw: bool(raw[0] & mask)
    if kind is PointType.STRING:
        return _string_decoder(point)
    if kind in FLOATS:
        return _float_decoder(point)
    if kind in NUMERIC:
        return _integer_decoder(point)
    return _register_decoder(point)


def bit_mask(point: Point) -> int:
    """Where a bit in word stands in the register as received."""
    bit = point.bit or 0
    return 1 << (bit ^ 8 if point.order.bytes_swapped else bit)


def ordered(order: Order, raw: tuple[int, ...]) -> tuple[int, ...]:
    """The registers put in the order ABCD: most significant word first, high byte first."""
    words = raw[::-1] if order.low_word_first else raw
    if order.bytes_swapped:
        words = tuple((word & 0xFF) << 8 | word >> 8 for word in words)
    return words


def unscaled(point: Point, raw: tuple[int, ...]) -> int | float | None:
    """The number in the registers before scale and offset; None for a BCD digit above 9.

    For numeric points, enumerations and bit fields. NaN and the sentinel come as they are.
    """
    words = ordered(point.order, raw)
    data = struct.pack(f">{len(words)}H", *words)
    if point.type in FLOATS:
        found: float = struct.unpack(">f" if len(words) == 2 else ">d", data)[0]
        return found
    if point.type in _BCD:
        digits = data.hex()
        return int(digits) if digits.isdecimal() else None
    return int.from_bytes(data, "big", signed=point.type in _SIGNED)


def decimals_of(point: Point) -> int | None:
    """How many decimals scale and offset leave room for; None where that is no sensible number."""
    places = 0
    for number in (point.scale, point.offset):
        exponent = Decimal(repr(number)).normalize().as_tuple().exponent
        places = max(places, -exponent if isinstance(exponent, int) else 0)
    return places if places <= MOST_DECIMALS else None


def is_sentinel(point: Point, number: float) -> bool:
    """Whether the unscaled number is the point's sentinel.

    An integer's sentinel may be written with or without its sign: 32768 and -32768 are one 16-bit
    pattern.
    """
    if point.sentinel is None:
        return False
    if point.type in FLOATS or point.type in _BCD:
        return number == point.sentinel
    return (int(number) - point.sentinel) % (1 << 16 * point.width) == 0


def _integer_decoder(point: Point) -> Decoder:
    scale, offset = point.scale, point.offset
    plain = scale == 1.0 and offset == 0.0
    places = decimals_of(point)

    def decoded(raw: tuple[int, ...]) -> Value:
        number = unscaled(point, raw)
        if number is None or is_sentinel(point, number):
            return None
        if plain:
            return number
        value = number * scale + offset
        return value if places is None else round(value, places)

    return decoded


_FLOAT_LAYOUTS: Final = {2: (">HH", ">f"), 4: (">HHHH", ">d")}


def _float_decoder(point: Point) -> Decoder:
    layout, kind = _FLOAT_LAYOUTS[point.width]
    words, number = struct.Struct(layout), struct.Struct(kind)
    order, straight = point.order, point.order is Order.ABCD
    scale, offset, sentinel = point.scale, point.offset, point.sentinel
    plain = scale == 1.0 and offset == 0.0

    def decoded(raw: tuple[int, ...]) -> Value:
        value: float = number.unpack(words.pack(*(raw if straight else ordered(order, raw))))[0]
        if math.isnan(value) or (sentinel is not None and value == sentinel):
            return None
        return value if plain else value * scale + offset

    return decoded


def _register_decoder(point: Point) -> Decoder:
    codes = point.codes if point.type is PointType.ENUMERATION else None

    def decoded(raw: tuple[int, ...]) -> Value:
        register = ordered(point.order, raw)[0]
        if is_sentinel(point, register):
            return None
        return register if codes is None else codes.get(register)

    return decoded


def _string_decoder(point: Point) -> Decoder:
    """ABCD has the first of two characters in the high byte; registers always stand in order."""
    swapped = point.order.bytes_swapped

    def decoded(raw: tuple[int, ...]) -> Value:
        layout = f"{'<' if swapped else '>'}{len(raw)}H"
        data = struct.pack(layout, *raw).rstrip(b"\x00 ")
        return data.decode("ascii") if data.isascii() else None

    return decoded
