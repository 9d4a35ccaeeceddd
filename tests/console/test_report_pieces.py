"""Pieces of a report by themselves: bytes worked out by hand, hex marked, samples that stand alone,
verdicts of several issues."""

import math
import re
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client.mixin import ModbusClientMixin

from gaswitness.chart import State
from gaswitness.chart_svg import chart_svg
from gaswitness.report_blocks import plain_text
from gaswitness.report_chart import Event, event_charts
from gaswitness.report_frame import Asked, asked_in, marked_hex, place_in
from gaswitness.report_items import items_of
from gaswitness.report_points import value_words
from gaswitness.report_worked import worked_out
from gaswitness_probe.applied import Applied, GasApplied
from gaswitness_probe.decode import decode
from gaswitness_probe.expect import Expectations
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.signal import Window
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.points import Order, Point, Table


def point(kind, **more):
    facts = {"name": "p", "table": "holding register", "address": 0, "type": kind, "shows": "x.y"}
    return Point.model_validate({**facts, **more})


WORKED = [
    # 100 is 1.5625 x 2^6 in binary32: IEEE 754-2019 clause 3.4 applied by hand
    (point("float32"), (0x42C8, 0x0000), "(1 + 4718592 / 2^23) x 2^6 = 100"),
    (
        point("float32", order="CDAB"),
        (0x0000, 0x42C8),
        "order CDAB: last register first: 42C8 0000",
    ),
    # the largest and smallest numbers of two's complement in 16 bits
    (point("int16"), (0x8000,), "32768 - 2^16 = -32768"),
    (point("int16", scale=0.1, unit="ppm"), (0x00EB,), "235 x 0.1 = 23.5 ppm"),
    (point("uint16", scale=0.01, offset=-5.0), (1000,), "1000 x 0.01 + -5 = 5"),
    (point("bcd16"), (0x1234,), "the digits read 1234, so 1234"),
    (point("int16", sentinel=-32768), (0x8000,), "that is the sentinel"),
    (point("float32"), (0x7FC0, 0x0000), "NaN"),
    (point("enumeration", codes={2: "A1"}), (2,), "0x0002 = 2: A1"),
    (point("bit in word", bit=9), (0x0200,), "bit 9 of 0x0200: 1, so on"),
    (point("bit field", bits={0: "a.A1", 3: "b.A1"}), (0x0008,), "on: b.A1; 1 of 2 named bits off"),
    (point("string", length=2), (0x4744, 0x5037), "\u201cGDP7\u201d"),
    (point("uint16", order="BADC"), (0x3412,), "bytes of each register swapped: 1234"),
]


@pytest.mark.parametrize(("found", "raw", "said"), WORKED)
def test_bytes_are_worked_out_as_by_hand(found, raw, said):
    assert any(said in step for step in worked_out(found, raw))


TYPES = {
    "int16": ModbusClientMixin.DATATYPE.INT16,
    "uint16": ModbusClientMixin.DATATYPE.UINT16,
    "int32": ModbusClientMixin.DATATYPE.INT32,
    "uint32": ModbusClientMixin.DATATYPE.UINT32,
    "int64": ModbusClientMixin.DATATYPE.INT64,
    "float32": ModbusClientMixin.DATATYPE.FLOAT32,
    "float64": ModbusClientMixin.DATATYPE.FLOAT64,
}


@given(st.sampled_from(sorted(TYPES)), st.data())
def test_bytes_come_to_what_another_library_reads(kind, data):
    """pymodbus reads registers of the order ABCD; its value is the last one worked out."""
    found = point(kind)
    words = st.lists(st.integers(0, 0xFFFF), min_size=found.width, max_size=found.width)
    raw = tuple(data.draw(words))
    theirs = ModbusClientMixin.convert_from_registers(list(raw), TYPES[kind])
    last = worked_out(found, raw)[-1]
    if isinstance(theirs, float) and not math.isfinite(theirs):
        assert "no value" in last or "infinite" in last
    else:
        assert last == f"value {theirs:.9g}"


@given(
    st.sampled_from(sorted(Order)),
    st.sampled_from(["int16", "uint32", "float32", "float64", "int64"]),
    st.sampled_from([(1.0, 0.0), (0.1, 0.0), (0.5, -40.0)]),
    st.data(),
)
def test_bytes_come_to_what_the_probe_decoded(order, kind, scaling, data):
    scale, offset = scaling
    found = point(kind, order=order, scale=scale, offset=offset)
    words = st.lists(st.integers(0, 0xFFFF), min_size=found.width, max_size=found.width)
    raw = tuple(data.draw(words))
    value = decode(found, raw)
    last = worked_out(found, raw)[-1]
    if value is None or not math.isfinite(value):
        assert "no value" in last or "infinite" in last
    else:
        number = float(last.removeprefix("value ").rpartition("= ")[2])
        assert number == pytest.approx(value, rel=1e-8, abs=1e-300)


@pytest.mark.parametrize(
    ("value", "decimals", "said"),
    [
        (15000.0, 4, "15000 ppm"),
        (0.0334467756, 4, "0.0334 ppm"),
        (-0.00001, 4, "0 ppm"),
        (0.0334467756, None, "0.0334467756 ppm"),
        (None, 4, "no value"),
    ],
)
def test_values_are_written_as_people_write_them(value, decimals, said):
    assert value_words(point("float32", unit="ppm"), value, decimals) == said


def test_a_request_is_read_as_the_specification_has_it():
    """The example of MODBUS Application Protocol V1.1b3 clause 6.3: registers 108 to 110."""
    pdu = bytes.fromhex("03 00 6B 00 03")
    over_tcp = struct.pack(">HHHB", 1, 0, 6, 17) + pdu
    asked = asked_in(over_tcp, rtu=False)
    assert asked == Asked(Table.HOLDING, 107, 3)
    assert asked_in(b"\x11" + pdu + b"\x76\x87", rtu=True) == asked
    # its answer: 03 06 02 2B 00 00 00 64; register 110 holds 100
    answer = struct.pack(">HHHB", 1, 0, 9, 17) + bytes.fromhex("03 06 02 2B 00 00 00 64")
    first, count = place_in(asked, point("uint16", address=109), rtu=False)
    assert answer[first : first + count] == bytes([0, 100])


def test_marked_bytes_stand_in_brackets_and_nothing_is_lost():
    data = bytes(range(40))
    assert plain_text(marked_hex(data[:4], [(1, 2)])) == "00 [01 02] 03"
    assert plain_text(marked_hex(data[:4], [(0, 1), (1, 1)])) == "[00] [01] 02 03"
    short = plain_text(marked_hex(data, [(30, 2)], around=3))
    assert short == "00 01 02 \u2026 24 more \u2026 1B 1C 1D [1E 1F] 20 21 22 23 24 25 26 27"
    assert plain_text(marked_hex(b"", [])) == "nothing"


@given(st.binary(min_size=1, max_size=60), st.data())
def test_bytes_with_marks_are_the_bytes(data, drawn):
    first = drawn.draw(st.integers(0, len(data) - 1))
    count = drawn.draw(st.integers(1, len(data) - first))
    text = plain_text(marked_hex(data, [(first, count)]))
    assert bytes.fromhex(text.replace("[", "").replace("]", "")) == data
    assert (
        text[text.index("[") + 1 : text.index("]")] == data[first : first + count].hex(" ").upper()
    )


def history(name, *runs):
    """Runs of (value, first, last): a sample takes 20 ms, and one comes every half second."""
    kept = tuple(
        Run(value, (int(value),), Seen(first, first + 0.02), Seen(last, last + 0.02))
        for value, first, last in runs
    )
    return PointHistory(name, kept)


def view_of(site, *histories):
    named = {one.name: one for one in histories}
    return Expectations(PanelView(site, named, span=Window(0.0, 600.0)))


@pytest.fixture
def flagged(site):
    flag = {
        "name": "AT-101 A1",
        "table": "discrete input",
        "address": 0,
        "type": "bit",
        "shows": "AT-101.A1",
    }
    return site.model_copy(update={"points": (*site.points, Point.model_validate(flag))})


def test_an_alarm_of_one_sample_stays_in_the_drawing(flagged):
    """One sample in ten minutes, 0.02 s wide, of which the picture has under a thousandth."""
    flags = history("AT-101 A1", (False, 0.0, 299.5), (True, 300.0, 300.0), (False, 300.5, 600.0))
    reading = history("AT-101 reading", (0, 0.0, 299.5), (25, 300.0, 300.0), (0, 300.5, 600.0))
    expected = view_of(flagged, flags, reading)
    (chart,) = event_charts(expected, Event("T-1", 0.0, 600.0))
    strip = chart.strips[0]
    bar = next(bar for bar in strip.bars if bar.label == "AT-101 A1")
    (lit,) = [one for one in bar.stretches if one.state is State.ON]
    assert lit.from_s <= 300.0 <= lit.to_s
    assert lit.text == "one sample"
    unknown = [one for one in bar.stretches if one.state is State.UNKNOWN]
    assert any(one.to_s == lit.from_s for one in unknown)
    assert any(one.from_s == lit.to_s for one in unknown)
    svg = chart_svg(chart)
    assert re.search(r"AT-101 A1, AT-101\.A1 as seen on, (4:59|5:00)", svg)
    curve = strip.plot.curves[0]
    assert max(value for _, value in curve.points if value == value) == 25  # noqa: PLR0124  NaN


def test_a_silence_is_a_gap_and_not_a_line(flagged):
    reading = history("AT-101 reading", (5, 0.0, 100.0), (6, 200.0, 300.0))
    flags = history("AT-101 A1", (True, 0.0, 100.0), (True, 200.0, 300.0))
    (chart,) = event_charts(view_of(flagged, reading, flags), Event("T-1", 0.0, 300.0))
    points = chart.strips[0].plot.curves[0].points
    assert any(100.0 < at < 200.0 or math.isnan(value) for at, value in points)
    bar = chart.strips[0].bars[0]
    dark = [one for one in bar.stretches if one.state is State.UNKNOWN]
    assert any(one.from_s < 110.0 and one.to_s > 195.0 for one in dark)


def test_gas_that_is_changed_on_its_way_goes_on_from_where_it_was(site):
    """From clean to 50 over 100 s, stopped after 40 s: at 20, by proportion."""
    applied = [
        Applied(10.0, 10.0, GasApplied("AT-101", 50.0, 100.0, 0.0, 50.0)),
        Applied(50.0, 50.0, GasApplied("AT-101", 0.0, 0.0, 0.0, 20.0)),
    ]
    reading = history("AT-101 reading", (0, 0.0, 200.0))
    expected = Expectations(
        PanelView(site, {"AT-101 reading": reading}, applied, span=Window(0.0, 200.0))
    )
    (chart,) = event_charts(expected, Event("T-1", 30.0, 100.0))
    gas = next(curve for curve in chart.strips[0].plot.curves if curve.applied)
    assert gas.points[0] == (30.0, 10.0)
    assert (50.0, 20.0) in gas.points
    assert gas.points[-1] == (100.0, 0.0)


def verdict(outcome, *aspects):
    found = tuple(Aspect(name, which, because=f"{name} {which}") for name, which in aspects)
    return Verdict("level/AT-1.A1", Kind.LEVEL, outcome, because=str(outcome), aspects=found)


BAD, GOOD, OPEN, NOT = Outcome.FAILED, Outcome.PROVEN, Outcome.INCONCLUSIVE, Outcome.NOT_RUN


@pytest.mark.parametrize(
    ("before", "after", "outcome", "issue"),
    [
        # mended, and tested again
        (verdict(BAD, ("setpoint", BAD)), verdict(GOOD, ("setpoint", GOOD)), GOOD, "2"),
        # tested again, and failed now
        (verdict(GOOD, ("setpoint", GOOD)), verdict(BAD, ("setpoint", BAD)), BAD, "2"),
        # not tested again: it stays as it was
        (verdict(BAD, ("setpoint", BAD)), verdict(NOT), BAD, "1"),
        # another side of it tested again: the failure is not forgotten
        (verdict(BAD, ("reset", BAD)), verdict(GOOD, ("setpoint", GOOD)), BAD, "2"),
        (verdict(BAD, ("reset", BAD)), verdict(GOOD, ("setpoint", GOOD), ("reset", NOT)), BAD, "2"),
        (verdict(OPEN, ("reset", OPEN)), verdict(GOOD, ("setpoint", GOOD)), OPEN, "2"),
        (verdict(GOOD, ("reset", GOOD)), verdict(GOOD, ("setpoint", GOOD)), GOOD, "2"),
    ],
)
def test_the_newest_verdict_counts_side_by_side(before, after, outcome, issue):
    (found,) = items_of([("1", [before]), ("2", [after])])
    assert (found.outcome, found.issue) == (outcome, issue)
    assert [one.issue for one in found.history] == ["1", "2"]
    if found.outcome is BAD and issue == "2" and after.outcome is GOOD:
        assert found.because == "reset, not tested again since: reset failed"
