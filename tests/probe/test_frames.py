"""Frames against the worked examples of the Modbus Application Protocol Specification V1.1b3 and of
the Messaging on TCP/IP Implementation Guide V1.0b."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.deviation import Deviation
from gaswitness_probe.frames import (
    Adu,
    Stream,
    check_reply,
    encode,
    identification_request,
    parse_identification,
    read_request,
)
from gaswitness_sitefile.points import Table


def pdu(text):
    return bytes.fromhex(text)


# V1.1b3 clauses 6.1 to 6.4: request and reply of each read
EXAMPLES = [
    (Table.COIL, 0x13, 0x13, "01 00 13 00 13", "01 03 CD 6B 05"),
    (Table.DISCRETE_INPUT, 0xC4, 0x16, "02 00 C4 00 16", "02 03 AC DB 35"),
    (Table.HOLDING, 0x6B, 3, "03 00 6B 00 03", "03 06 02 2B 00 00 00 64"),
    (Table.INPUT, 8, 1, "04 00 08 00 01", "04 02 00 0A"),
]


@pytest.mark.parametrize(("table", "address", "count", "request_hex", "reply"), EXAMPLES)
def test_reads_are_the_worked_examples(table, address, count, request_hex, reply):
    assert read_request(table, address, count) == pdu(request_hex)
    assert check_reply(pdu(request_hex), pdu(reply)) == (None, None, None)


def test_identification_request_is_the_worked_example():
    assert identification_request(1, 0) == pdu("2B 0E 01 00")  # V1.1b3 clause 6.21


def test_whole_frame_is_the_messaging_guides():
    # Messaging guide V1.0b clause 4.4.1: read register 5 of unit FF
    assert encode(0x1501, 0xFF, read_request(Table.HOLDING, 4, 1)) == pdu(
        "15 01 00 00 00 06 FF 03 00 04 00 01"
    )


def test_exception_is_the_worked_example():
    # V1.1b3 clause 7: coil at address 04A1 absent
    assert check_reply(pdu("01 04 A1 00 01"), pdu("81 02")).exception_code == 2


READ_3 = pdu("03 00 6B 00 03")


@pytest.mark.parametrize(
    ("request_pdu", "reply", "deviation"),
    [
        (READ_3, "04 06 02 2B 00 00 00 64", Deviation.WRONG_FUNCTION),
        (READ_3, "84 02", Deviation.WRONG_FUNCTION),
        (READ_3, "03 04 02 2B 00 00", Deviation.WRONG_BYTE_COUNT),
        (READ_3, "03 08 02 2B 00 00 00 64 00 00", Deviation.WRONG_BYTE_COUNT),
        (READ_3, "03 03 02 2B 00 00 00 64", Deviation.WRONG_BYTE_COUNT),
        (READ_3, "03 06 02 2B 00 00 00", Deviation.TRUNCATED),
        (READ_3, "03 06 02 2B 00 00 00 64 00", Deviation.TOO_LONG),
        (READ_3, "03", Deviation.TRUNCATED),
        (READ_3, "83", Deviation.MALFORMED_EXCEPTION),
        (READ_3, "83 02 00", Deviation.MALFORMED_EXCEPTION),
        (pdu("2B 0E 01 00"), "2B 0E 01 01 00 00 01 00 05 41", Deviation.MALFORMED_IDENTIFICATION),
        (pdu("2B 0E 01 00"), "2B 0E 02 01 00 00 00", Deviation.MALFORMED_IDENTIFICATION),
        (pdu("2B 0E 01 00"), "2B 0E 01 07 00 00 00", Deviation.MALFORMED_IDENTIFICATION),
        (pdu("2B 0E 01 00"), "2B 0D 01 01 00 00 00", Deviation.MALFORMED_IDENTIFICATION),
        (pdu("2B 0E 01 00"), "2B 0E 01 01 7F 00 00", Deviation.MALFORMED_IDENTIFICATION),
    ],
)
def test_deviating_reply_is_named(request_pdu, reply, deviation):
    checked = check_reply(request_pdu, pdu(reply))
    assert checked.problem.deviation is deviation
    assert checked.problem.raw == pdu(reply)


def test_code_outside_the_table_is_noted_not_refused():
    checked = check_reply(READ_3, pdu("83 07"))  # 07 is not in V1.1b3 clause 7
    assert (checked.problem, checked.exception_code) == (None, 7)
    assert checked.note.deviation is Deviation.UNKNOWN_EXCEPTION


def test_padding_bits_that_are_set_are_noted():
    checked = check_reply(pdu("01 00 13 00 13"), pdu("01 03 CD 6B 0D"))
    assert checked.problem is None
    assert checked.note.deviation is Deviation.PADDING_NOT_ZERO


def test_identification_is_read():
    # V1.1b3 clause 6.21, with the length of "Product code XX" mended (the document prints 0D)
    reply = (
        pdu("2B 0E 01 01 00 00 03 00 16")
        + b"Company identification"
        + pdu("01 0F")
        + b"Product code XX"
        + pdu("02 05")
        + b"V2.11"
    )
    found = parse_identification(reply)
    assert found.objects == {0: b"Company identification", 1: b"Product code XX", 2: b"V2.11"}
    assert not found.more_follows


def test_object_count_off_as_in_the_documents_second_example_is_noted():
    checked = check_reply(pdu("2B 0E 01 00"), pdu("2B 0E 01 01 FF 02 03 00 01 41 01 01 42"))
    assert checked.problem is None
    assert "says 3 objects, carries 2" in checked.note.detail


FRAME = pdu("00 01 00 00 00 05 09 03 02 00 05")


def test_frame_is_cut_out_of_merged_segments():
    stream = Stream()
    stream.feed(FRAME + FRAME[:4])
    assert stream.take() == Adu(1, 9, pdu("03 02 00 05"), FRAME)
    assert stream.take() is None
    stream.feed(FRAME[4:])
    assert stream.take().raw == FRAME


@given(st.lists(st.integers(1, 5), min_size=1, max_size=12))
def test_any_split_gives_the_same_frames(sizes):
    whole = FRAME * 2
    stream = Stream()
    taken = []
    at = 0
    for size in [*sizes, len(whole)]:
        stream.feed(whole[at : at + size])
        at += size
        while (found := stream.take()) is not None:
            taken.append(found.raw)
    assert taken == [FRAME, FRAME]


@pytest.mark.parametrize(
    ("data", "deviation"),
    [
        ("48 54 54 50 2F 31 2E", Deviation.NOT_MODBUS),  # "HTTP/1."
        ("00 01 00 00 00 FF 01", Deviation.WRONG_LENGTH),  # 254 is the most
        ("00 01 00 00 00 01 01", Deviation.WRONG_LENGTH),  # no function
        ("00 01 00 01 00 03 01 83 02", Deviation.WRONG_PROTOCOL),
    ],
)
def test_headers_that_cannot_be_are_named(data, deviation):
    stream = Stream()
    stream.feed(pdu(data))
    assert stream.take().deviation is deviation
