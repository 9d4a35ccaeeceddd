"""A timer for silences after the last byte. It measures; what a silence means is the session's."""

import asyncio
from collections.abc import Callable


class Quiet:
    """Calls `silent(quiet_s)` for each silence asked for, unless bytes come before."""

    def __init__(self, silent: Callable[[float], None]) -> None:
        self._silent = silent
        self._timers: list[asyncio.TimerHandle] = []

    def after_bytes(self, silences_s: tuple[float, ...]) -> None:
        """Bytes have come just now; wait for these silences, in seconds of the link."""
        if self._timers:
            self.cancel()
        if silences_s:
            loop = asyncio.get_running_loop()
            self._timers = [loop.call_later(s, self._silent, s) for s in silences_s]

    def cancel(self) -> None:
        """Wait no more."""
        for timer in self._timers:
            timer.cancel()
        if self._timers:
            self._timers = []
