"""Serial ports and pseudo-terminals: bytes in and out. Frames and their timing are elsewhere."""

import asyncio
import os
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Final, Protocol

import serial

from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import LinkAddress, SerialLine

PSEUDO_TERMINAL: Final = "pty"
"""Name of a device that is none yet: a new pseudo-terminal."""
_MOST_BYTES: Final = 4096
_LONGEST_READ_S: Final = 0.1

Hears = Callable[[bytes], None]
Loses = Callable[[Exception], None]


class Port(Protocol):
    """`name`: what others open. `paced`: whether the line has a baud rate of its own."""

    name: str
    paced: bool

    def start(self, hears: Hears, loses: Loses) -> None:
        """Give what comes to `hears`, in the running loop; to `loses`, that there will be no more.

        Called once.
        """

    def write(self, data: bytes) -> None:
        """Send. What nobody takes is lost, as on a line."""

    def close(self) -> None:
        """Let go of the port."""


def open_port(address: LinkAddress, *, by_thread: bool | None = None) -> Port:
    """Open the serial port of an address, or a new pseudo-terminal where the device is `pty`.

    `by_thread`: read in a thread; None: where the loop cannot watch serial ports. Raises
    GaswitnessError where the port cannot be had.
    """
    if address.device == PSEUDO_TERMINAL:
        return OwnTerminal()
    line = address.serial or SerialLine()
    real = not is_pseudo_terminal(address.device)
    try:
        # A pseudo-terminal has neither baud nor parity, and some systems refuse to set them.
        port = serial.Serial(
            address.device,
            baudrate=line.baud if real else 9600,
            parity=line.parity[0].upper() if real else serial.PARITY_NONE,
            stopbits=line.stop if real else 1,
            timeout=_LONGEST_READ_S,
            write_timeout=1.0,
            exclusive=None if sys.platform == "win32" else True,
        )
    except (OSError, ValueError) as error:  # pyserial's own errors are OSErrors
        busy = "exclusively lock" in str(error)
        why = "another program has it" if busy else str(error)
        raise GaswitnessError(
            f"cannot open {address.device}: {why}. Is it plugged in, free, and yours to open?"
        ) from error
    threaded = sys.platform == "win32" if by_thread is None else by_thread
    return ThreadedPort(port, paced=real) if threaded else WatchedPort(port, paced=real)


def is_pseudo_terminal(device: str) -> bool:
    """Whether the device is a pseudo-terminal of this computer, where bytes take no time."""
    if device == PSEUDO_TERMINAL:
        return True
    where = str(Path(device).resolve())
    return where.startswith(("/dev/pts/", "/dev/ttys0", "/dev/ttyp"))


class _Watched:
    """Reads a file descriptor when the loop says that there is something."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._loop: asyncio.AbstractEventLoop | None = None
        os.set_blocking(descriptor, False)

    def start(self, hears: Hears, loses: Loses) -> None:
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self._descriptor, self._read, hears, loses)

    def write(self, data: bytes) -> None:
        with suppress(OSError):
            os.write(self._descriptor, data)

    def unwatch(self) -> None:
        if self._loop is not None:
            self._loop.remove_reader(self._descriptor)
            self._loop = None

    def _read(self, hears: Hears, loses: Loses) -> None:
        try:
            data = os.read(self._descriptor, _MOST_BYTES)
        except BlockingIOError:
            return
        except OSError as error:
            self.unwatch()
            loses(error)
            return
        if data:
            hears(data)
        else:
            self.unwatch()
            loses(OSError("the port has gone"))


class OwnTerminal(_Watched):
    """A pseudo-terminal made here. Both ends stay open, so that clients may come and go."""

    paced = False

    def __init__(self) -> None:
        if sys.platform == "win32":
            raise GaswitnessError(
                "this system has no pseudo-terminals: give a serial port, such as rtu:COM3"
            )
        import pty
        import tty

        ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.name = os.ttyname(self._theirs)
        super().__init__(ours)

    def close(self) -> None:
        self.unwatch()
        os.close(self._descriptor)
        os.close(self._theirs)


class WatchedPort(_Watched):
    """A serial port that the loop watches."""

    def __init__(self, port: serial.Serial, *, paced: bool) -> None:
        self._port = port
        self.name = str(port.port)
        self.paced = paced
        super().__init__(port.fileno())

    def close(self) -> None:
        self.unwatch()
        self._port.close()


class ThreadedPort:
    """A serial port read by a thread and written by another, where the loop cannot watch it."""

    def __init__(self, port: serial.Serial, *, paced: bool) -> None:
        self._port = port
        self.name = str(port.port)
        self.paced = paced
        self._ends = threading.Event()
        self._reader: threading.Thread | None = None
        self._writer = ThreadPoolExecutor(1, "serial-line-out")

    def start(self, hears: Hears, loses: Loses) -> None:
        loop = asyncio.get_running_loop()
        self._reader = threading.Thread(
            target=self._read, args=(loop, hears, loses), name="serial-line-in", daemon=True
        )
        self._reader.start()

    def write(self, data: bytes) -> None:
        self._writer.submit(self._write, data)

    def close(self) -> None:
        self._ends.set()
        self._writer.shutdown()
        if self._reader is not None:
            self._reader.join()
        self._port.close()

    def _write(self, data: bytes) -> None:
        with suppress(OSError):
            self._port.write(data)

    def _read(self, loop: asyncio.AbstractEventLoop, hears: Hears, loses: Loses) -> None:
        while not self._ends.is_set():
            try:
                data = self._port.read(1)
                data += self._port.read(self._port.in_waiting) if data else b""
            except OSError as error:
                with suppress(RuntimeError):  # the loop is closed: nobody is left to be told
                    loop.call_soon_threadsafe(loses, error)
                return
            if data:
                with suppress(RuntimeError):
                    loop.call_soon_threadsafe(hears, data)
