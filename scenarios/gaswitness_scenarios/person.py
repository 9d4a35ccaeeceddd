"""A person at a terminal: shown words, and asked for a line. Nothing about panels or scripts.

Lines are read in a thread, so that the run goes on asking the panel while the person works.
"""

import asyncio
import contextlib
import sys
import threading
from typing import Protocol, TextIO


class Person(Protocol):
    """Someone who reads what is shown and answers in lines."""

    def show(self, text: str) -> None:
        """Show whole lines."""
        ...

    async def answer(self, prompt: str) -> str | None:
        """The next line, without its end, blanks trimmed; None once no more will come."""
        ...


class TerminalPerson:
    """The person at this terminal, or at the streams given."""

    def __init__(self, source: TextIO | None = None, target: TextIO | None = None) -> None:
        self._source = sys.stdin if source is None else source
        self._target = sys.stdout if target is None else target
        self._unread: asyncio.Future[str | None] | None = None

    def show(self, text: str) -> None:
        print(text, file=self._target, flush=True)

    async def answer(self, prompt: str) -> str | None:
        if self._unread is None or self._unread.done():
            # A key hit while nothing was asked is no answer to what comes next.
            _drop_typed_ahead(self._source)
            self._unread = self._start_reading()
        print(prompt, end="", file=self._target, flush=True)
        return await asyncio.shield(self._unread)

    def _start_reading(self) -> "asyncio.Future[str | None]":
        loop = asyncio.get_running_loop()
        line: asyncio.Future[str | None] = loop.create_future()

        def settle(text: str) -> None:
            if not line.done():
                line.set_result(text.strip() if text else None)

        def read() -> None:
            try:
                text = self._source.readline()
            except (OSError, ValueError):  # closed under the reader: no more will come
                text = ""
            with contextlib.suppress(RuntimeError):  # the run is over: nobody waits any more
                loop.call_soon_threadsafe(settle, text)

        # A thread blocked in a terminal cannot be stopped; as a daemon it does not keep us alive.
        threading.Thread(target=read, name="person", daemon=True).start()
        return line


def _drop_typed_ahead(source: TextIO) -> None:
    try:
        if not source.isatty():
            return
    except ValueError:
        return
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getwch()
    else:
        import termios

        with contextlib.suppress(termios.error):
            termios.tcflush(source.fileno(), termios.TCIFLUSH)
