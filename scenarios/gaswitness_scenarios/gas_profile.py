"""How gas moves at a detector once a step begins: shapes in the channel's unit over seconds.

The sensor's own lag is the panel's affair, not a profile's.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import exp, log


@dataclass(frozen=True, slots=True)
class StepTo:
    """At once."""

    level: float

    @property
    def final(self) -> float:
        """Where it comes to rest."""
        return self.level


@dataclass(frozen=True, slots=True)
class RampTo:
    """In a straight line over `over_s`."""

    level: float
    over_s: float

    @property
    def final(self) -> float:
        """Where it comes to rest."""
        return self.level


@dataclass(frozen=True, slots=True)
class ExponentialTo:
    """Nearing `level` with time constant `tau_s`, as a mixed room does."""

    level: float
    tau_s: float

    @property
    def final(self) -> float:
        """Where it comes to rest."""
        return self.level


@dataclass(frozen=True, slots=True)
class Recorded:
    """As recorded: straight lines between the points, the last one held.

    `times_s` rise from 0 or later; before the first the line comes from the gas that was there.
    """

    name: str
    times_s: tuple[float, ...]
    levels: tuple[float, ...]

    @property
    def final(self) -> float:
        """Where it comes to rest."""
        return self.levels[-1]


Profile = StepTo | RampTo | ExponentialTo | Recorded


def gas_after(profile: Profile, start: float, elapsed_s: float) -> float:
    """The gas `elapsed_s` after the profile began at `start`."""
    match profile:
        case StepTo(level):
            return level
        case RampTo(level, over_s):
            return level if elapsed_s >= over_s else start + (level - start) * elapsed_s / over_s
        case ExponentialTo(level, tau_s):
            return level + (start - level) * exp(-elapsed_s / tau_s)
        case Recorded(_, times_s, levels):
            at = bisect_right(times_s, elapsed_s)
            if at == len(times_s):
                return levels[-1]
            t0, g0 = (times_s[at - 1], levels[at - 1]) if at else (0.0, start)
            return g0 + (levels[at] - g0) * (elapsed_s - t0) / (times_s[at] - t0)


def travel_s(profile: Profile, start: float, near: float) -> float:
    """Seconds until the gas has arrived; for an exponential, to within `near` of its level."""
    match profile:
        case StepTo():
            return 0.0
        case RampTo(_, over_s):
            return over_s
        case ExponentialTo(level, tau_s):
            gap = abs(start - level)
            return tau_s * log(gap / near) if gap > near else 0.0
        case Recorded(_, times_s, _):
            return times_s[-1]


def bounds(profile: Profile, start: float) -> tuple[float, float]:
    """Lowest and highest gas from the profile's beginning on."""
    match profile:
        case StepTo(level):
            return level, level
        case RampTo(level, _) | ExponentialTo(level, _):
            return min(start, level), max(start, level)
        case Recorded(_, times_s, levels):
            seen = levels if times_s[0] <= 0 else (start, *levels)
            return min(seen), max(seen)
