"""The clock that a poller goes by: the run's, until the run is over. Nothing about panels here."""

from gaswitness_probe.clock import Clock


class PollingOver(Exception):
    """The run is over, and the poller between two cycles."""


class PollClock:
    """The run's clock; once told to `stop`, the next sleep raises PollingOver.

    A poller that never ends by itself is thus ended between two cycles, at the latest a poll
    period later, and without a task of its own for each sleep.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._stopped = False

    def stop(self) -> None:
        self._stopped = True

    def now(self) -> float:
        return self._clock.now()

    async def sleep_until(self, at_s: float) -> None:
        if not self._stopped:
            await self._clock.sleep_until(at_s)
        if self._stopped:
            raise PollingOver
