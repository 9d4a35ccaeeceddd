"""Numbers over time: the same from a poller's record as from runs, and empty where nothing came."""

from gaswitness_probe.history import Run, Seen
from gaswitness_probe.observe import Eyesight
from gaswitness_probe.poll_record import BlockRecord
from gaswitness_probe.read_plan import Block
from gaswitness_probe.series import series_of, threshold
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Window
from gaswitness_sitefile.points import Point, PointType, Table

POINT = Point(
    name="r", table=Table.INPUT, address=0, type=PointType.INT16, shows="AT-1.reading", scale=0.1
)
EYES = Eyesight(refresh_s=0.1, dwell_s=2.0)


def recorded(*payloads):
    record = BlockRecord(Block(Table.INPUT, 0, 1, (POINT,)))
    for index, payload in enumerate(payloads):
        record.add(float(index), index + 0.25, bytes.fromhex(payload))
    return next(iter(record.histories())).runs


def test_rows_of_a_record_are_its_runs():
    runs = recorded("0064", "0064", "0065", "FFFF")
    fast, slow = series_of(runs, EYES), series_of(list(runs), EYES)
    assert (fast.low, fast.high, fast.values) == (slow.low, slow.high, slow.values)
    assert list(fast.values) == [10.0, 10.1, -0.1]
    assert list(fast.high) == [1.25, 2.25, 3.25]


def test_a_point_that_never_answered_has_no_numbers():
    assert len(series_of(recorded(), EYES).values) == 0


def test_runs_within_a_window_were_shown_surely_within_it():
    series = series_of(recorded("0064", "0065", "0066"), EYES)
    assert list(series.within(0.9, 1.25)) == [1]
    assert list(series.within(0.95, 1.2)) == []


def test_stretches_join_equal_meanings_and_break_at_gaps():
    runs = [Run(v, (), Seen(t, t + 0.1), Seen(t, t + 0.1)) for t, v in
            ((0.0, 1.0), (1.0, 1.1), (2.0, 5.0), (3.0, None), (9.0, 5.0))]  # fmt: skip
    found = series_of(runs, EYES).stretches(threshold(3.0, 0.5, rising=True), 2.0)
    assert [part.value for part in found] == [FALSE, TRUE, UNKNOWN, TRUE]
    assert found[0].last == Window(0.9, 1.1)


def test_threshold_leaves_the_doubt_open():
    above, below = threshold(10.0, 0.5, rising=True), threshold(10.0, 0.5, rising=False)
    assert [above(v) for v in (10.5, 10.4, 9.5)] == [TRUE, UNKNOWN, FALSE]
    assert [below(v) for v in (10.5, 10.4, 9.5)] == [FALSE, UNKNOWN, TRUE]
