"""What samples let one know, held against panels whose true timeline is known."""

from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.history import Run, Seen, Value
from gaswitness_probe.observe import (
    Change,
    Eyesight,
    Stretch,
    changes,
    clash,
    signal_of,
    stretches,
)
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Truth, Window, from_changes, truth

EYES = Eyesight(refresh_s=0.1, dwell_s=2.0)


def said(value: Value) -> Truth:
    return truth(value if isinstance(value, bool) else None)


def run(value: Value, first: float, last: float | None = None, took: float = 0.2) -> Run:
    last = first if last is None else last
    return Run(value, (), Seen(first, first + took), Seen(last, last + took), 1)


def test_equal_samples_close_together_mean_that_it_held() -> None:
    parts = stretches([run(True, 1.0, 5.0)], said, EYES)
    assert parts[0].known == Window(1.2, 4.9)
    assert signal_of(parts).at(3.0) is TRUE


def test_a_single_sample_is_known_at_no_certain_instant() -> None:
    parts = stretches([run(True, 1.0)], said, EYES)
    assert parts[0].known is None
    assert signal_of(parts).at(1.1) is UNKNOWN


def test_nothing_is_known_over_a_gap_longer_than_the_dwell() -> None:
    parts = stretches([run(True, 1.0, 3.0), run(True, 5.0, 7.0)], said, EYES)
    assert len(parts) == 2
    assert signal_of(parts).at(4.0) is UNKNOWN


def test_runs_that_mean_the_same_join_within_the_dwell() -> None:
    assert len(stretches([run(True, 1.0, 2.0), run(True, 2.5, 3.0)], said, EYES)) == 1


def test_a_change_lies_between_the_samples_around_it() -> None:
    parts = stretches([run(False, 1.0, 2.0), run(True, 2.5, 4.0)], said, EYES)
    assert changes(parts) == [Change(Window(1.9, 2.7), TRUE)]


def test_an_unreadable_sample_widens_the_change() -> None:
    parts = stretches([run(False, 1.0, 2.0), run(None, 2.5), run(True, 3.0, 4.0)], said, EYES)
    assert changes(parts) == [Change(Window(1.9, 3.2), TRUE)]


def test_one_sample_contradicts_only_a_certainty_over_all_its_instants() -> None:
    part = Stretch(FALSE, Window(1.0, 1.3), Window(1.0, 1.3))
    assert clash(part, from_changes(FALSE, [(1.1, TRUE)])) is None
    assert clash(part, from_changes(FALSE, [(0.9, TRUE)])) == 1.0
    assert clash(part, from_changes(FALSE, [(0.9, TRUE), (1.2, UNKNOWN)])) is None


def test_a_held_value_contradicts_a_certainty_at_any_instant() -> None:
    part = Stretch(FALSE, Window(1.0, 1.3), Window(8.9, 9.2))
    assert clash(part, from_changes(UNKNOWN, [(5.0, TRUE), (5.5, UNKNOWN)])) == 5.0


@given(
    first=st.booleans(),
    lengths=st.lists(st.floats(2.0, 9.0), min_size=1, max_size=6),
    waits=st.lists(st.floats(0.05, 3.0), min_size=4, max_size=40),
    took=st.floats(0.0, 0.4),
    share=st.floats(0.0, 1.0),
)
def test_nothing_is_known_that_is_not_true(
    first: bool, lengths: list[float], waits: list[float], took: float, share: float
) -> None:
    """A panel that dwells 2 s or more in each state, asked at any pace, read from a map that lags
    up to the refresh: whatever the signal claims is what the panel held."""
    edges, now, value = [], 0.0, first
    for length in lengths:
        now += length
        value = not value
        edges.append((now, truth(value)))
    true = from_changes(truth(first), edges)
    runs, at = [], 0.0
    for wait in waits:
        at += wait
        shown = true.at(at + share * took - share * EYES.refresh_s) is TRUE
        gap = runs and at + took - runs[-1].last.asked_s + EYES.refresh_s >= EYES.dwell_s
        if runs and runs[-1].value is shown and not gap:
            runs[-1] = Run(shown, (), runs[-1].first, Seen(at, at + took), runs[-1].count + 1)
        else:
            runs.append(Run(shown, (), Seen(at, at + took), Seen(at, at + took), 1))
    parts = stretches(runs, said, EYES)
    for start, end, claimed in signal_of(parts).segments():
        if claimed is not UNKNOWN:
            assert true.throughout(claimed, start, end - 1e-9)
    for change in changes(parts):
        assert any(
            change.when.low <= moment <= change.when.high and to is change.to
            for moment, to in edges
        )
    assert all(clash(part, true) is None for part in parts)
