"""First-order response against its exact relations and against numerical integration."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_simulator.gas import Air
from gaswitness_simulator.stimulus import Exponential, Ramp, Step, Trace

T90_S = 30.0


# First-order lag, exact mathematics: t50 = tau ln 2, t90 = tau ln 10, t63.2 = tau.
@pytest.mark.parametrize(
    ("at_s", "share"), [(9.0309, 0.5), (13.0288, 0.63212), (30.0, 0.9), (60.0, 0.99)]
)
def test_step_reaches_its_share_on_time(at_s, share):
    air = Air.still(0.0, T90_S).to(Step(60.0), 5.0)
    assert air.lagged(5.0 + at_s) == pytest.approx(60.0 * share, abs=1e-3)


# t = -tau ln(1 - A/C) with tau = 13.0288 s: 60 %LEL on 20 gives 5.2828 s, on 40 gives 14.3136 s.
@pytest.mark.parametrize(("level", "at_s"), [(20.0, 5.2828), (40.0, 14.3136)])
def test_step_crosses_an_alarm_level_on_time(level, at_s):
    air = Air.still(0.0, T90_S).to(Step(60.0), 0.0)
    assert air.lagged(at_s) == pytest.approx(level, abs=1e-3)


# t = tau ln(C/A): from 60 to 20 %LEL in 14.3136 s.
def test_decay_crosses_an_alarm_level_on_time():
    air = Air.still(60.0, T90_S).to(Step(0.0), 100.0)
    assert air.lagged(114.3136) == pytest.approx(20.0, abs=1e-3)


def test_gas_moves_while_the_reading_lags():
    air = Air.still(0.0, T90_S).to(Step(60.0), 5.0)
    assert air.gas(5.0) == 60.0
    assert air.lagged(5.0) == 0.0


def test_without_lag_the_reading_is_the_gas():
    air = Air.still(0.0, 0.0).to(Ramp(50.0, 10.0), 0.0)
    assert [air.lagged(t) for t in (0.0, 5.0, 10.0, 20.0)] == [0.0, 25.0, 50.0, 50.0]


# A long ramp trails its gas by slope x tau (steady state of the lag).
def test_reading_trails_a_long_ramp_by_tau():
    air = Air.still(0.0, T90_S).to(Ramp(1000.0, 1000.0), 0.0)
    assert air.gas(600.0) - air.lagged(600.0) == pytest.approx(13.0288, abs=1e-3)


def test_trace_goes_in_straight_lines_and_holds_its_last_level():
    air = Air.still(10.0, 0.0).to(Trace((10.0, 20.0), (30.0, 0.0)), 100.0)
    assert [air.gas(100.0 + t) for t in (0, 5, 10, 15, 20, 99)] == [10, 20, 30, 15, 0, 0]


def test_a_ramp_of_no_length_is_a_step():
    air = Air.still(0.0, T90_S).to(Ramp(60.0, 1e-160), 0.0)
    assert air.lagged(30.0) == pytest.approx(54.0)


def test_trace_that_begins_at_once_is_a_step():
    assert Air.still(10.0, 0.0).to(Trace((0.0, 10.0), (50.0, 60.0)), 7.0).gas(7.0) == 50.0


def test_settled_reading_equals_the_gas_exactly():
    air = Air.still(0.0, T90_S).to(Step(20.0), 0.0)
    assert air.lagged(air.settled_s) == 20.0


@pytest.mark.parametrize(
    ("times_s", "levels"), [((), ()), ((1.0,), ()), ((1.0, 1.0), (2.0, 3.0)), ((-1.0,), (2.0,))]
)
def test_trace_that_cannot_be_is_refused(times_s, levels):
    with pytest.raises(ValueError, match=r"trace|first time"):
        Trace(times_s, levels)


levels = st.floats(-20, 120)
profiles = st.one_of(
    st.builds(Step, levels),
    st.builds(Ramp, levels, st.one_of(st.just(0.0), st.floats(1, 60))),
    st.builds(
        Exponential, levels, st.sampled_from([0.0, 5.0, 13.0288, T90_S / math.log(10), 50.0])
    ),
    st.builds(
        lambda gaps, values: Trace(tuple(sum(gaps[: i + 1]) for i in range(4)), tuple(values)),
        st.lists(st.floats(0.5, 20), min_size=4, max_size=4),
        st.lists(levels, min_size=4, max_size=4),
    ),
)


def integrated(air: Air, begin_s: float, end_s: float, first: float) -> float:
    """Fourth-order Runge-Kutta on tau dy/dt = g - y, steps small against tau."""
    steps = 1500
    h, y, t = (end_s - begin_s) / steps, first, begin_s
    for _ in range(steps):
        k1 = (air.gas(t) - y) / air.tau_s
        k2 = (air.gas(t + h / 2) - y - h / 2 * k1) / air.tau_s
        k3 = (air.gas(t + h / 2) - y - h / 2 * k2) / air.tau_s
        k4 = (air.gas(t + h) - y - h * k3) / air.tau_s
        y += h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        t += h
    return y


@settings(max_examples=40, deadline=None)
@given(profiles, profiles, st.floats(0, 30))
def test_closed_form_agrees_with_integration(one, other, after_s):
    first = Air.still(7.0, T90_S).to(one, 0.0)
    second = first.to(other, after_s)
    expected = integrated(second, after_s, after_s + 40.0, first.lagged(after_s))
    assert second.lagged(after_s + 40.0) == pytest.approx(expected, abs=0.02)


@given(profiles, st.sampled_from([0.0, T90_S]), st.lists(st.floats(0, 200), min_size=2))
def test_reading_stays_within_its_reach_and_speed(profile, t90_s, moments):
    air = Air.still(7.0, t90_s).to(profile, 0.0)
    start, *later = sorted(moments)
    low, high = air.reach(start)
    fastest, now = air.fastest(start), air.lagged(start)
    for at_s in later:
        assert low <= air.lagged(at_s) <= high
        assert abs(air.lagged(at_s) - now) <= fastest * (at_s - start) * (1 + 1e-6) + 1e-9
