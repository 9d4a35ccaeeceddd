"""Ticks, times, thinning and places for labels."""

import math
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from gaswitness.chart_scale import (
    runs,
    spread,
    thinned,
    time_text,
    time_ticks,
    value_ticks,
    without_middles,
)


def test_time_ticks_are_round_and_within():
    assert time_ticks(0, 176, 12) == tuple(range(0, 180, 15))
    assert time_ticks(0, 28_800, 12) == tuple(range(0, 28_801, 3600))
    assert time_ticks(65.3, 72, 12) == (66.0, 67.0, 68.0, 69.0, 70.0, 71.0, 72.0)


def test_time_is_told_in_minutes_and_in_hours_where_there_are_any():
    assert time_text(0) == "0:00"
    assert time_text(125.34, tenths=True) == "2:05.3"
    assert time_text(59.96, tenths=True) == "1:00.0"
    assert time_text(3725) == "1:02:05"
    assert time_text(100_000) == "27:46:40"


def test_value_ticks_are_round():
    assert value_ticks(-1.4, 24.4, 4) == (0.0, 10.0, 20.0)
    assert value_ticks(17.2, 24.0, 4) == (18.0, 20.0, 22.0, 24.0)
    assert value_ticks(0, 0.06, 4) == (0.0, 0.02, 0.04, 0.06)


def test_gaps_part_a_curve():
    assert runs([(0, 1.0), (1, math.nan), (2, math.nan), (3, 2.0), (4, 3.0)]) == [
        [(0, 1.0)],
        [(3, 2.0), (4, 3.0)],
    ]
    assert runs([(0, math.nan)]) == []


values = st.lists(st.floats(-100, 100), min_size=1, max_size=400)


@given(values, st.integers(1, 50))
def test_thinning_loses_no_peak_and_no_end(levels, columns):
    points = [(float(at), level) for at, level in enumerate(levels)]
    kept = thinned(points, 0.0, float(len(points)), columns)
    assert kept == sorted(kept, key=lambda point: point[0])
    assert set(kept) <= set(points)
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    assert max(v for _, v in kept) == max(levels)
    assert min(v for _, v in kept) == min(levels)
    assert len(kept) <= max(4 * (columns + 1), 4)


@given(st.lists(st.floats(0, 100), min_size=1, max_size=8))
def test_labels_never_stand_on_each_other(wanted):
    places = sorted(spread(wanted, 10.0, 0.0, 100.0))
    assert all(after - before >= 10 - 1e-9 for before, after in pairwise(places))
    assert all(-1e-9 <= place <= 100 + 1e-9 for place in places)


def test_a_label_with_room_stays_where_it_belongs():
    assert spread([50.0, 20.0], 10.0, 0.0, 100.0) == [50.0, 20.0]


def test_a_level_stretch_keeps_its_ends_alone():
    line = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.0), (4.0, 2.0)]
    assert without_middles(line) == [(0.0, 1.0), (2.0, 1.0), (3.0, 2.0), (4.0, 2.0)]
    assert without_middles([(0.0, 1.0)]) == [(0.0, 1.0)]
