"""A point's numbers over time, decoded once: what readings and levels are judged from."""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import nan

from gaswitness_probe.history import Run
from gaswitness_probe.observe import Eyesight, Stretch
from gaswitness_probe.poll_record import Row, Runs
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Truth, Window


@dataclass(frozen=True, slots=True)
class Series:
    """Runs of equal numbers, oldest first: value i was shown from `low[i]` to `high[i]`.

    `low`: the earliest instant of its first sample; `first`: the latest instant of that one;
    `last`: the earliest instant of its last sample; `high`: the latest instant of that one.
    `values` are in the point's unit; NaN where a sample showed no number.
    """

    low: "array[float]"
    first: "array[float]"
    last: "array[float]"
    high: "array[float]"
    values: "array[float]"

    def ended_by(self, instant_s: float) -> int:
        """How many of the runs ended no later than the instant."""
        return bisect_right(self.high, instant_s)

    def begun_by(self, instant_s: float) -> int:
        """How many of the runs had surely begun by the instant."""
        return bisect_right(self.first, instant_s)

    def begun_before(self, instant_s: float) -> int:
        """How many of the runs may have begun before the instant."""
        return bisect_left(self.low, instant_s)

    def within(self, low: float, high: float) -> range:
        """The runs that were shown at some instant surely within [low, high]."""
        if low > high:
            return range(0)
        return range(bisect_left(self.last, low), bisect_right(self.first, high))

    def stretches(self, beyond: Callable[[float], Truth], dwell_s: float) -> list[Stretch]:
        """Where a condition on the number is known to hold, or not to; NaN says nothing."""
        found: list[Stretch] = []
        start = 0
        value: Truth | None = None
        for index, number in enumerate(self.values):
            here = beyond(number) if number == number else UNKNOWN  # noqa: PLR0124  NaN differs
            if here is value and self.first[index] - self.last[index - 1] < dwell_s:
                continue
            if value is not None:
                found.append(self._stretch(value, start, index - 1))
            start, value = index, here
        if value is not None:
            found.append(self._stretch(value, start, len(self.values) - 1))
        return found

    def _stretch(self, value: Truth, start: int, end: int) -> Stretch:
        return Stretch(
            value,
            Window(self.low[start], self.first[start]),
            Window(self.last[end], self.high[end]),
        )


def series_of(runs: Sequence[Run], eyesight: Eyesight) -> Series:
    """The runs of a numeric point as arrays."""
    columns = [array("d") for _ in range(5)]
    add_low, add_first, add_last, add_high, add_value = (column.append for column in columns)
    refresh_s = eyesight.refresh_s
    rows = runs.rows() if isinstance(runs, Runs) else _rows(runs)
    for first_asked, first_answered, last_asked, last_answered, value in rows:
        add_low(first_asked - refresh_s)
        add_first(first_answered)
        add_last(last_asked - refresh_s)
        add_high(last_answered)
        add_value(float(value) if isinstance(value, float | int) else nan)
    return Series(*columns)


def _rows(runs: Sequence[Run]) -> Iterator[Row]:
    for run in runs:
        first, last = run.first, run.last
        yield first.asked_s, first.answered_s, last.asked_s, last.answered_s, run.value


def threshold(value: float, doubt: float, *, rising: bool) -> Callable[[float], Truth]:
    """Whether a number lies beyond a threshold, upwards or downwards; unknown within the doubt."""
    over, under = value + doubt, value - doubt

    def above(number: float) -> Truth:
        return TRUE if number >= over else FALSE if number <= under else UNKNOWN

    def below(number: float) -> Truth:
        return TRUE if number <= under else FALSE if number >= over else UNKNOWN

    return above if rising else below
