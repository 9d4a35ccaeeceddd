"""Registers against IEEE 754 patterns, two's complement and packed decimals."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_simulator.encode import (
    raw_encoder,
    sentinel_bytes,
    text_bytes,
    value_encoder,
    written_value,
)
from gaswitness_sitefile.points import Order, Point, PointType


def point(kind, **more) -> Point:
    return Point.model_validate(
        {"name": "p", "table": "input register", "address": 0, "type": kind, "shows": "spare"}
        | more
    )


def words(data: bytes) -> str:
    return data.hex(" ", 2).upper()


# Bit patterns of IEEE 754 binary32, computed with the C library's conversion through `struct` and
# checkable by hand: 100.0 = 1.5625 x 2**6, exponent 133 = 85, fraction .5625 -> 42C80000.
# Order of words and bytes: common practice, no source (V1.1b3 defines bytes within a word only).
BINARY32 = [
    (20.9, "41A7 3333", "3333 41A7", "A741 3333", "3333 A741"),
    (20.8, "41A6 6666", "6666 41A6", "A641 6666", "6666 A641"),
    (100.0, "42C8 0000", "0000 42C8", "C842 0000", "0000 C842"),
    (-1.5, "BFC0 0000", "0000 BFC0", "C0BF 0000", "0000 C0BF"),
    (0.0, "0000 0000", "0000 0000", "0000 0000", "0000 0000"),
    (-0.0, "8000 0000", "0000 8000", "0080 0000", "0000 0080"),
    (1.0, "3F80 0000", "0000 3F80", "803F 0000", "0000 803F"),
    (0.1, "3DCC CCCD", "CCCD 3DCC", "CC3D CDCC", "CDCC CC3D"),
    (0.15625, "3E20 0000", "0000 3E20", "203E 0000", "0000 203E"),
    (85.125, "42AA 4000", "4000 42AA", "AA42 0040", "0040 AA42"),
    (4.4, "408C CCCD", "CCCD 408C", "8C40 CDCC", "CDCC 8C40"),
    (50.0, "4248 0000", "0000 4248", "4842 0000", "0000 4842"),
    (19.5, "419C 0000", "0000 419C", "9C41 0000", "0000 9C41"),
    (23.5, "41BC 0000", "0000 41BC", "BC41 0000", "0000 BC41"),
    (3.6, "4066 6666", "6666 4066", "6640 6666", "6666 6640"),
    (123456.0, "47F1 2000", "2000 47F1", "F147 0020", "0020 F147"),
    (16777217.0, "4B80 0000", "0000 4B80", "804B 0000", "0000 804B"),
]


@pytest.mark.parametrize("row", BINARY32)
@pytest.mark.parametrize(("order", "column"), [*zip(Order, range(1, 5), strict=True)])
def test_binary32_stands_in_every_order(row, order, column):
    assert words(raw_encoder(point("float32", order=order))(row[0])) == row[column]


@pytest.mark.parametrize(
    ("value", "pattern"),
    [
        (math.inf, "7F80 0000"),
        (-math.inf, "FF80 0000"),
        (math.nan, "7FC0 0000"),
        (3.4028234663852886e38, "7F7F FFFF"),
        (1e300, "7F7F FFFF"),
        (-1e300, "FF7F FFFF"),
    ],
)
def test_binary32_ends_and_specials(value, pattern):
    assert words(raw_encoder(point("float32"))(value)) == pattern


# 8 bytes A..H of pi: IEEE 754 binary64 400921FB54442D18 (the widely published pattern).
@pytest.mark.parametrize(
    ("order", "pattern"),
    [
        ("ABCD", "4009 21FB 5444 2D18"),
        ("CDAB", "2D18 5444 21FB 4009"),
        ("BADC", "0940 FB21 4454 182D"),
        ("DCBA", "182D 4454 FB21 0940"),
    ],
)
def test_binary64_stands_in_every_order(order, pattern):
    assert words(raw_encoder(point("float64", order=order))(math.pi)) == pattern


# 20.9 in tenths is 209 = 00D1, in hundredths 2090 = 082A; -1 as int16 is FFFF (two's complement).
@pytest.mark.parametrize(
    ("kind", "more", "value", "pattern"),
    [
        ("int16", {"scale": 0.1}, 20.9, "00D1"),
        ("int16", {"scale": 0.01}, 20.9, "082A"),
        ("int16", {}, -1, "FFFF"),
        ("int16", {"order": "BADC"}, 0x1234, "3412"),
        ("int16", {"order": "CDAB"}, 0x1234, "1234"),
        ("uint16", {"scale": 0.5, "offset": -10}, 0, "0014"),
        ("int32", {}, -2, "FFFF FFFE"),
        ("uint32", {"order": "CDAB"}, 0x12345678, "5678 1234"),
        ("uint32", {"order": "BADC"}, 0x12345678, "3412 7856"),
        ("uint32", {"order": "DCBA"}, 0x12345678, "7856 3412"),
        ("uint64", {"order": "CDAB"}, 0x0123456789ABCDEF, "CDEF 89AB 4567 0123"),
        ("int64", {}, -(2**63), "8000 0000 0000 0000"),
        ("bcd16", {}, 1234, "1234"),
        ("bcd16", {"scale": 0.1}, 20.9, "0209"),
        ("bcd32", {"order": "CDAB"}, 12345678, "5678 1234"),
    ],
)
def test_integers_and_decimals_stand_as_they_should(kind, more, value, pattern):
    assert words(value_encoder(point(kind, **more))(value)) == pattern


@pytest.mark.parametrize(
    ("kind", "value", "pattern"),
    [
        ("int16", 40000, "7FFF"),
        ("int16", -40000, "8000"),
        ("uint16", -5, "0000"),
        ("uint16", 70000, "FFFF"),
        ("int32", 1e12, "7FFF FFFF"),
        ("uint32", 1e12, "FFFF FFFF"),
        ("bcd16", 12345, "9999"),
        ("bcd16", -1, "0000"),
        ("bcd32", 1e9, "9999 9999"),
        ("int16", math.inf, "7FFF"),
    ],
)
def test_a_value_beyond_the_type_is_held_at_its_end(kind, value, pattern):
    assert words(raw_encoder(point(kind))(value)) == pattern


@pytest.mark.parametrize(("value", "raw"), [(12.34, 123), (12.36, 124), (-12.36, -124)])
def test_integers_round_to_nearest(value, raw):
    encoded = value_encoder(point("int16", scale=0.1))(value)
    assert struct.unpack(">h", encoded)[0] == raw


@pytest.mark.parametrize(
    ("kind", "sentinel", "pattern"),
    [
        ("int16", -32768, "8000"),
        ("int16", 32768, "8000"),
        ("uint16", 65535, "FFFF"),
        ("uint32", 0xFFFF0001, "FFFF 0001"),
        ("float32", -999, "C479 C000"),
        ("bcd16", 9999, "9999"),
        ("bcd16", 0xFFFF, "FFFF"),
    ],
)
def test_sentinel_stands_as_raw_value(kind, sentinel, pattern):
    assert words(sentinel_bytes(point(kind, sentinel=sentinel, scale=0.1))) == pattern


def test_a_point_without_sentinel_has_none():
    assert sentinel_bytes(point("int16")) is None


@pytest.mark.parametrize(
    ("order", "pattern"),
    [("ABCD", "4E48 3300"), ("CDAB", "4E48 3300"), ("BADC", "484E 0033"), ("DCBA", "484E 0033")],
)
def test_first_character_stands_in_the_high_byte(order, pattern):
    assert words(text_bytes(point("string", length=2, order=order), "NH3")) == pattern


def test_text_is_cut_to_its_registers():
    assert text_bytes(point("string", length=2), "ammonia") == b"ammo"


LETTERS = {
    "int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "int64": "q", "uint64": "Q",
    "float32": "f", "float64": "d",
}  # fmt: skip


def independently(kind, order, data) -> float:
    """By `struct` and slices, beside the product's way."""
    pairs = [data[i : i + 2] for i in range(0, len(data), 2)]
    if order in ("BADC", "DCBA"):
        pairs = [pair[::-1] for pair in pairs]
    if order in ("CDAB", "DCBA"):
        pairs.reverse()
    return struct.unpack(">" + LETTERS[kind], b"".join(pairs))[0]


@given(
    st.sampled_from(sorted(LETTERS)),
    st.sampled_from(["ABCD", "CDAB", "BADC", "DCBA"]),
    st.floats(0, 60, width=32),
    st.sampled_from([1.0, 0.5, 0.01, 2.0]),
    st.sampled_from([0.0, -10.0]),
)
def test_encoded_value_decodes_back(kind, order, value, scale, offset):
    of = point(kind, order=order, scale=scale, offset=offset)
    data = value_encoder(of)(value)
    back = independently(kind, order, data) * scale + offset
    grain = value * 1e-6 + 1e-6 if kind.startswith("float") else scale / 2 + 1e-9
    assert abs(back - value) <= grain
    assert written_value(of, data) == pytest.approx(back, abs=1e-9)


@pytest.mark.parametrize(("data", "value"), [("0209", 20.9), ("02F9", math.nan)])
def test_written_decimals_are_digits_or_no_number(data, value):
    found = written_value(point("bcd16", scale=0.1), bytes.fromhex(data))
    assert found == pytest.approx(value, nan_ok=True)


def test_every_numeric_type_has_an_encoder():
    for kind in PointType:
        if kind not in (PointType.BIT, PointType.BIT_IN_WORD, PointType.STRING):
            assert len(raw_encoder(point(kind))(1)) == 2 * point(kind).width
