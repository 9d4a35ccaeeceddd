"""The clock that a survey goes by: what it showed is kept, so that the survey can be made again."""

from collections.abc import Iterable, Iterator
from math import inf

from gaswitness_probe.clock import Clock
from gaswitness_probe.kept_exchange import OutOfStepError


class KeptClock:
    """The run's clock; `instants` is what it showed whenever it was looked at."""

    def __init__(self, clock: Clock) -> None:
        self.instants: list[float] = []
        self._clock = clock

    def now(self) -> float:
        found = self._clock.now()
        self.instants.append(found)
        return found

    async def sleep_until(self, at_s: float) -> None:
        await self._clock.sleep_until(at_s)


class ClockAgain:
    """Shows what the clock showed then. Nobody waits, and time never goes back.

    Raises OutOfStepError where the record has it otherwise.
    """

    def __init__(self, instants: Iterable[float]) -> None:
        self.latest_s = -inf
        self._instants: Iterator[float] = iter(instants)

    def now(self) -> float:
        found = next(self._instants, None)
        if found is None:
            raise OutOfStepError("the survey's clock was looked at less often")
        self.reached(found)
        return found

    async def sleep_until(self, at_s: float) -> None:
        """At once: the next instant shows how long it took."""

    def reached(self, at_s: float) -> None:
        """Something happened at this instant."""
        if not at_s >= self.latest_s:
            raise OutOfStepError(f"time goes back from {self.latest_s:g} to {at_s:g} s")
        self.latest_s = at_s

    def finished(self) -> None:
        """Raises OutOfStepError where it was looked at more often."""
        if next(self._instants, None) is not None:
            raise OutOfStepError("the survey's clock was looked at more often")
