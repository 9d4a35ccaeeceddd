"""What sensors do: dead time, recovery, ageing, over-range that latches, under-range as a fault."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from gaswitness_simulator.gas import Air
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.sensor import NEW
from gaswitness_simulator.stimulus import Drift, Exponential, GasTo, Press, Ramp, Step, Sum


def panel_of(make_site, a_channel, **facts):
    timing = {"scan_s": 0.01, "refresh_s": 0, "warm_up_s": 0}
    return VirtualPanel(make_site(timing=timing, channels=[a_channel(**facts)]))


def reading(panel, at_s):
    panel.advance(at_s)
    return panel.reading("AT-1")


def test_step_shows_half_at_t50_and_nine_tenths_at_t90(make_site, a_channel):
    # y = 1 - exp(-(t - dead) / tau): the two times fix both (mathematics of a first-order lag).
    panel = panel_of(make_site, a_channel, t50_s=15, t90_s=40)
    panel.apply(GasTo("AT-1", Step(50.0)), 100.0)
    assert reading(panel, 104.2) == 0.0
    assert reading(panel, 115.0) == pytest.approx(25.0, abs=0.02)
    assert reading(panel, 140.0) == pytest.approx(45.0, abs=0.01)


def test_without_dead_time_t50_is_ln_2_over_ln_10_of_t90(make_site, a_channel):
    panel = panel_of(make_site, a_channel, t90_s=30)
    panel.apply(GasTo("AT-1", Step(50.0)), 100.0)
    assert reading(panel, 100 + 30 * math.log(2) / math.log(10)) == pytest.approx(25, abs=0.02)


def test_gas_that_was_under_way_still_comes_through_the_dead_time(make_site, a_channel):
    panel = panel_of(make_site, a_channel, t50_s=15, t90_s=40)
    panel.apply(GasTo("AT-1", Step(50.0)), 100.0)
    panel.apply(GasTo("AT-1", Step(0.0)), 103.0)
    dead_s = 15 - (40 - 15) / math.log(5) * math.log(2)
    peak = reading(panel, 103.0 + dead_s)
    assert peak == pytest.approx(50 * (1 - 5 ** (-3 / 25)), abs=0.05)
    assert reading(panel, 160.0) < 0.1 * peak


def test_recovery_has_a_t90_of_its_own(make_site, a_channel):
    panel = panel_of(make_site, a_channel, t90_s=10, recovery_t90_s=60)
    panel.apply(GasTo("AT-1", Step(50.0)), 0.0)
    assert reading(panel, 10.0) == pytest.approx(45.0, abs=0.02)
    assert reading(panel, 100.0) == pytest.approx(50.0)
    panel.apply(GasTo("AT-1", Step(0.0)), 100.0)
    assert reading(panel, 160.0) == pytest.approx(5.0, abs=0.01)


def test_the_t90_of_recovery_has_the_dead_time_in_it(make_site, a_channel):
    panel = panel_of(make_site, a_channel, t50_s=12, t90_s=30, recovery_t90_s=60)
    panel.apply(GasTo("AT-1", Step(50.0)), 0.0)
    panel.apply(GasTo("AT-1", Step(0.0)), 300.0)
    assert reading(panel, 360.0) == pytest.approx(5.0, abs=0.01)


def test_zero_creeps_and_a_poisoned_sensor_loses_its_span(make_site, a_channel):
    panel = panel_of(make_site, a_channel)
    panel.apply(Drift("AT-1", zero=2.0, span=0.4, over_s=1000.0), 10.0)
    panel.apply(GasTo("AT-1", Step(50.0)), 20.0)
    assert reading(panel, 510.0) == pytest.approx(1.0 + 0.7 * 50, abs=0.01)
    assert reading(panel, 2000.0) == pytest.approx(2.0 + 0.4 * 50)
    panel.apply(Drift("AT-1", zero=0.0, span=1.0), 2000.0)
    assert reading(panel, 2001.0) == pytest.approx(50.0)


def test_a_zero_that_creeps_raises_the_alarm_in_the_scan_in_which_it_gets_there(
    make_site, a_channel
):
    panel = panel_of(make_site, a_channel)
    panel.apply(Drift("AT-1", zero=40.0, span=None, over_s=4000.0), 10.0)
    panel.advance(2009.9)
    assert not panel.fact("AT-1.A1")
    panel.advance(2010.1)
    assert panel.fact("AT-1.A1")


def test_over_range_stays_until_the_reading_is_back_and_reset_is_pressed(make_site, a_channel):
    panel = panel_of(make_site, a_channel, over_range_latches=True)
    panel.apply(GasTo("AT-1", Step(130.0)), 1.0)
    panel.apply(Press("reset"), 2.0)
    panel.advance(3.0)
    assert panel.fact("AT-1.over_range")
    panel.apply(GasTo("AT-1", Step(0.0)), 3.0)
    panel.advance(50.0)
    assert panel.fact("AT-1.over_range")
    panel.apply(Press("reset"), 50.0)
    panel.advance(51.0)
    assert not panel.fact("AT-1.over_range")


def test_over_range_goes_by_itself_where_it_does_not_latch(make_site, a_channel):
    panel = panel_of(make_site, a_channel)
    panel.apply(GasTo("AT-1", Step(130.0)), 1.0)
    panel.apply(GasTo("AT-1", Step(0.0)), 3.0)
    panel.advance(4.0)
    assert not panel.fact("AT-1.over_range")


def test_under_range_is_a_fault_where_the_site_file_says_so(make_site, a_channel):
    for is_fault in (True, False):
        panel = panel_of(make_site, a_channel, under_range_is_fault=is_fault, fault_delay_s=2)
        panel.apply(Drift("AT-1", zero=-20.0, span=None, over_s=20.0), 0.0)
        panel.advance(11.5)
        assert not panel.fact("AT-1.fault")
        panel.advance(12.5)
        assert panel.fact("AT-1.fault") is is_fault
        assert panel.fact("AT-1.under_range")


profiles = st.one_of(
    st.builds(Step, st.sampled_from([0.0, 30.0, 140.0])),
    st.builds(Ramp, st.sampled_from([0.0, 60.0]), st.sampled_from([0.0, 25.0])),
    st.builds(Exponential, st.sampled_from([0.0, 90.0]), st.just(12.0)),
    st.just(Sum(40.0, ((-60.0, 20.0), (20.0, 5.0)))),
)
plays = st.lists(
    st.tuples(
        st.sampled_from([0.5, 4.0, 33.0]),
        st.one_of(
            st.builds(GasTo, st.just("AT-1"), profiles),
            st.builds(
                Drift,
                st.just("AT-1"),
                st.sampled_from([None, -15.0, 6.0]),
                st.sampled_from([None, 0.0, 0.5, 1.2]),
                st.sampled_from([0.0, 20.0]),
            ),
            st.just(Press("reset")),
        ),
    ),
    max_size=12,
)
options = st.fixed_dictionaries(
    {
        "t50_s": st.sampled_from([None, 5.0]),
        "t90_s": st.just(10.0),
        "recovery_t90_s": st.sampled_from([None, 25.0]),
        "over_range_latches": st.booleans(),
        "under_range_is_fault": st.booleans(),
        "noise": st.sampled_from([0.0, 0.6]),
        "exposure": st.sampled_from([None, {"stel": 5.0, "twa": 1.0}]),
    }
)


@settings(deadline=None, max_examples=150)
@given(plays, options)
def test_jumping_over_quiet_time_misses_nothing(make_site, a_channel, play, facts):
    """A panel that is let run far ahead shows what one shows that is asked at every scan."""
    levels = {"A1": {"setpoint": 20, "hysteresis": 2}, "A2": {"setpoint": 40, "latching": True}}
    site = make_site(channels=[a_channel(levels=levels, **facts)])
    hasty, patient = VirtualPanel(site, seed=3), VirtualPanel(site, seed=3)
    names = ["A1", "A2", "fault", "over_range", "under_range"]
    names += ["STEL", "TWA"] if facts["exposure"] else []
    at_s = 0.0
    for wait_s, stimulus in [*play, (60.0, Press("reset"))]:
        for panel in (hasty, patient):
            panel.apply(stimulus, at_s)
        until_s = at_s + wait_s
        while at_s < until_s:
            at_s = min(at_s + 0.5, until_s)
            patient.advance(at_s)
            # Look at the channel in every scan, whether it was due or not.
            patient._touched.add("AT-1")
            patient._stirred = True
            patient._next = patient._next_scan()
        hasty.advance(at_s)
        for name in names:
            assert hasty.fact(f"AT-1.{name}") == patient.fact(f"AT-1.{name}")
        assert hasty.reading("AT-1") == patient.reading("AT-1")
        assert -10.0 <= hasty.reading("AT-1") <= 110.0


def test_errors_stay_within_what_they_may_reach():
    ageing = NEW.to(5.0, 0.5, 10.0, 100.0)
    for at_s in (10.0, 40.0, 110.0, 500.0):
        low, high = ageing.reach(0.0, 60.0, at_s)
        for later_s in (at_s, at_s + 30.0, at_s + 1000.0):
            assert low <= ageing.shows(0.0, later_s) <= high
            assert low <= ageing.shows(60.0, later_s) <= high


def test_errors_never_move_faster_than_they_say():
    ageing = NEW.to(5.0, 0.5, 10.0, 100.0)
    for at_s in (10.0, 60.0):
        most = ageing.fastest(2.0, 0.0, 60.0, at_s)
        # The lagged value rises by 2 in each second, to 60 within half a minute.
        for later_s in (at_s, at_s + 7.0):
            lagged = 2.0 * (later_s - at_s)
            moved = ageing.shows(lagged + 2.0, later_s + 1.0) - ageing.shows(lagged, later_s)
            assert abs(moved) <= most
    assert NEW.to(5.0, None, 0.0, 100.0).fastest(0.0, 0.0, 0.0, 50.0) == pytest.approx(0.05)
    assert NEW.to(5.0, None, 0.0, 100.0).fastest(0.0, 0.0, 0.0, 101.0) == 0.0


@pytest.mark.parametrize("tau_s", [0.0, 3.0, 5.0])
def test_a_sum_of_exponentials_stays_where_it_says_that_it_may_go(tau_s):
    # It begins at 0 and ends at 0, but goes far below and above in between.
    air = Air.at_rest(0.0, tau_s).to(Sum(0.0, ((90.0, 10.0), (-120.0, 5.0), (30.0, 60.0))), 0.0)
    values = [air.lagged(n / 2) for n in range(1200)]
    assert max(values) > 20.0
    for n in (0, 5, 40, 300):
        low, high = air.reach(n / 2)
        assert low <= min(values[n:])
        assert max(values[n:]) <= high
        steepest = max(abs(b - a) / 0.5 for a, b in pairwise(values[n:]))
        assert steepest <= air.fastest(n / 2)


@pytest.mark.parametrize("decay_s", [4.0, 5.0, 5.000001, 80.0])
def test_lag_of_a_sum_is_what_a_solver_makes_of_it(decay_s):
    terms = ((-60.0, decay_s), (25.0, 7.0))
    air = Air.at_rest(5.0, 5.0).to(Sum(40.0, terms), 0.0)

    def slope(at_s, y):
        gas = 40 + sum(a * math.exp(-at_s / d) for a, d in terms)
        return (gas - y) / 5.0

    times = np.array([1.0, 10.0, 60.0])
    solved = solve_ivp(slope, (0, 60), [5.0], "DOP853", times, rtol=1e-11, atol=1e-12).y[0]
    for at_s, value in zip(times, solved, strict=True):
        assert air.lagged(float(at_s)) == pytest.approx(value, abs=1e-8)
