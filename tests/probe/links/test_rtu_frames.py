"""RTU frames against published values and an unrelated CRC library."""

import pytest
from crccheck.crc import CrcModbus
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.rtu_frames import crc, due_length, find_reply, first_frame, framed, whole
from gaswitness_probe.rtu_framing import silence_s
from gaswitness_sitefile.link_address import SerialLine

# "02 07": serial-line specification V1.02 appendix B, trace of the register.
# ASCII "123456789": agreed by crccheck, crcmod, anycrc and fastcrc.
# "01 03 00 02 00 01": a frame published on the web (secondary source).
# The others: examples of the Application Protocol Specification V1.1b3, clauses 6.1 to 6.8 and 7,
# their CRC calculated in two unrelated ways.
CRCS = [
    ("02 07", 0x1241),
    (b"123456789".hex(), 0x4B37),
    ("01 03 00 00 00 01", 0x0A84),
    ("01 03 00 00 00 0A", 0xCDC5),
    ("01 04 00 08 00 01", 0x08B0),
    ("01 04 02 00 0A", 0x3739),
    ("11 03 00 6B 00 03", 0x8776),
    ("01 03 06 02 2B 00 00 00 64", 0x7A05),
    ("11 01 00 13 00 13", 0x928E),
    ("11 06 00 01 00 03", 0x9B9A),
    ("01 05 00 AC FF 00", 0x1B4C),
    ("01 08 00 00 A5 37", 0x8DDA),
    ("11 83 02", 0x34C1),
    ("01 83 02", 0xF1C0),
    ("01 03 00 02 00 01", 0xCA25),
]


@pytest.mark.parametrize(("data", "value"), CRCS)
def test_crc_is_as_published(data, value):
    assert crc(bytes.fromhex(data)) == value


def test_crc_goes_low_byte_first():
    # V1.02 clause 2.5.1.2 and figure 30: 02 07 41 12
    assert framed(0x02, b"\x07") == bytes.fromhex("02 07 41 12")
    assert framed(0x11, bytes.fromhex("03 00 6B 00 03")).hex() == "1103006b00037687"


@given(st.binary(min_size=1, max_size=254))
def test_crc_agrees_with_an_unrelated_library_and_leaves_no_residue(data):
    assert crc(data) == CrcModbus.calc(data)
    assert crc(framed(data[0], data[1:])) == 0


@given(st.binary(min_size=2, max_size=40), st.integers(0, 1000), st.integers(1, 7))
def test_up_to_seven_flipped_bits_in_a_row_never_pass(data, at, flips):
    # a 16-bit CRC finds every burst of up to 16 bits
    frame = framed(data[0], data[1:])
    number = int.from_bytes(frame, "big") ^ (((1 << flips) - 1) << at % (8 * len(frame) - 7))
    assert not whole(number.to_bytes(len(frame), "big"))


REQUEST = framed(1, bytes.fromhex("03 0000 0002"))
REPLY = framed(1, bytes.fromhex("03 04 0064 0065"))


def test_lengths_due_are_those_of_the_specification():
    assert due_length(REQUEST) == 9
    assert due_length(framed(1, bytes.fromhex("01 0013 0013"))) == 8
    assert due_length(framed(1, bytes.fromhex("2B 0E 01 00"))) is None


@pytest.mark.parametrize("noise", ["", "00", "FF FF", "01", "01 03", "01 03 04", "55 01 83 02"])
def test_reply_is_found_behind_noise(noise):
    data = bytes.fromhex(noise) + REPLY
    begin = len(bytes.fromhex(noise))
    if noise == "01 03 04":
        # looks like the beginning of the reply itself: only what comes later can tell
        assert find_reply(data[: len(REPLY) - 1], REQUEST) is None
    assert find_reply(data, REQUEST) == (begin, begin + 9)


def test_replies_of_other_shape_are_not_found():
    for other in (
        "01 03 02 0064",
        "01 03 06 0064 0065 0066",
        "02 03 04 0064 0065",
        "01 04 02 0064",
    ):
        body = bytes.fromhex(other)
        frame = framed(body[0], body[1:])
        assert find_reply(frame, REQUEST) is None
        assert first_frame(frame) == len(frame)


def test_what_looks_like_an_exception_inside_a_reply_that_is_still_coming_is_data():
    inner = framed(1, b"\x83\x02")
    request = framed(1, bytes.fromhex("03 0000 0004"))
    reply = framed(1, bytes.fromhex("03 08") + inner + b"\x00\x00\x00")
    assert find_reply(reply[:9], request) is None
    assert find_reply(reply, request) == (0, 13)


@pytest.mark.parametrize(
    ("line", "expected_s"),
    [
        # V1.02 clause 2.5.1.1: 3.5 characters of 11 bits; 1.750 ms above 19200 baud
        (SerialLine(9600), 77 / 19200),
        (SerialLine(19200), 0.002005208),
        (SerialLine(38400), 0.001750),
        (SerialLine(115200), 0.001750),
        (SerialLine(9600, "none", 1), 0.0036458333),
    ],
)
def test_silence_between_frames_is_three_and_a_half_characters(line, expected_s):
    assert silence_s(line) == pytest.approx(expected_s, rel=1e-6)
