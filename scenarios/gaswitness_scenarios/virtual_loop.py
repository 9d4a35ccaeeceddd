"""An event loop whose time is virtual: it jumps to the next timer instead of waiting for it.

In-memory links only: a socket would get no time at all to answer. Nothing about panels here.
"""

import asyncio
import selectors
from collections.abc import Coroutine, Mapping
from typing import Any, TypeVar

Result = TypeVar("Result")
Ready = list[tuple[selectors.SelectorKey, int]]


class DeadlockError(RuntimeError):
    """Every task waits for another, and no timer runs: time would stand still for ever."""


class _JumpingSelector(selectors.BaseSelector):
    """Polls without waiting; when there is nothing to do, moves the loop's time on."""

    def __init__(self) -> None:
        self.inner = selectors.DefaultSelector()
        self.loop: VirtualLoop | None = None

    def select(self, timeout: float | None = None) -> Ready:
        if timeout == 0:
            return []
        if self.loop is not None:
            self.loop.jump()
        return []

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        return self.inner.register(fileobj, events, data)

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        return self.inner.unregister(fileobj)

    def get_map(self) -> Mapping[Any, selectors.SelectorKey]:
        return self.inner.get_map()

    def close(self) -> None:
        self.inner.close()


class VirtualLoop(asyncio.SelectorEventLoop):
    """Starts at time 0 and moves by jumps, exactly to the instants of its timers."""

    def __init__(self) -> None:
        self._now_s = 0.0
        selector = _JumpingSelector()
        super().__init__(selector)
        selector.loop = self
        # The platform's tick (15.6 ms on some) would let timers fire that much early.
        self._clock_resolution = 1e-9

    def time(self) -> float:
        return self._now_s

    def leap(self, when_s: float) -> bool:
        """Move time to `when_s` here and now, where nothing else would happen until then.

        Spares a task that waits for a known instant the way through the loop; True where done.
        Names as in `jump`.
        """
        if self._ready:  # type: ignore[attr-defined]
            return False
        scheduled: list[asyncio.TimerHandle] = self._scheduled  # type: ignore[attr-defined]
        if scheduled and scheduled[0].when() <= when_s:
            return False
        self._now_s = max(self._now_s, when_s)
        return True

    def jump(self) -> None:
        """Move time to the next timer.

        Raises DeadlockError where there is none.
        """
        # asyncio has no public way to ask for the next timer; the name is the same since 3.4.
        scheduled: list[asyncio.TimerHandle] = self._scheduled  # type: ignore[attr-defined]
        if not scheduled:
            raise DeadlockError(
                "nothing is left to do and no timer runs, yet the run is not over: a task waits "
                "for something that nobody will do"
            )
        self._now_s = max(self._now_s, scheduled[0].when())


def run_virtual(main: Coroutine[Any, Any, Result]) -> Result:
    """Run `main` to its end in virtual time, from 0.

    Raises DeadlockError where nobody is left who could go on, and whatever `main` raises.
    """
    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(main)
