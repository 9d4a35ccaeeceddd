from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_scenarios.gas_profile import (
    ExponentialTo,
    RampTo,
    Recorded,
    StepTo,
    bounds,
    gas_after,
    travel_s,
)

LEAK = Recorded("leak.csv", (10.0, 20.0, 40.0), (5.0, 30.0, 10.0))


def test_step_is_there_at_once():
    assert gas_after(StepTo(50), 20, 0) == 50
    assert travel_s(StepTo(50), 20, 0.1) == 0
    assert bounds(StepTo(50), 20) == (50, 50)


def test_ramp_goes_in_a_straight_line_and_stays():
    ramp = RampTo(50, 60)
    assert [gas_after(ramp, 20, t) for t in (0, 30, 60, 90)] == [20, 35, 50, 50]
    assert travel_s(ramp, 20, 0.1) == 60
    assert bounds(RampTo(0, 60), 20) == (0, 20)


def test_exponential_follows_the_closed_form_of_first_order():
    # C(t) = C_end + (C_start - C_end) exp(-t / tau): textbook first-order response. From memory.
    rise = ExponentialTo(100, 20)
    assert gas_after(rise, 0, 20) == pytest.approx(63.2120558829)
    assert gas_after(rise, 0, 20 * log(10)) == pytest.approx(90)


def test_exponential_has_arrived_when_little_is_left():
    rise = ExponentialTo(100, 20)
    arrived = travel_s(rise, 0, 0.1)
    assert arrived == pytest.approx(138.155, abs=0.001)
    assert gas_after(rise, 0, arrived) == pytest.approx(99.9)
    assert travel_s(rise, 99.95, 0.1) == 0


def test_recording_comes_from_the_gas_that_is_there_and_holds_its_last():
    seen = [gas_after(LEAK, 1, t) for t in (0, 5, 10, 15, 30, 40, 500)]
    assert seen == [1, 3, 5, 17.5, 20, 10, 10]
    assert travel_s(LEAK, 1, 0.1) == 40
    assert bounds(LEAK, 1) == (1, 30)


def test_recording_that_begins_at_once_is_a_step():
    trace = Recorded("now.csv", (0.0, 10.0), (40.0, 50.0))
    assert gas_after(trace, 99, 0) == 40
    assert bounds(trace, 99) == (40, 50)


LEVELS = st.floats(0, 1000)
PROFILES = st.one_of(
    st.builds(StepTo, LEVELS),
    st.builds(RampTo, LEVELS, st.floats(0.1, 1000)),
    st.builds(ExponentialTo, LEVELS, st.floats(0.1, 1000)),
    st.just(LEAK),
)


@given(PROFILES, LEVELS, st.floats(0, 5000))
def test_gas_keeps_within_its_bounds(profile, start, elapsed_s):
    low, high = bounds(profile, start)
    slack = 1e-9 * (1 + high)
    assert low - slack <= gas_after(profile, start, elapsed_s) <= high + slack


@given(PROFILES, LEVELS)
def test_gas_is_at_its_level_once_it_has_arrived(profile, start):
    near = 0.01
    after = gas_after(profile, start, travel_s(profile, start, near))
    assert after == pytest.approx(profile.final, abs=near * (1 + exp(-10)))
