"""A serial line of this machine, through pyserial and without blocking the event loop: the loop
watches the port where the platform lets it, a thread reads elsewhere. No frames here."""

import asyncio
import contextlib
import errno
import os
import sys
from collections.abc import Callable
from threading import Thread
from typing import Final

import serial
from serial.tools import list_ports

from gaswitness_probe.errors import NoConnection
from gaswitness_probe.transport import MOST_UNREAD_BYTES
from gaswitness_sitefile.link_address import SerialLine

_PARITY: Final = {
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "none": serial.PARITY_NONE,
}
if sys.platform == "win32":
    _UNSETTABLE: tuple[type[Exception], ...] = ()
else:
    import termios

    _UNSETTABLE = (termios.error,)

READ_PAUSE_S: Final = 0.05
"""How long the reading thread waits for bytes before it looks whether it is to end."""


def port_parity(device: str, line: SerialLine) -> str:
    """The parity to open the port with, as pyserial writes it. A pseudo-terminal has none, and some
    systems refuse to set one there."""
    real = os.path.realpath(device)
    return serial.PARITY_NONE if real.startswith("/dev/pts/") else _PARITY[line.parity]


class SerialTransport:
    """The port `device` with a line's settings; used by this program alone while it is open."""

    def __init__(self, device: str, line: SerialLine, *, by_thread: bool | None = None) -> None:
        self.device = device
        self.line = line
        self._by_thread = sys.platform == "win32" if by_thread is None else by_thread
        self._port: serial.Serial | None = None
        self._reader: Thread | None = None
        self._unread = bytearray()
        self._error: Exception | None = None
        self._waiter: asyncio.Future[None] | None = None

    async def open(self) -> None:
        """Open the port. Raises NoConnection."""
        await self.close()
        try:
            self._port = await asyncio.to_thread(self._opened)
        except (OSError, ValueError, *_UNSETTABLE) as error:
            raise NoConnection(f"{self.device}: {_opening_words(error, self.device)}") from error
        self._unread.clear()
        self._error = None
        loop = asyncio.get_running_loop()
        if self._by_thread:
            self._reader = Thread(target=self._read_on, args=(self._port, loop), daemon=True)
            self._reader.start()
        else:
            loop.add_reader(self._port.fileno(), self._readable, self._port)

    def _opened(self) -> serial.Serial:
        port = serial.Serial(
            None,
            self.line.baud,
            parity=port_parity(self.device, self.line),
            stopbits=self.line.stop,
            timeout=READ_PAUSE_S if self._by_thread else 0,
            exclusive=None if sys.platform == "win32" else True,
        )
        port.port = self.device
        port.open()
        port.reset_input_buffer()
        return port

    def _readable(self, port: serial.Serial) -> None:
        try:
            data = port.read(max(1, port.in_waiting))
        except OSError as error:
            asyncio.get_running_loop().remove_reader(port.fileno())
            self._fail(error)
            return
        self._take(data)
        if len(self._unread) > MOST_UNREAD_BYTES:
            asyncio.get_running_loop().remove_reader(port.fileno())

    def _read_on(self, port: serial.Serial, loop: asyncio.AbstractEventLoop) -> None:
        def tell(call: Callable[..., None], *values: object) -> None:
            with contextlib.suppress(RuntimeError):  # the loop has gone
                loop.call_soon_threadsafe(call, *values)

        while self._port is port:
            try:
                data = port.read(max(1, port.in_waiting))
            except (OSError, TypeError) as error:  # pyserial raises TypeError where it was closed
                if self._port is port:
                    tell(self._fail, error)
                return
            if data:
                tell(self._take, data)

    def _take(self, data: bytes) -> None:
        self._unread += data
        self._wake()

    def _fail(self, error: Exception) -> None:
        self._error = error
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    async def send(self, data: bytes) -> None:
        """Hand the bytes to the port. Raises OSError where it has gone."""
        port = self._open()
        try:
            if self._by_thread:
                await asyncio.to_thread(port.write, data)
            else:
                # a request is shorter than any driver's buffer, so that this does not wait
                port.write(data)
        except OSError as error:
            raise ConnectionResetError(_gone_words(self.device, error)) from error

    async def receive(self) -> bytes:
        """What has come, at least one byte. Raises OSError where the port has gone."""
        port = self._open()
        while not self._unread:
            if self._error is not None:
                raise ConnectionResetError(_gone_words(self.device, self._error)) from self._error
            self._waiter = asyncio.get_running_loop().create_future()
            try:
                await self._waiter
            finally:
                self._waiter = None
        data = bytes(self._unread)
        self._unread.clear()
        if len(data) > MOST_UNREAD_BYTES and not self._by_thread:
            asyncio.get_running_loop().add_reader(port.fileno(), self._readable, port)
        return data

    async def close(self) -> None:
        """Close; does nothing where it is closed."""
        port, self._port = self._port, None
        if port is None:
            return
        if self._reader is not None:
            await asyncio.to_thread(self._reader.join)
            self._reader = None
        else:
            asyncio.get_running_loop().remove_reader(port.fileno())
        with contextlib.suppress(OSError):
            port.close()

    def _open(self) -> serial.Serial:
        if self._port is None:
            raise ConnectionResetError("the serial port is not open")
        return self._port


def _opening_words(error: Exception, device: str) -> str:
    text = str(error)
    number = getattr(error, "errno", None)
    if "exclusively lock" in text:
        return "another program has this serial port: end it first"
    if isinstance(error, (ValueError, *_UNSETTABLE)):
        return f"the port does not take these settings: {error}"
    if number == 2 or "FileNotFoundError" in text:
        if device == "pty":
            return "only `serve` makes a pseudo-terminal: give the path that it prints"
        ports = ", ".join(sorted(found.device for found in list_ports.comports()))
        return f"there is no such serial port; this machine has {ports or 'none'}"
    if number == 13 or "PermissionError" in text:
        remedy = "join the group that owns it" if os.name == "posix" else "end what uses it"
        return f"you may not use this serial port: {remedy}, then try again"
    if any(f"({kind}," in text for kind in (errno.ENOTTY, errno.ENODEV)):
        return "this is no serial port"
    return f"cannot be opened as a serial port: {text}"


def _gone_words(device: str, error: Exception) -> str:
    return f"the serial port {device} has gone: is the converter unplugged? ({error})"
