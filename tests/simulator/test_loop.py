"""Loop currents. NAMUR NE 43: measuring from 3.8 to 20.5 mA, failure at 3.6 mA or less and 21 mA or
more (secondary sources; persistence, here `fault_delay_s`, commonly 4 s).
"""

import pytest

from gaswitness_simulator.loop import Band, band, current_ma, value_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, DropOut, GasTo, LoopCurrent, Step


@pytest.mark.parametrize(
    ("value", "low", "high", "expected_ma"),
    # I = 4 + 16 (x - low) / (high - low), by definition of the live zero.
    [(20, 0, 100, 7.2), (50, 0, 100, 12), (20.9, 0, 25, 17.376), (19.5, 0, 25, 16.48),
     (30, 0, 300, 5.6), (110, 0, 100, 20.5), (-10, 0, 100, 3.8)],
)  # fmt: skip
def test_current_is_that_of_the_live_zero_and_ends_where_ne_43_has_it_end(
    value, low, high, expected_ma
):
    assert current_ma(value, low, high) == pytest.approx(expected_ma, abs=1e-12)
    if low <= value <= high:
        assert value_of(expected_ma, low, high) == pytest.approx(value)


def test_bands_are_those_of_ne_43():
    currents = [0, 3.5, 3.6, 3.61, 3.79, 3.8, 4, 20.5, 20.51, 20.99, 21, 25]
    assert [band(one) for one in currents] == [
        *[Band.FAILED_LOW] * 3,
        *[Band.BETWEEN_LOW] * 2,
        *[Band.MEASURES] * 3,
        *[Band.BETWEEN_HIGH] * 2,
        *[Band.FAILED_HIGH] * 2,
    ]


@pytest.fixture
def panel(make_site, a_channel):
    facts = {"signal": "4-20 mA", "fault_delay_s": 4, "fail_ma": 2.0}
    return VirtualPanel(make_site(channels=[a_channel(**facts)]))


def current(panel):
    return panel.state.channels["AT-1"].current_ma


def test_a_failed_current_is_a_fault_once_it_persists(panel):
    panel.apply(LoopCurrent("AT-1", 3.6), 10.0)
    panel.advance(13.5)
    assert not panel.fact("AT-1.fault")
    panel.advance(16.0)
    assert panel.fact("AT-1.fault")


def test_between_the_bands_everything_stays_as_it_was(panel):
    panel.apply(LoopCurrent("AT-1", 3.7), 10.0)
    panel.advance(60.0)
    assert not panel.fact("AT-1.fault")
    panel.apply(LoopCurrent("AT-1", 22.0), 60.0)
    panel.apply(LoopCurrent("AT-1", 20.8), 70.0)
    panel.advance(120.0)
    assert panel.fact("AT-1.fault")
    panel.apply(LoopCurrent("AT-1", None), 120.0)
    panel.advance(122.0)
    assert not panel.fact("AT-1.fault")


def test_a_forced_current_is_read_as_gas(panel):
    panel.apply(LoopCurrent("AT-1", 12.0), 10.0)
    panel.advance(12.0)
    assert panel.reading("AT-1") == pytest.approx(50.0)
    assert panel.fact("AT-1.A1")


def test_detector_says_failure_and_a_broken_wire_says_nothing(panel):
    panel.apply(GasTo("AT-1", Step(50.0)), 1.0)
    panel.advance(5.0)
    assert current(panel) == pytest.approx(12.0)
    panel.apply(ChannelFault("AT-1", on=True), 5.0)
    assert current(panel) == 2.0
    panel.apply(DropOut("AT-1", on=True), 6.0)
    assert current(panel) == 0.0
    panel.advance(20.0)
    assert panel.fact("AT-1.fault")


def test_reading_ends_where_the_current_ends(panel):
    panel.apply(GasTo("AT-1", Step(500.0)), 1.0)
    panel.advance(5.0)
    assert panel.reading("AT-1") == pytest.approx(103.125)
    assert panel.fact("AT-1.over_range")
    assert not panel.fact("AT-1.fault")


def test_a_channel_without_a_loop_takes_no_current(make_site):
    with pytest.raises(ValueError, match="has no loop"):
        VirtualPanel(make_site()).apply(LoopCurrent("AT-1", 12.0), 1.0)


@pytest.mark.parametrize("high", [0.7, 5, 7, 25, 100, 300, 500])
def test_a_current_at_the_end_of_what_measures_is_within_what_is_shown(make_site, a_channel, high):
    loop = {"signal": "4-20 mA", "range": [0, high], "levels": {}}
    panel = VirtualPanel(make_site(channels=[a_channel(**loop)]))
    said = []
    for at_s, current in enumerate((3.8, 3.799, 20.5, 20.501), 1):
        panel.apply(LoopCurrent("AT-1", current), 10.0 * at_s)
        panel.advance(10.0 * at_s + 2.0)
        said.append((panel.fact("AT-1.under_range"), panel.fact("AT-1.over_range")))
    assert said == [(False, False), (True, False), (False, False), (False, True)]
