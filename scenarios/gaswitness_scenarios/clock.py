"""The clock of a run: seconds of the run, over whatever event loop it runs in.

Not here: time that nobody plays (the loop's own), dates beyond the one anchor of the record.
"""

import asyncio
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

from gaswitness_scenarios.virtual_loop import VirtualLoop

CLOSE_S = 1e-9
"""A sleep that ends this much early, in seconds of the loop, has ended."""


def utc_now() -> str:
    """Date and time, ISO 8601, for the record; no decision is taken on it."""
    return datetime.now(UTC).isoformat(timespec="seconds")  # noqa: TID251


def seconds_since(utc: str) -> float:
    """Seconds from that date and time to now; 0 where it is none, or lies ahead."""
    try:
        then = datetime.fromisoformat(utc)
    except ValueError:
        return 0.0
    return max(0.0, (datetime.now(UTC) - then).total_seconds())  # noqa: TID251


def today() -> date:
    """The date here, for what expires."""
    return datetime.now().astimezone().date()  # noqa: TID251


class LoopClock:
    """Seconds of the run since this clock was made at `begin_s`, `speed` of them in a second of
    the loop.

    `utc_of_zero`: the instant at which it shows 0, ISO 8601. On an ordinary loop time is read by
    `time.perf_counter`, since `time.monotonic`, by which the loop itself goes, ticks at 15.6 ms on
    Windows before Python 3.13. Make it inside the loop.
    """

    def __init__(self, speed: float = 1.0, begin_s: float = 0.0) -> None:
        self._loop = asyncio.get_running_loop()
        self._virtual = self._loop if isinstance(self._loop, VirtualLoop) else None
        self.is_virtual = self._virtual is not None
        self._tick: Callable[[], float] = self._loop.time if self.is_virtual else time.perf_counter
        self.speed = speed
        self._base_s = begin_s
        self._mark = self._tick()
        # The record must say when it was made; no decision is taken on the date.
        zero = datetime.now(UTC) - timedelta(seconds=begin_s)  # noqa: TID251
        self.utc_of_zero = zero.isoformat(timespec="milliseconds")

    def now(self) -> float:
        return self._base_s + (self._tick() - self._mark) * self.speed

    def take_speed(self, speed: float) -> None:
        """Go on from this instant at another speed."""
        tick = self._tick()
        self._base_s += (tick - self._mark) * self.speed
        self._mark = tick
        self.speed = speed

    async def sleep_until(self, at_s: float) -> None:
        """Wait until the clock shows `at_s`; let others go first where it already does."""
        if self._virtual is not None:
            await self._sleep_exactly(self._virtual, at_s)
            return
        await asyncio.sleep(0)
        # The loop's timers may be early by its clock's tick, hence again until it is time.
        while (left_s := (at_s - self.now()) / self.speed) > CLOSE_S:  # noqa: ASYNC110
            await asyncio.sleep(left_s)

    async def _sleep_exactly(self, loop: VirtualLoop, at_s: float) -> None:
        # asyncio.sleep adds to the present and rounds; a timer at an instant is exact.
        when = self._mark + (at_s - self._base_s) / self.speed
        if when <= self._tick():
            await asyncio.sleep(0)
            return
        if loop.leap(when):
            return
        woken: asyncio.Future[None] = loop.create_future()
        timer = loop.call_at(when, _wake, woken)
        try:
            await woken
        finally:
            timer.cancel()


def _wake(woken: asyncio.Future[None]) -> None:
    if not woken.done():
        woken.set_result(None)
