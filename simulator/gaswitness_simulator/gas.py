"""Gas at a detector and the detector's lagged answer to it, in closed form over time.

First-order lag: tau dy/dt = g - y, with tau = t90 / ln 10. No noise, no limits, no alarms.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import Self

from gaswitness_simulator.stimulus import Exponential, Profile, Ramp, Step, Sum, Trace

GONE: float = 40.0
"""After this many time constants an exponential counts as over: e^-40 is below a float's grain."""

SHORTEST_S: float = 1e-6
"""A straight line shorter than this is a step, lest its slope swamp a float's digits."""


@dataclass(frozen=True, slots=True)
class Segment:
    """From `start_s` on, gas = level + slope u + amplitude exp(-u / decay_s), u since the start.

    `more`: further pairs (amplitude, decay_s), whose exponentials come on top.
    """

    start_s: float
    level: float
    slope: float = 0.0
    amplitude: float = 0.0
    decay_s: float = 0.0
    more: tuple[tuple[float, float], ...] = ()

    def gas(self, at_s: float) -> float:
        u = at_s - self.start_s
        gas = self.level + self.slope * u + self.amplitude * fading(u, self.decay_s)
        return gas + sum(a * fading(u, d) for a, d in self.more) if self.more else gas

    def moved_to(self, at_s: float) -> "Segment":
        """The same gas, told from a later start."""
        u = at_s - self.start_s
        more = tuple((a * fading(u, d), d) for a, d in self.more)
        amplitude = self.amplitude * fading(u, self.decay_s)
        level = self.level + self.slope * u
        return Segment(at_s, level, self.slope, amplitude, self.decay_s, more)

    def lagged(self, at_s: float, tau_s: float, first: float) -> float:
        """The lag's answer, `first` being its value at the start."""
        if tau_s == 0.0:
            return self.gas(at_s)
        if self.more:
            return self._lagged_sum(at_s - self.start_s, tau_s, first)
        u = at_s - self.start_s
        own = fading(u, tau_s)
        steady = self.level + self.slope * (u - tau_s)
        free = first - self.level + self.slope * tau_s
        if self.amplitude == 0.0:
            return steady + free * own
        if abs(self.decay_s - tau_s) <= 1e-6 * tau_s:
            return steady + (free + self.amplitude * u / tau_s) * own
        forced = self.amplitude * self.decay_s / (self.decay_s - tau_s)
        return steady + forced * fading(u, self.decay_s) + (free - forced) * own

    def _lagged_sum(self, u: float, tau_s: float, first: float) -> float:
        own = fading(u, tau_s)
        value = self.level + (first - self.level) * own
        for amplitude, decay_s in self.terms:
            x = u / tau_s - u / decay_s
            if abs(x) < 1.0:
                # The two time constants may be all but equal: no difference of near values here.
                value += amplitude * u / tau_s * own * (math.expm1(x) / x if x else 1.0)
            else:
                forced = amplitude * decay_s / (decay_s - tau_s)
                value += forced * (fading(u, decay_s) - own)
        return value

    @property
    def terms(self) -> tuple[tuple[float, float], ...]:
        """All exponentials, as pairs (amplitude, decay_s)."""
        return ((self.amplitude, self.decay_s), *self.more) if self.amplitude else self.more

    def swing(self, at_s: float) -> tuple[float, float]:
        """(lowest, highest) that a sum of exponentials may be from `at_s` on."""
        u = at_s - self.start_s
        parts = [amplitude * fading(u, decay_s) for amplitude, decay_s in self.terms]
        below, above = sum(min(0.0, x) for x in parts), sum(max(0.0, x) for x in parts)
        return self.level + below, self.level + above

    @property
    def slowest_s(self) -> float:
        """The longest of the exponentials' time constants; 0 without any."""
        return max((decay_s for _, decay_s in self.terms), default=0.0)

    @property
    def fastest(self) -> float:
        """The gas never changes faster than this in the segment, per second."""
        return abs(self.slope) + sum(abs(a) / decay_s for a, decay_s in self.terms)


def fading(u: float, tau_s: float) -> float:
    """exp(-u / tau_s), 0 once it no longer matters."""
    return math.exp(-u / tau_s) if u < GONE * tau_s else 0.0


@dataclass(frozen=True, slots=True)
class Air:
    """Gas at one detector from the start of its first segment on, and the lagged answer.

    `firsts`: lagged value at each segment's start. `ahead`: (lowest, highest) gas from each
    segment's start to the end of time.
    """

    tau_s: float
    segments: tuple[Segment, ...]
    starts: tuple[float, ...]
    firsts: tuple[float, ...]
    ahead: tuple[tuple[float, float], ...]
    settled_s: float

    @classmethod
    def still(cls, level: float, t90_s: float) -> Self:
        """Gas at `level` since ever."""
        return cls.at_rest(level, t90_s / math.log(10.0))

    @classmethod
    def at_rest(cls, level: float, tau_s: float) -> Self:
        """Gas at `level` since ever, at a detector with that time constant."""
        made = cls._of((Segment(0.0, level),), level, tau_s)
        return cls(made.tau_s, made.segments, made.starts, made.firsts, made.ahead, 0.0)

    def to(self, profile: Profile, at_s: float) -> Self:
        """The air as it goes on when `profile` begins at `at_s`."""
        segments = _segments(profile, self.gas(at_s), at_s)
        return self._of(segments, self.lagged(at_s), self.tau_s)

    def later_to(self, profile: Profile, at_s: float, *, dead_s: float, tau_s: float) -> Self:
        """As `to`, but the profile comes `dead_s` after `at_s`, and the lag is `tau_s` from `at_s`.

        What was to come before then still comes.
        """
        here = self._at(at_s)
        begins_s = at_s + dead_s
        first = self.segments[here].moved_to(at_s)
        kept = [one for one in self.segments[here + 1 :] if at_s < one.start_s < begins_s]
        begun = _segments(profile, self.gas(begins_s), begins_s)
        before = (first, *kept) if dead_s > 0.0 else ()
        return self._of((*before, *begun), self.lagged(at_s), tau_s)

    @classmethod
    def _of(cls, segments: tuple[Segment, ...], first: float, tau_s: float) -> Self:
        firsts = [first]
        for one, after in pairwise(segments):
            firsts.append(one.lagged(after.start_s, tau_s, firsts[-1]))
        last = segments[-1]
        ahead = [_hull(last.gas(last.start_s), last.level, *_swing(last, last.start_s))]
        for one, after in zip(segments[-2::-1], segments[:0:-1], strict=True):
            ends = one.gas(one.start_s), one.gas(after.start_s), *_swing(one, one.start_s)
            ahead.append(_hull(*ends, *ahead[-1]))
        starts = tuple(one.start_s for one in segments)
        settled_s = last.start_s + GONE * max(tau_s, last.slowest_s)
        return cls(tau_s, segments, starts, tuple(firsts), tuple(reversed(ahead)), settled_s)

    def gas(self, at_s: float) -> float:
        return self.segments[self._at(at_s)].gas(at_s)

    def lagged(self, at_s: float) -> float:
        i = self._at(at_s)
        return self.segments[i].lagged(at_s, self.tau_s, self.firsts[i])

    def reach(self, at_s: float) -> tuple[float, float]:
        """(lowest, highest) that the lagged value may be from `at_s` on."""
        now = self.lagged(at_s)
        if at_s >= self.settled_s:
            return now, now
        i = self._at(at_s)
        later = self.ahead[i + 1] if i + 1 < len(self.ahead) else ()
        end = self.segments[i + 1].start_s if later else math.inf
        swing = _swing(self.segments[i], at_s)
        low, high = _hull(now, self.gas(at_s), self._end(i, end), *later, *swing)
        grain = 1e-9 * (1.0 + abs(low) + abs(high))
        return low - grain, high + grain

    def fastest(self, at_s: float) -> float:
        """The lagged value never changes faster than this from `at_s` on, per second; infinite
        where a sensor without lag is to meet a step."""
        if self.tau_s > 0.0:
            low, high = self.reach(at_s)
            return (high - low) / self.tau_s
        ahead = self.segments[self._at(at_s) :]
        if any(_steps(one, after) for one, after in pairwise(ahead)):
            return math.inf
        return max(segment.fastest for segment in ahead)

    def _end(self, i: int, end_s: float) -> float:
        segment = self.segments[i]
        return segment.level if end_s == math.inf else segment.gas(end_s)

    def _at(self, at_s: float) -> int:
        return max(0, bisect_right(self.starts, at_s) - 1) if len(self.starts) > 1 else 0


def _steps(one: Segment, after: Segment) -> bool:
    """Whether the gas does not go on where the segment before left it."""
    left, found = one.gas(after.start_s), after.gas(after.start_s)
    return abs(found - left) > 1e-9 * (1.0 + abs(left))


def _hull(*values: float) -> tuple[float, float]:
    return min(values), max(values)


def _swing(segment: Segment, at_s: float) -> tuple[float, ...]:
    """Where a segment may turn on its way, how far it may go from `at_s` on."""
    return segment.swing(at_s) if segment.more else ()


def _segments(profile: Profile, now: float, at_s: float) -> tuple[Segment, ...]:
    match profile:
        case Step(level) | Exponential(level, 0.0):
            return (Segment(at_s, level),)
        case Ramp(level, over_s):
            return _lines(now, at_s, (over_s,), (level,))
        case Exponential(level, tau_s):
            return (Segment(at_s, level, amplitude=now - level, decay_s=tau_s),)
        case Sum(level, terms):
            amplitude, decay_s = terms[0] if terms else (0.0, 0.0)
            return (Segment(at_s, level, 0.0, amplitude, decay_s, terms[1:]),)
        case Trace(times_s, levels):
            return _lines(now, at_s, times_s, levels)


def _lines(
    now: float, at_s: float, times_s: tuple[float, ...], levels: tuple[float, ...]
) -> tuple[Segment, ...]:
    found: list[Segment] = []
    u, level = 0.0, now
    for next_u, next_level in zip(times_s, levels, strict=True):
        if next_u - u > SHORTEST_S:
            found.append(Segment(at_s + u, level, slope=(next_level - level) / (next_u - u)))
        u, level = next_u, next_level
    return (*found, Segment(at_s + u, level))
