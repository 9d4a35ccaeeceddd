"""Instants of scans and refreshes: none is missed or counted twice for a float's grain."""

from hypothesis import given
from hypothesis import strategies as st

from gaswitness_simulator.scanning import Scanning, last_instant

periods = st.sampled_from([0.05, 0.1, 0.3, 0.5, 0.7, 1.0])


@given(periods, st.floats(0.001, 1), st.integers(0, 10**7))
def test_an_instant_is_the_last_from_itself_on(period_s, share, n):
    phase_s = share * period_s
    at_s = phase_s + n * period_s
    assert last_instant(phase_s, period_s, at_s) == n
    assert last_instant(phase_s, period_s, at_s - 1e-6) == n - 1


def test_before_the_first_instant_there_is_none():
    assert last_instant(0.3, 0.5, 0.0) == -1


@given(periods, st.floats(0.001, 1), st.floats(0, 10**5))
def test_what_is_due_is_looked_at_in_time_and_not_long_before(period_s, share, due_s):
    scanning = Scanning(period_s, share * period_s, seed=0, channels=1)
    scan = scanning.when_due(due_s)
    after = scanning.phase_s + (scan + 1) * period_s
    assert scanning.phase_s + (scan - 1) * period_s < due_s - 1e-9 < after
