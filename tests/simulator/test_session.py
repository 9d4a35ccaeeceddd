"""Frames in and out of a connection: MODBUS Messaging on TCP/IP Implementation Guide V1.0b."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.session import Session
from gaswitness_simulator.stimulus import Power

# Clause 4.4.1: "read register #5", transaction 1501, unit FF.
EXAMPLE = "15 01 00 00 00 06 FF 03 00 04 00 01"


@pytest.fixture(scope="session")
def served(make_site, a_point):
    def build(unit=1):
        site = make_site(
            points=[a_point("p", "holding register", 4, "uint16", "constant", value=5)]
        )
        return VirtualDevice(VirtualPanel(site), unit=unit)

    return build


def exchange(session, text, at_s=1.0):
    return [out.data.hex(" ").upper() for out in session.receive(bytes.fromhex(text), at_s)]


def test_the_guides_request_is_answered_to_its_transaction_and_unit(served):
    assert exchange(Session(served()), EXAMPLE) == ["15 01 00 00 00 05 FF 03 02 00 05"]


# Open Modbus/TCP Specification 1.0 (1999), clause 4 (read in translation): unit 9, offset 4,
# value 5.
def test_the_older_example_is_answered_byte_for_byte(served):
    session = Session(served(unit=9))
    assert exchange(session, "00 00 00 00 00 06 09 03 00 04 00 01") == [
        "00 00 00 00 00 05 09 03 02 00 05"
    ]


@pytest.mark.parametrize(("unit", "answered"), [(1, True), (0, True), (255, True), (2, False)])
def test_units_that_mean_the_panel_are_answered(served, unit, answered):
    sent = exchange(Session(served()), f"00 07 00 00 00 06 {unit:02X} 03 00 04 00 01")
    assert sent == ([f"00 07 00 00 00 05 {unit:02X} 03 02 00 05"] if answered else [])


def test_a_frame_of_another_protocol_is_passed_over_in_silence(served):
    session = Session(served())
    assert exchange(session, "00 01 00 01 00 06 01 03 00 04 00 01" + EXAMPLE) == [
        "15 01 00 00 00 05 FF 03 02 00 05"
    ]


@pytest.mark.parametrize("length", ["00 00", "00 01", "00 FF", "FF FF"])
def test_an_absurd_length_closes_after_the_good_requests(served, length):
    sent = Session(served()).receive(
        bytes.fromhex(EXAMPLE + f"00 02 00 00 {length} 01 03 00 04 00 01"), 1.0
    )
    assert [(bool(out.data), out.close) for out in sent] == [(True, False), (False, True)]


def test_the_longest_frame_is_read(served):
    frame = "00 01 00 00 00 FE 01 63" + "00" * 252
    assert exchange(Session(served()), frame) == ["00 01 00 00 00 03 01 E3 01"]


@given(st.lists(st.integers(1, 60), max_size=30), st.integers(1, 5))
def test_answers_do_not_depend_on_how_bytes_come(served, sizes, count):
    frames = b"".join(
        n.to_bytes(2, "big") + bytes.fromhex("0000 0006 01 03 0004 0001") for n in range(count)
    )
    session, sent, at = Session(served()), [], 0
    for size in [*sizes, len(frames)]:
        sent += session.receive(frames[at : at + size], 1.0)
        at += size
    assert [out.data.hex() for out in sent] == [
        f"{n:04x}00000005010302" + "0005" for n in range(count)
    ]


@given(st.binary(max_size=300))
def test_no_bytes_break_a_session(served, data):
    for out in Session(served()).receive(data, 1.0):
        assert out.close or len(out.data) >= 9


def test_without_power_there_is_silence_and_then_the_old_connection_is_gone(served):
    device = served()
    before = Session(device)
    device.panel.apply(Power(on=False), 1.0)
    assert exchange(before, EXAMPLE, 2.0) == []
    during = Session(device)
    assert exchange(during, EXAMPLE, 2.0) == []
    device.panel.apply(Power(on=True), 3.0)
    assert before.receive(bytes.fromhex(EXAMPLE), 9.0) == [Outgoing(0.0, b"", close=True)]
    assert exchange(during, EXAMPLE, 9.0) == ["15 01 00 00 00 05 FF 03 02 00 05"]
    assert exchange(Session(device), EXAMPLE, 9.0) == ["15 01 00 00 00 05 FF 03 02 00 05"]
