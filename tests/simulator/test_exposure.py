"""Averages of exposure, against the worked examples of EH40/2005, 4th edition 2020, Calculation
methods, paragraphs 3 to 7, and its rule that any 15 minutes count.
"""

import struct

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.exposure import SAMPLE_S, ExposureState
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, GasTo, Inhibit, Power, Step
from gaswitness_sitefile.gases import eh40_rounded


def after(periods, limits):
    """The state after (reading, hours) periods, sampled as the panel samples."""
    state, number = ExposureState.of(limits), 0
    for reading, hours in periods:
        for _ in range(round(hours * 3600 / SAMPLE_S)):
            state.take(reading, number * SAMPLE_S)
            number += 1
    return state


# Example: periods of (mg/m3, hours), result as printed, result exactly.
EXAMPLES = {
    1: ([(0.12, 7 + 1 / 3), (0, 2 / 3)], 0.11, 0.110),
    2: ([(0.15, 8)], 0.15, 0.15),
    # 0800-1030, 1045-1245, 1330-1530, 1545-1715, breaks free of exposure
    3: (
        [(0.32, 2.5), (0, 0.25), (0.07, 2), (0, 0.75), (0.20, 2), (0, 0.25), (0.10, 1.5)],
        0.19,
        0.18625,
    ),
    # 2200-2400, 0000-0100 off, 0100-0400 part: two hours at each, the rest free
    4: ([(0.10, 2), (0, 1), (0.21, 2), (0, 3)], 0.078, 0.0775),
    5: ([(4, 12)], 6, 6.0),
}


@pytest.mark.parametrize("number", EXAMPLES)
def test_long_term_average_is_that_of_the_worked_example(number):
    periods, printed, exact = EXAMPLES[number]
    value = after(periods, {"TWA": 1.0}).averages["TWA"].value
    assert value == pytest.approx(exact, abs=1e-9)
    # Example 4 prints 0.078 to two figures, of 0.0775.
    assert value == pytest.approx(printed, abs=0.006 if number == 3 else 0.00051)
    if number in (1, 2, 5):
        assert eh40_rounded(value) == printed


def test_short_term_average_is_of_any_15_minutes_not_of_the_quarter_hours_of_a_clock():
    # EH40 paragraph 66 and Schedule paragraph 8: 100 ppm from minute 8 to 23 is a full 15 min.
    state = after([(0, 8 / 60), (100, 15 / 60)], {"STEL": 100.0})
    assert state.averages["STEL"].value == pytest.approx(100.0)
    assert state.averages["STEL"].on
    state = after([(0, 8 / 60), (100, 14.5 / 60)], {"STEL": 100.0})
    assert not state.averages["STEL"].on


def test_short_term_average_has_forgotten_after_15_minutes():
    state = after([(100, 1), (0, 0.25)], {"STEL": 100.0, "TWA": 12.5})
    assert state.averages["STEL"].value == 0.0
    assert state.averages["TWA"].value == pytest.approx(12.5)
    assert state.averages["TWA"].on


def test_long_term_sum_counts_24_hours_and_no_more():
    state = after([(8, 1), (0, 22.99)], {"TWA": 1.0})
    assert state.averages["TWA"].on
    state = after([(8, 1), (0, 23.5)], {"TWA": 1.0})
    assert state.averages["TWA"].value == pytest.approx(0.5)
    assert not state.averages["TWA"].on


def test_a_month_of_samples_leaves_no_grain_behind():
    state = after([(0.1, 30 * 24), (0.0, 24)], {"STEL": 1.0, "TWA": 1.0})
    assert [average.total for average in state.averages.values()] == [0, 0]


def test_a_slow_scan_weighs_its_reading_for_the_time_it_stands():
    state = ExposureState.of({"STEL": 50.0})
    for scan in range(31):
        state.take(50.0, scan * 30.0)
    assert state.averages["STEL"].value == pytest.approx(50.0)


def test_no_number_and_less_than_nothing_are_no_exposure():
    state = ExposureState.of({"STEL": 50.0})
    assert state.take(-5.0, 0.0)
    assert state.take(float("nan"), 10.0)
    assert not state.take(99.0, 15.0)
    assert state.averages["STEL"].value == 0.0


def exposed_panel(make_site, a_channel, a_cell, a_point):
    channel = a_channel(
        gas="CO", unit="ppm", range=[0, 300], levels={}, exposure={"stel": 100, "twa": 20}
    )
    return VirtualPanel(
        make_site(
            channels=[channel],
            outputs=[{"tag": "K1", "kind": "relay"}, {"tag": "K2", "kind": "relay"}],
            matrix=[a_cell("AT-1.STEL", "K1"), a_cell("AT-1.TWA", "K2")],
            points=[
                a_point("15 min", "input register", 0, "float32", "AT-1.STEL.average"),
                a_point("8 h", "input register", 2, "float32", "AT-1.TWA.average"),
                a_point("alarm", "discrete input", 0, "bit", "AT-1.STEL"),
            ],
        )
    )


def test_the_panel_alarms_on_the_dose_and_drives_outputs_by_it(
    make_site, a_channel, a_cell, a_point
):
    panel = exposed_panel(make_site, a_channel, a_cell, a_point)
    panel.apply(GasTo("AT-1", Step(120.0)), 0.0)
    # 120 ppm reach an average of 100 over 15 min after 12.5 min, 20 ppm of 8 h after 80 min.
    panel.advance(12.5 * 60 - 15)
    assert not panel.fact("AT-1.STEL")
    panel.advance(12.5 * 60 + 15)
    assert panel.fact("AT-1.STEL")
    assert panel.fact("K1.active")
    assert panel.fact("panel.unaccepted")
    panel.advance(80 * 60 - 15)
    assert not panel.fact("AT-1.TWA")
    panel.advance(80 * 60 + 15)
    assert panel.fact("K2.active")
    answer = VirtualDevice(panel).answer(1, bytes.fromhex("0400000004"), panel.now_s + 1)
    stel, twa = struct.unpack(">ff", answer[2:])
    assert stel == pytest.approx(120.0)
    assert twa == pytest.approx(20.0, abs=0.1)


def test_a_fault_adds_no_dose_and_power_forgets_it(make_site, a_channel, a_cell, a_point):
    panel = exposed_panel(make_site, a_channel, a_cell, a_point)
    panel.apply(GasTo("AT-1", Step(120.0)), 0.0)
    panel.apply(ChannelFault("AT-1", on=True), 600.0)
    panel.advance(840.0)
    averages = panel.state.channels["AT-1"].exposure.averages
    assert averages["STEL"].value == pytest.approx(80.0, abs=1.5)
    panel.apply(Power(on=False), 840.0)
    panel.apply(Power(on=True), 900.0)
    panel.advance(905.0)
    assert averages["STEL"].value < 1.5


def test_an_inhibited_channel_counts_the_dose_but_drives_nothing(
    make_site, a_channel, a_cell, a_point
):
    panel = exposed_panel(make_site, a_channel, a_cell, a_point)
    panel.apply(Inhibit("AT-1", on=True), 0.0)
    panel.apply(GasTo("AT-1", Step(120.0)), 0.0)
    panel.advance(1200.0)
    assert panel.fact("AT-1.STEL")
    assert not panel.fact("K1.active")
