"""From the bytes of a point to its value, step by step, as a person would work it out by hand.

Written apart from the probe's decoder, in arithmetic on whole numbers, so that one can be held
against the other. Pure.
"""

import math
from typing import Final

from gaswitness_sitefile.points import FLOATS, Order, Point, PointType

SIGNED: Final = frozenset({PointType.INT16, PointType.INT32, PointType.INT64})
BCD: Final = frozenset({PointType.BCD16, PointType.BCD32})
LAYOUTS: Final = {2: (8, 23), 4: (11, 52)}
"""Bits of exponent and fraction of a float of so many registers (IEEE 754-2019 table 3.5)."""


def worked_out(point: Point, raw: tuple[int, ...]) -> tuple[str, ...]:
    """The steps, the last of which ends in the value.

    `raw`: the registers as received, first address first; of a bit, 0 or 1.
    """
    if point.type is PointType.BIT:
        return (f"{_bit_words(raw[0])}",)
    if point.type is PointType.STRING:
        return _string(point, raw)
    words = _in_order(point.order, raw)
    steps = [f"registers as received: {_hex(raw)}"]
    if words != raw:
        steps.append(f"order {point.order}: {_order_words(point.order, len(raw))}: {_hex(words)}")
    number = 0
    for word in words:
        number = number << 16 | word
    steps += _of_type(point, number, 16 * len(raw))
    return tuple(steps)


def _in_order(order: Order, raw: tuple[int, ...]) -> tuple[int, ...]:
    words = raw[::-1] if order in (Order.CDAB, Order.DCBA) else raw
    if order in (Order.BADC, Order.DCBA):
        words = tuple(word % 256 * 256 + word // 256 for word in words)
    return words


def _order_words(order: Order, count: int) -> str:
    said = ["last register first"] if order in (Order.CDAB, Order.DCBA) and count > 1 else []
    said += ["bytes of each register swapped"] if order in (Order.BADC, Order.DCBA) else []
    return ", ".join(said)


def _hex(words: tuple[int, ...]) -> str:
    return " ".join(f"{word:04X}" for word in words)


def _of_type(point: Point, number: int, bits: int) -> list[str]:
    match point.type:
        case PointType.BIT_IN_WORD:
            bit = point.bit or 0
            return [f"bit {bit} of 0x{number:04X}: {_bit_words(number >> bit & 1)}"]
        case PointType.BIT_FIELD:
            return _bit_field(point, number)
        case PointType.ENUMERATION:
            return [f"0x{number:04X} = {number}: {_coded(point, number)}"]
        case _ if point.type in FLOATS:
            return _float(point, number, bits)
    return _whole(point, number, bits)


def _coded(point: Point, number: int) -> str:
    if point.sentinel is not None and number == point.sentinel % 65536:
        return "the sentinel, which says that there is no value"
    return point.codes.get(number, "a code that the points list does not name")


def _bit_words(bit: int) -> str:
    return f"{bit}, so {'on' if bit else 'off'}"


def _bit_field(point: Point, number: int) -> list[str]:
    written = f"0x{number:04X} = {number:016b}, bit 15 first"
    on = [shows for bit, shows in sorted(point.bits.items()) if number >> bit & 1]
    off = len(point.bits) - len(on)
    return [written, f"on: {', '.join(on) or 'none'}; {off} of {len(point.bits)} named bits off"]


def _whole(point: Point, number: int, bits: int) -> list[str]:
    digits = f"0x{number:0{bits // 4}X}"
    if point.type in BCD:
        text = f"{number:0{bits // 4}x}"
        if not text.isdecimal():
            return [f"{digits} as {point.type}: a digit is above 9, so there is no value"]
        number = int(text)
        steps = [f"{digits} as {point.type}: the digits read {text}, so {number}"]
    elif point.type in SIGNED and number >> (bits - 1):
        steps = [f"{digits} as {point.type}: {number} - 2^{bits} = {number - 2**bits}"]
        number -= 2**bits
    else:
        steps = [f"{digits} as {point.type}: {number}"]
    if point.sentinel is not None and (number - point.sentinel) % 2**bits == 0:
        return [*steps, "that is the sentinel, which says that there is no reading"]
    return steps + _scaled(point, number)


def _float(point: Point, number: int, bits: int) -> list[str]:
    wide, fine = LAYOUTS[bits // 16]
    sign, power = number >> (bits - 1), number >> fine & (2**wide - 1)
    fraction = number & (2**fine - 1)
    bias = 2 ** (wide - 1) - 1
    digits = f"0x{number:0{bits // 4}X}"
    head = f"{digits} as {point.type}: sign {sign}, exponent {power}, fraction 0x{fraction:X}"
    if power == 2**wide - 1:
        what = "NaN, which says that there is no value" if fraction else "infinite"
        return [f"{head}: {what}"]
    lead, shift = (1, power - bias) if power else (0, 1 - bias)
    value = math.ldexp(lead + fraction / 2**fine, shift) * (-1 if sign else 1)
    minus = "-" if sign else ""
    steps = [f"{head}: {minus}({lead} + {fraction} / 2^{fine}) x 2^{shift} = {value:.9g}"]
    if point.sentinel is not None and value == point.sentinel:
        return [*steps, "that is the sentinel, which says that there is no reading"]
    return steps + _scaled(point, value)


def _scaled(point: Point, number: float) -> list[str]:
    unit = f" {point.unit}" if point.unit else ""
    if point.scale == 1.0 and point.offset == 0.0:
        return [f"value {number:.9g}{unit}"]
    plus = f" + {point.offset:g}" if point.offset else ""
    value = number * point.scale + point.offset
    return [f"{number:.9g} x {point.scale:g}{plus} = {value:.9g}{unit}"]


def _string(point: Point, raw: tuple[int, ...]) -> tuple[str, ...]:
    swapped = point.order in (Order.BADC, Order.DCBA)
    pairs = [(word % 256, word // 256) if swapped else (word // 256, word % 256) for word in raw]
    data = bytes(byte for pair in pairs for byte in pair).rstrip(b"\0 ")
    first = "low" if swapped else "high"
    text = data.decode("ascii") if data.isascii() else "a byte outside ASCII, so no text"
    return (
        f"registers as received: {_hex(raw)}",
        f"two characters a register, the {first} byte first: \u201c{text}\u201d",
    )
