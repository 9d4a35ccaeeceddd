"""Times on the wire against a table worked out by hand from the serial-line specification."""

import pytest

from gaswitness_probe.wire_time import (
    broadcast_s,
    data_bytes,
    network_wire,
    serial_wire,
    t15_s,
    t35_s,
    wire_of,
)
from gaswitness_sitefile.link_address import SerialLine, parse_link
from gaswitness_sitefile.points import Table

# FC03/FC04, 8E1, t_server = 0. Worked out with t_char = 11 / baud, 8 characters of request, 5 + 2N
# of response, t1.5 and t3.5 counted up to 19200 and fixed above: Modbus over Serial Line V1.02,
# clauses 2.5.1 and 2.5.1.1. Milliseconds, rounded to 6 decimals.
# baud, registers, t_char, t1.5, t3.5, request, response, both frames, t_total, polls a second
TABLE = [
    (9600, 1, 1.145833, 1.718750, 4.010417, 9.166667, 8.020833, 17.187500, 25.208333, 39.669),
    (9600, 10, 1.145833, 1.718750, 4.010417, 9.166667, 28.645833, 37.812500, 45.833333, 21.818),
    (9600, 60, 1.145833, 1.718750, 4.010417, 9.166667, 143.229167, 152.395833, 160.416667, 6.234),
    (9600, 125, 1.145833, 1.718750, 4.010417, 9.166667, 292.187500, 301.354167, 309.375000, 3.232),
    (19200, 1, 0.572917, 0.859375, 2.005208, 4.583333, 4.010417, 8.593750, 12.604167, 79.339),
    (19200, 10, 0.572917, 0.859375, 2.005208, 4.583333, 14.322917, 18.906250, 22.916667, 43.636),
    (19200, 60, 0.572917, 0.859375, 2.005208, 4.583333, 71.614583, 76.197917, 80.208333, 12.468),
    (19200, 125, 0.572917, 0.859375, 2.005208, 4.583333, 146.093750, 150.677083, 154.687500, 6.465),
    (38400, 1, 0.286458, 0.750000, 1.750000, 2.291667, 2.005208, 4.296875, 7.796875, 128.257),
    (38400, 10, 0.286458, 0.750000, 1.750000, 2.291667, 7.161458, 9.453125, 12.953125, 77.201),
    (38400, 60, 0.286458, 0.750000, 1.750000, 2.291667, 35.807292, 38.098958, 41.598958, 24.039),
    (38400, 125, 0.286458, 0.750000, 1.750000, 2.291667, 73.046875, 75.338542, 78.838542, 12.684),
    (57600, 1, 0.190972, 0.750000, 1.750000, 1.527778, 1.336806, 2.864583, 6.364583, 157.119),
    (57600, 10, 0.190972, 0.750000, 1.750000, 1.527778, 4.774306, 6.302083, 9.802083, 102.019),
    (57600, 60, 0.190972, 0.750000, 1.750000, 1.527778, 23.871528, 25.399306, 28.899306, 34.603),
    (57600, 125, 0.190972, 0.750000, 1.750000, 1.527778, 48.697917, 50.225694, 53.725694, 18.613),
    (115200, 1, 0.095486, 0.750000, 1.750000, 0.763889, 0.668403, 1.432292, 4.932292, 202.746),
    (115200, 10, 0.095486, 0.750000, 1.750000, 0.763889, 2.387153, 3.151042, 6.651042, 150.352),
    (115200, 60, 0.095486, 0.750000, 1.750000, 0.763889, 11.935764, 12.699653, 16.199653, 61.730),
    (115200, 125, 0.095486, 0.750000, 1.750000, 0.763889, 24.348958, 25.112847, 28.612847, 34.949),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}-{row[1]}")
def test_every_row_of_the_table(row):
    baud, count, t_char, t15, t35, request, response, both, total, polls = row
    line = SerialLine(baud)
    wire = serial_wire(line)
    size = data_bytes(Table.HOLDING, count)
    found = [
        wire.byte_s,
        t15_s(line),
        t35_s(line),
        wire.request_s(),
        wire.response_s(size),
        wire.request_s() + wire.response_s(size),
        wire.total_s(size),
    ]
    assert [1000 * s for s in found] == pytest.approx(
        [t_char, t15, t35, request, response, both, total], abs=5.1e-7
    )
    assert 1 / wire.total_s(size) == pytest.approx(polls, abs=5.1e-4)


def test_exact_fractions_at_9600():
    """11/9600 s a character, 77/19200 s of silence; 263 characters for 125 registers."""
    wire = serial_wire(SerialLine(9600))
    assert wire.silence_s == pytest.approx(77 / 19200, rel=1e-12)
    assert wire.total_s(2 * 125) == pytest.approx(263 * 11 / 9600 + 2 * 77 / 19200, rel=1e-12)


def test_the_longest_frame_at_9600():
    """256 characters of 11 bits (V1.02 clause 2.5.1: the size of a frame) take 293.333 ms."""
    assert 1000 * serial_wire(SerialLine(9600)).response_s(251) == pytest.approx(293.333, abs=5e-4)


@pytest.mark.parametrize(("bits", "size"), [(1, 1), (8, 1), (9, 2), (16, 2), (17, 3), (2000, 250)])
def test_bits_are_read_eight_to_a_byte(bits, size):
    """V1.1b3 clauses 6.1 and 6.2: N = quantity / 8, and one more if a remainder is left."""
    assert data_bytes(Table.COIL, bits) == data_bytes(Table.DISCRETE_INPUT, bits) == size


def test_bit_reads_by_the_same_formula():
    """19 coils at 19200 8E1: (8 + 5 + 3) x 11 / 19200 + 2 x 38.5 / 19200 = 253 / 19200 s."""
    wire = serial_wire(SerialLine(19200))
    assert wire.total_s(data_bytes(Table.COIL, 19)) == pytest.approx(253 / 19200, rel=1e-12)


def test_registers_take_two_bytes():
    assert data_bytes(Table.INPUT, 125) == 250


@pytest.mark.parametrize(
    ("settings", "bits"),
    [("parity=even&stop=1", 11), ("parity=none&stop=2", 11), ("parity=none&stop=1", 10),
     ("parity=odd&stop=2", 12)],
)  # fmt: skip
def test_characters_have_the_bits_that_are_set(settings, bits):
    wire = wire_of(parse_link(f"rtu:///dev/ttyUSB0?baud=9600&{settings}"))
    assert wire.byte_s == pytest.approx(bits / 9600, rel=1e-12)
    assert wire.silence_s == pytest.approx(3.5 * bits / 9600, rel=1e-12)


def test_what_the_panel_takes_is_added_once():
    line = SerialLine(9600)
    more = serial_wire(line, answer_s=0.03).total_s(2) - serial_wire(line).total_s(2)
    assert more == pytest.approx(0.03, rel=1e-9)


def test_a_gap_runs_along_with_the_silence():
    wire = serial_wire(SerialLine(9600))  # t3.5 is 4.01 ms
    assert wire.busy_s(2, 0.001) == wire.total_s(2)
    assert wire.busy_s(2, 0.1) == pytest.approx(wire.exchange_s(2) + 0.1, rel=1e-12)


def test_on_a_network_bytes_are_next_to_nothing():
    wire = network_wire(answer_s=0.02)
    assert wire.exchange_s(2) == pytest.approx(0.025, abs=2e-4)
    assert 0 < wire.exchange_s(250) - wire.exchange_s(2) < 0.0005


def test_the_line_behind_a_converter_is_taken_for_a_slow_one():
    """9600, which every device has (V1.02 clause 3.2), and the network's 5 ms."""
    behind = wire_of(parse_link("rtu+tcp://192.0.2.1:4001"))
    assert behind.total_s(2) == pytest.approx(0.025_208_333 + 0.005, abs=1e-9)


def test_frames_over_a_network_are_as_long_as_they_are():
    """MBAP header of 7 bytes (Messaging guide V1.0b clause 3.1.3), a PDU of 5, or 2 + data."""
    mbap, rtu = wire_of(parse_link("tcp://192.0.2.1")), wire_of(parse_link("rtu+tcp://192.0.2.1"))
    assert (mbap.request_bytes, mbap.answer_bytes) == (12, 9)
    assert (rtu.request_bytes, rtu.answer_bytes) == (8, 5)
    assert mbap.silence_s == 0.0


def test_a_broadcast_waits_out_its_turnaround():
    """8 characters and 100 ms (V1.02 clause 2.4.1: 100 to 200 ms, nobody answers)."""
    assert broadcast_s(SerialLine(9600), 8) == pytest.approx(8 * 11 / 9600 + 0.1, rel=1e-12)
