"""The panel's scan counter: when each scan is, which one was last, and its noise.

Scan k is at k * period + phase; scan -1 stands for the evaluation at time 0.
"""

import math
from dataclasses import dataclass, field

from gaswitness_simulator.level import TICK_S
from gaswitness_simulator.noise import noise


@dataclass(slots=True)
class Scanning:
    """`now` is the last scan that was; a phase lies above 0 and within one period."""

    period_s: float
    phase_s: float
    seed: int
    channels: int
    now: int = -1
    _drawn: dict[int, tuple[int, ...]] = field(default_factory=dict)

    def at_s(self, scan: int) -> float:
        return max(0.0, self.phase_s + scan * self.period_s)

    def last(self, to_s: float) -> int:
        """The last scan at or before `to_s`."""
        return last_instant(self.phase_s, self.period_s, to_s)

    def when_due(self, due_s: float) -> int:
        """The scan that must look at what is due at `due_s`, or the one before it where a float's
        grain leaves doubt."""
        return math.ceil((due_s - 2 * TICK_S - self.phase_s) / self.period_s)

    def noise(self, scan: int) -> tuple[int, ...]:
        """The scan's noise, one number a channel."""
        found = self._drawn.get(scan)
        if found is None:
            if len(self._drawn) > 3:
                self._drawn.clear()
            found = self._drawn[scan] = noise(self.seed, scan, self.channels)
        return found


def last_instant(phase_s: float, period_s: float, to_s: float) -> int:
    """The largest n with n * period + phase at or before `to_s`, never below -1."""
    n = math.floor((to_s - phase_s) / period_s)
    while phase_s + (n + 1) * period_s <= to_s:
        n += 1
    while n >= 0 and phase_s + n * period_s > to_s:
        n -= 1
    return max(n, -1)
