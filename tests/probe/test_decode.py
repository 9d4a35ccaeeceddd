"""Decoding against IEEE 754, the Modbus data encoding (V1.1b3 clause 4.2), and `struct`."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.decode import decode, decode_bits
from gaswitness_sitefile.points import Point

ORDERS = ("ABCD", "CDAB", "BADC", "DCBA")


def point(kind, **more):
    table = "coil" if kind == "bit" else "holding register"
    return Point.model_validate(
        {"name": "P", "table": table, "address": 0, "type": kind, "shows": "spare"} | more
    )


def words(text):
    return tuple(int(word, 16) for word in text.split())


# IEEE 754-2019 clause 3.4, binary32; worked by hand for 100.0 (1.5625 x 2^6 -> 42C80000), the rest
# by the C library's conversion. The order of words is not defined by V1.1b3: common practice.
FLOATS = [
    (20.9, "41A7 3333", "3333 41A7", "A741 3333", "3333 A741", 20.899999618530273),
    (20.8, "41A6 6666", "6666 41A6", "A641 6666", "6666 A641", 20.799999237060547),
    (100.0, "42C8 0000", "0000 42C8", "C842 0000", "0000 C842", 100.0),
    (-1.5, "BFC0 0000", "0000 BFC0", "C0BF 0000", "0000 C0BF", -1.5),
    (0.0, "0000 0000", "0000 0000", "0000 0000", "0000 0000", 0.0),
    (-0.0, "8000 0000", "0000 8000", "0080 0000", "0000 0080", -0.0),
    (1.0, "3F80 0000", "0000 3F80", "803F 0000", "0000 803F", 1.0),
    (0.1, "3DCC CCCD", "CCCD 3DCC", "CC3D CDCC", "CDCC CC3D", 0.10000000149011612),
    (0.15625, "3E20 0000", "0000 3E20", "203E 0000", "0000 203E", 0.15625),
    (85.125, "42AA 4000", "4000 42AA", "AA42 0040", "0040 AA42", 85.125),
    (4.4, "408C CCCD", "CCCD 408C", "8C40 CDCC", "CDCC 8C40", 4.400000095367432),
    (50.0, "4248 0000", "0000 4248", "4842 0000", "0000 4842", 50.0),
    (19.5, "419C 0000", "0000 419C", "9C41 0000", "0000 9C41", 19.5),
    (23.5, "41BC 0000", "0000 41BC", "BC41 0000", "0000 BC41", 23.5),
    (3.6, "4066 6666", "6666 4066", "6640 6666", "6666 6640", 3.5999999046325684),
    (123456.0, "47F1 2000", "2000 47F1", "F147 0020", "0020 F147", 123456.0),
    (16777217.0, "4B80 0000", "0000 4B80", "804B 0000", "0000 804B", 16777216.0),
]


@pytest.mark.parametrize(
    ("order", "registers", "stored"),
    [(o, row[1 + n], row[5]) for row in FLOATS for n, o in enumerate(ORDERS)],
)
def test_float32_in_every_order(order, registers, stored):
    value = decode(point("float32", order=order), words(registers))
    assert value == stored
    assert math.copysign(1, value) == math.copysign(1, stored)


@pytest.mark.parametrize(
    ("registers", "value"),
    [
        ("7F80 0000", math.inf),
        ("FF80 0000", -math.inf),
        ("7F7F FFFF", 3.4028234663852886e38),
        ("0080 0000", 1.1754943508222875e-38),
        ("0000 0001", 1.401298464324817e-45),
    ],
)
def test_float32_specials(registers, value):
    assert decode(point("float32"), words(registers)) == value


@pytest.mark.parametrize("registers", ["7FC0 0000", "7F80 0001", "FFFF FFFF"])
def test_nan_is_no_value(registers):
    assert decode(point("float32"), words(registers)) is None


def test_float64_nan_is_no_value():
    assert decode(point("float64"), words("7FF8 0000 0000 0000")) is None


def test_wrong_word_order_gives_the_tell_tale_small_number():
    # 20.9 sent ABCD, read CDAB
    assert decode(point("float32", order="CDAB"), words("41A7 3333")) == pytest.approx(
        4.173640e-08, rel=1e-6
    )


def test_registers_of_the_specifications_example():
    # V1.1b3 clause 6.3: registers 108 to 110 hold 555, 0, 100
    assert [decode(point("uint16"), (r,)) for r in (0x022B, 0, 0x64)] == [555, 0, 100]


@pytest.mark.parametrize(
    ("kind", "more", "registers", "value"),
    [
        ("int16", {}, "FFFF", -1),
        ("uint16", {}, "FFFF", 65535),
        ("int16", {"order": "BADC"}, "0100", 1),
        ("int16", {"order": "CDAB"}, "0100", 256),
        ("int16", {"scale": 0.1}, "00D1", 20.9),
        ("int16", {"scale": 0.01}, "082A", 20.9),
        ("int16", {"scale": 0.1}, "FFFD", -0.3),
        ("uint16", {"scale": 0.1, "offset": -20}, "0191", 20.1),
        ("uint16", {"scale": 0.025}, "0343", 20.875),
        ("int16", {"scale": 10}, "0005", 50),
        ("uint32", {}, "0001 0000", 65536),
        ("uint32", {"order": "CDAB"}, "0001 0000", 1),
        ("int32", {}, "FFFF FFFE", -2),
        ("int64", {}, "FFFF FFFF FFFF FFFF", -1),
        ("uint64", {"order": "CDAB"}, "0001 0002 0003 0004", 0x0004000300020001),
        ("uint64", {"order": "DCBA"}, "0001 0002 0003 0004", 0x0400030002000100),
        ("uint64", {"order": "BADC"}, "0001 0002 0003 0004", 0x0100020003000400),
        ("bcd16", {}, "1234", 1234),
        ("bcd16", {"order": "BADC"}, "3412", 1234),
        ("bcd16", {"scale": 0.1}, "0209", 20.9),
        ("bcd16", {}, "12A4", None),
        ("bcd32", {}, "1234 5678", 12345678),
        ("bcd32", {"order": "CDAB"}, "5678 1234", 12345678),
        ("bcd32", {}, "F000 0000", None),
        ("bit field", {}, "A001", 0xA001),
        ("bit field", {"order": "BADC"}, "A001", 0x01A0),
        ("enumeration", {"codes": {0: "normal", 2: "A1"}}, "0002", "A1"),
        ("enumeration", {"codes": {0: "normal", 2: "A1"}}, "0001", None),
        ("enumeration", {"codes": {0: "normal"}, "order": "DCBA"}, "0000", "normal"),
        ("int16", {"sentinel": 32767}, "7FFF", None),
        ("int16", {"sentinel": 32768}, "8000", None),
        ("int16", {"sentinel": -32768}, "8000", None),
        ("int16", {"sentinel": 32767}, "7FFE", 32766),
        ("uint16", {"sentinel": 65535, "scale": 0.1}, "FFFF", None),
        ("float32", {"sentinel": -9999}, "C61C 3C00", None),
        ("float32", {"scale": 2, "offset": 1}, "4248 0000", 101.0),
        ("bit in word", {"bit": 0}, "0001", True),
        ("bit in word", {"bit": 15}, "8000", True),
        ("bit in word", {"bit": 15}, "7FFF", False),
        ("bit in word", {"bit": 0, "order": "BADC"}, "0100", True),
        ("bit in word", {"bit": 0, "order": "BADC"}, "0001", False),
        ("bit in word", {"bit": 0, "order": "CDAB"}, "0001", True),
        ("string", {"length": 2}, "4142 4300", "ABC"),
        ("string", {"length": 2}, "4142 4320", "ABC"),
        ("string", {"length": 2, "order": "BADC"}, "4241 0043", "ABC"),
        ("string", {"length": 2, "order": "CDAB"}, "4142 4300", "ABC"),
        ("string", {"length": 1}, "41E9", None),
    ],
)
def test_types_orders_scales(kind, more, registers, value):
    assert decode(point(kind, **more), words(registers)) == value


@pytest.mark.parametrize("raw", [0, 1])
def test_bit_is_true_or_false(raw):
    assert decode(point("bit"), (raw,)) is bool(raw)


def test_bit_field_says_each_named_bit():
    field = point("bit field", shows="bits", bits={0: "AT-1.A1", 9: "AT-1.fault"})
    assert decode_bits(field, (0x0200,)) == {"AT-1.A1": False, "AT-1.fault": True}


def test_bit_field_with_swapped_bytes():
    field = point("bit field", shows="bits", bits={0: "AT-1.A1", 9: "AT-1.fault"}, order="BADC")
    assert decode_bits(field, (0x0100,)) == {"AT-1.A1": True, "AT-1.fault": False}


def test_wrong_count_of_registers_is_refused():
    with pytest.raises(ValueError, match="point P takes 2 addresses, got 1"):
        decode(point("float32"), (1,))


LAYOUTS = {
    "int16": ">h",
    "uint16": ">H",
    "int32": ">i",
    "uint32": ">I",
    "int64": ">q",
    "uint64": ">Q",
    "float32": ">f",
    "float64": ">d",
}


def arranged(data, order):
    """Bytes A B C D... put in the named order, word by word."""
    pairs = [data[at : at + 2] for at in range(0, len(data), 2)]
    if order in ("BADC", "DCBA"):
        pairs = [pair[::-1] for pair in pairs]
    if order in ("CDAB", "DCBA"):
        pairs.reverse()
    return b"".join(pairs)


@given(st.sampled_from(sorted(LAYOUTS)), st.sampled_from(ORDERS), st.data())
def test_agrees_with_struct(kind, order, data):
    layout = LAYOUTS[kind]
    size = struct.calcsize(layout)
    raw = data.draw(st.binary(min_size=size, max_size=size))
    (expected,) = struct.unpack(layout, raw)
    registers = struct.unpack(f">{size // 2}H", arranged(raw, order))
    value = decode(point(kind, order=order), registers)
    assert value is None if math.isnan(expected) else value == expected


@given(st.integers(-32768, 32767), st.sampled_from([1, 2, 3]))
def test_scaled_integer_is_the_decimal_that_people_write(raw, places):
    value = decode(point("int16", scale=float(f"1e-{places}")), (raw & 0xFFFF,))
    assert value == float(f"{raw}e-{places}")
