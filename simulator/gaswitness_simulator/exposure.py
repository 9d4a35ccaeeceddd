"""Averages of a reading over 15 min and 8 h, and whether they have reached their limits.

As EH40/2005 computes them: the short-term average is that of any 15 min, here always the last; the
long-term one is the sum over the last 24 h divided by 8 h, however long the shift. Time weighted:
a sample counts for the time since the last. Sums are kept in whole numbers, so nothing creeps.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

SAMPLE_S: Final = 10.0
"""So often the panel takes the reading into the averages."""
STEL_SAMPLES: Final = 90
TWA_SAMPLES: Final = 8640
TWA_DIVISOR: Final = 2880
"""15 min, 24 h and 8 h in samples."""

_GRAIN: Final = 2.0**-40


@dataclass(slots=True)
class Average:
    """The sum of the last `kept` samples over `divisor`. Times without a reading count as 0."""

    limit: float
    kept: int
    divisor: int
    total: int = 0
    samples: deque[tuple[int, int]] = field(default_factory=deque)
    on: bool = False

    def take(self, number: int, grains: int) -> None:
        """Take sample `number`; those that are `kept` samples older drop out."""
        if grains:
            self.samples.append((number, grains))
            self.total += grains
        while self.samples and self.samples[0][0] <= number - self.kept:
            self.total -= self.samples.popleft()[1]
        self.on = self.value >= self.limit - 1e-9 * abs(self.limit)

    @property
    def value(self) -> float:
        """The average, in the reading's unit."""
        return self.total * _GRAIN / self.divisor

    def clear(self) -> None:
        """Forget everything."""
        self.samples.clear()
        self.total, self.on = 0, False


@dataclass(slots=True)
class ExposureState:
    """A channel's averages by name, STEL and TWA. `number`: how many samples were due so far."""

    averages: Mapping[str, Average]
    number: int = -1

    @classmethod
    def of(cls, limits: Mapping[str, float]) -> "ExposureState":
        """`limits` by the name of the average, in the reading's unit."""
        sizes = {"STEL": (STEL_SAMPLES, STEL_SAMPLES), "TWA": (TWA_SAMPLES, TWA_DIVISOR)}
        return cls({name: Average(limit, *sizes[name]) for name, limit in limits.items()})

    def take(self, reading: float, at_s: float) -> bool:
        """Take the reading of a scan, where a sample is due. Says whether one was.

        Below 0 and no number count as 0: there is no negative exposure.
        """
        number = math.floor((at_s + 1e-9) / SAMPLE_S)
        if number == self.number:
            return False
        weight = 1 if self.number < 0 else number - self.number
        self.number = number
        grains = weight * round(reading / _GRAIN) if reading > 0.0 else 0
        for average in self.averages.values():
            average.take(number, grains)
        return True

    @property
    def shown(self) -> tuple[int, ...]:
        """What changes whenever an average does."""
        return (self.number, *(average.on for average in self.averages.values()))

    @property
    def due_s(self) -> float:
        """When the next sample is due."""
        return (self.number + 1) * SAMPLE_S

    def clear(self) -> None:
        """Forget everything, as a panel does without power."""
        self.number = -1
        for average in self.averages.values():
            average.clear()
