"""RTU frames: MODBUS over Serial Line V1.02, clause 2.5.1 and appendix B."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer.rtu import FramerRTU

from gaswitness_simulator.rtu import RtuReader, crc16, rtu_framed

READ = bytes.fromhex("01 03 00 00 00 0A C5 CD")
OTHER = bytes.fromhex("01 04 00 08 00 01 B0 08")

# Whole frames. CRC of 02 07: V1.02 appendix B. 01 03 00 02: a published frame. The rest: computed
# by crccheck 1.3.1 over the examples of V1.1b3 clause 6, unit 1 or 17.
FRAMES = [
    "02 07 41 12",
    "01 03 00 00 00 01 84 0A",
    "01 03 00 00 00 0A C5 CD",
    "01 04 00 08 00 01 B0 08",
    "01 04 02 00 0A 39 37",
    "11 03 00 6B 00 03 76 87",
    "01 03 06 02 2B 00 00 00 64 05 7A",
    "11 01 00 13 00 13 8E 92",
    "11 06 00 01 00 03 9A 9B",
    "01 05 00 AC FF 00 4C 1B",
    "01 08 00 00 A5 37 DA 8D",
    "11 83 02 C1 34",
    "01 83 02 C0 F1",
    "01 03 00 02 00 01 25 CA",
]


@pytest.mark.parametrize("text", FRAMES)
def test_published_frames_are_made_byte_for_byte(text):
    frame = bytes.fromhex(text)
    assert rtu_framed(frame[0], frame[1:-2]) == frame
    assert crc16(frame) == 0


def test_the_check_string_of_crc_catalogues():
    # crccheck 1.3.1, crcmod 1.7, anycrc 2.1.0 and fastcrc 0.5.0 agree on CRC-16/MODBUS.
    assert crc16(b"123456789") == 0x4B37


@given(st.binary(max_size=300))
def test_the_crc_is_that_of_an_unrelated_library(data):
    # pymodbus gives it with its bytes as on the wire.
    assert crc16(data).to_bytes(2, "little") == FramerRTU.compute_CRC(data).to_bytes(2, "big")


def heard(*parts, units=(1, 17), silence=True):
    """Frames, as they are found while the parts come, then in the silence after them."""
    reader = RtuReader(units)
    frames = [one.frame for part in parts for one in reader.feed(bytes(part))]
    return frames + ([one.frame for one in reader.silence()] if silence else [])


@pytest.mark.parametrize(
    "noise",
    ["00", "FF", "01", "01 03", "55 AA", "01 03 00 00 00", "01 10 00 00 00 7B F6", "11 14 F5 06",
     "01 03 00 00 00 0A C5 CC", "01 63 00", "F8 03 00 00 00 01", "00 05 00 AC FF 00 00"],
)  # fmt: skip
def test_a_frame_after_noise_is_found(noise):
    assert heard(bytes.fromhex(noise) + READ) == [READ]
    assert heard(READ + bytes.fromhex(noise) + OTHER) == [READ, OTHER]
    assert heard(bytes.fromhex(noise), READ, OTHER) == [READ, OTHER]


@given(st.binary(max_size=40), st.lists(st.integers(1, 30), max_size=8))
def test_frames_are_found_between_any_noise_however_bytes_come(noise, sizes):
    stream, parts = READ + noise + OTHER, []
    for size in [*sizes, len(stream)]:
        parts.append(stream[:size])
        stream = stream[size:]
    found = heard(*parts)
    assert found[0] == READ
    assert found[-1] == OTHER


def test_noise_is_told_and_a_clean_frame_is_not_blamed():
    reader = RtuReader([1])
    found = list(reader.feed(READ)) + list(reader.feed(b"\x00\x7f" + READ + OTHER))
    assert [one.after_noise for one in found] == [False, True, False]


def test_a_frame_within_the_data_of_another_is_not_taken_for_one():
    # Write 4 registers whose contents are a whole request of function 06.
    inner = rtu_framed(1, bytes.fromhex("06 0001 0003"))
    outer = rtu_framed(1, bytes.fromhex("10 0000 0004 08") + inner)
    assert heard(outer[:20], outer[20:], silence=False) == [outer]


def test_a_request_of_a_length_that_no_function_says_ends_with_silence():
    unknown = rtu_framed(1, bytes.fromhex("63 01 02 03"))
    short = rtu_framed(1, bytes.fromhex("03 0000"))
    for frame in (unknown, short):
        assert heard(frame, silence=False) == []
        assert heard(frame) == [frame]


def test_a_request_of_unknown_length_with_another_at_its_heels_is_found_too():
    unknown = rtu_framed(1, bytes.fromhex("63 01 02 03"))
    assert heard(unknown + READ) == [unknown, READ]


def test_the_answer_of_a_unit_that_is_not_ours_is_a_frame_and_no_noise():
    answer = bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
    reader = RtuReader([17])
    found = list(reader.feed(answer + bytes.fromhex("11 03 00 6B 00 03 76 87")))
    assert [(one.unit, one.after_noise) for one in found] == [(1, False), (17, False)]


def test_what_will_never_be_whole_is_given_up_once():
    reader = RtuReader([1])
    assert list(reader.feed(READ[:5])) == []
    assert reader.waits
    assert reader.give_up()
    assert not reader.give_up()
    assert [one.frame for one in reader.feed(READ)] == [READ]


@given(st.lists(st.binary(max_size=300), max_size=5))
def test_no_bytes_break_a_reader_and_it_never_hoards(parts):
    reader = RtuReader([1, 17])
    for part in parts:
        list(reader.feed(part))
        assert len(reader._waiting) < 256 + 4
    list(reader.silence())
