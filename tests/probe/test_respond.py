"""Measured intervals against allowed windows: the guard-band rule and its edges.

Values from the shared practice of JCGM 106:2012 clause 8 / ILAC-G8:09/2019 (secondary source: a
calibration laboratory's page on decision rules); the boundaries are computed by hand.
"""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.respond import allowance, between, decide, lower_open, response
from gaswitness_probe.signal import Window
from gaswitness_probe.verdict import Outcome

whole = st.floats(-50, 50)


@pytest.mark.parametrize(
    ("measured", "outcome"),
    [
        # limit 60 s, U 0.5 s
        ((59.0, 60.0), Outcome.PROVEN),
        ((59.1, 60.1), Outcome.INCONCLUSIVE),
        ((60.0, 61.0), Outcome.INCONCLUSIVE),
        ((60.1, 61.1), Outcome.FAILED),
    ],
)
def test_timing_example_of_the_guard_band(measured: tuple[float, float], outcome: Outcome) -> None:
    assert decide(measured, Window(-inf, 60.0)) is outcome


@pytest.mark.parametrize(
    ("centre", "outcome"),
    [
        # within 1.0 of 20, U 0.4
        (19.4, Outcome.PROVEN),
        (20.6, Outcome.PROVEN),
        (20.7, Outcome.INCONCLUSIVE),
        (21.3, Outcome.INCONCLUSIVE),
        (21.5, Outcome.FAILED),
        (18.5, Outcome.FAILED),
    ],
)
def test_setpoint_example_of_the_guard_band(centre: float, outcome: Outcome) -> None:
    assert decide((centre - 0.4, centre + 0.4), Window(19.0, 21.0)) is outcome


def test_response_subtracts_the_far_ends() -> None:
    assert response(Window(10.0, 10.5), Window(12.0, 12.75)) == (1.5, 2.75)


@given(whole, whole, whole, whole, whole, whole)
def test_a_finer_look_never_turns_a_verdict_round(
    a: float, b: float, c: float, d: float, e: float, f: float
) -> None:
    low, inner_low, inner_high, high = sorted((a, b, c, d))
    allowed = Window(*sorted((e, f)))
    coarse, fine = decide((low, high), allowed), decide((inner_low, inner_high), allowed)
    assert coarse is Outcome.INCONCLUSIVE or fine is coarse


@given(whole, whole, whole, whole, st.floats(0, 1), st.floats(0, 1))
def test_the_true_response_lies_in_the_measured_interval(
    c_low: float, c_high: float, e_low: float, e_high: float, share_c: float, share_e: float
) -> None:
    cause, effect = Window(*sorted((c_low, c_high))), Window(*sorted((e_low, e_high)))
    true_cause = cause.low + share_c * (cause.high - cause.low)
    true_effect = effect.low + share_e * (effect.high - effect.low)
    low, high = response(cause, effect)
    assert low - 1e-9 <= true_effect - true_cause <= high + 1e-9


def test_words_for_people() -> None:
    assert between((-0.4, 0.6)) == "0.0 to 0.6 s"
    assert allowance(Window(0.0, 5.0)) == "within 5 s"
    assert allowance(Window(9.0, 15.0)) == "9 to 15 s after"
    assert lower_open(Window(0.0, 5.0)) == Window(-inf, 5.0)
