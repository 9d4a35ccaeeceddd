"""What time and poisons do to a sensor: errors of zero and span that move in straight lines.

Pure: the shown value is zero + span x lagged value. Knows no panel.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Line:
    """From `first` at `begun_s` in a straight line to `last`, which it reaches after `over_s`."""

    begun_s: float
    first: float
    last: float
    over_s: float = 0.0

    def at(self, at_s: float) -> float:
        u = at_s - self.begun_s
        if u >= self.over_s:
            return self.last
        return self.first + (self.last - self.first) * u / self.over_s if u > 0.0 else self.first

    def slope(self, at_s: float) -> float:
        """The steepest that it still is, per second; infinite while a step is ahead."""
        if at_s - self.begun_s >= self.over_s:
            return 0.0
        if self.over_s == 0.0:
            return math.inf
        return abs(self.last - self.first) / self.over_s

    def to(self, last: float | None, at_s: float, over_s: float) -> "Line":
        """Another way from here on; None goes on as it is."""
        return self if last is None else Line(at_s, self.at(at_s), last, over_s)

    @property
    def settled_s(self) -> float:
        """When it has arrived."""
        return self.begun_s + self.over_s


@dataclass(frozen=True, slots=True)
class Ageing:
    """A sensor's errors: `zero` in the channel's unit, `span` as a share of a good sensor's."""

    zero: Line
    span: Line

    def shows(self, lagged: float, at_s: float) -> float:
        return self.zero.at(at_s) + self.span.at(at_s) * lagged

    def reach(self, low: float, high: float, at_s: float) -> tuple[float, float]:
        """(lowest, highest) that it shows from `at_s` on while the lagged value is within these."""
        zeros = self.zero.at(at_s), self.zero.last
        spans = self.span.at(at_s), self.span.last
        shares = [span * value for span in spans for value in (low, high)]
        return min(zeros) + min(shares), max(zeros) + max(shares)

    def fastest(self, lagged: float, low: float, high: float, at_s: float) -> float:
        """It never changes faster than this, per second, the lagged value changing by `lagged`."""
        span = max(self.span.at(at_s), self.span.last)
        largest = max(abs(low), abs(high))
        return span * lagged + self.span.slope(at_s) * largest + self.zero.slope(at_s)

    def to(self, zero: float | None, span: float | None, at_s: float, over_s: float) -> "Ageing":
        """The errors as they go on."""
        return Ageing(self.zero.to(zero, at_s, over_s), self.span.to(span, at_s, over_s))

    @property
    def settled_s(self) -> float:
        """When nothing changes any more."""
        return max(self.zero.settled_s, self.span.settled_s)


NEW = Ageing(Line(0.0, 0.0, 0.0), Line(0.0, 1.0, 1.0))
"""A sensor without errors."""
