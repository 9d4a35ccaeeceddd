"""How bytes get to the panel and back. No frames here, no retries."""

import asyncio
import socket
from typing import Final, Protocol, cast

from gaswitness_probe.errors import NoConnection


class Transport(Protocol):
    """A way to one panel. May be opened again after it was closed."""

    async def open(self) -> None:
        """Connect. Raises NoConnection in words that say what to look at."""
        ...

    async def send(self, data: bytes) -> None:
        """Send all of `data`. Raises OSError where the connection is broken."""
        ...

    async def receive(self) -> bytes:
        """What has come, at least one byte; b"" where the peer has closed.

        May be cancelled without loss. Raises OSError where the connection is broken.
        """
        ...

    async def close(self) -> None:
        """Close; does nothing where it is closed."""
        ...


MOST_UNREAD_BYTES: Final = 65536
"""A peer that floods is read no further until someone asks for what it sent."""


class Incoming(asyncio.Protocol):
    """What came over one connection and was not asked for yet."""

    def __init__(self) -> None:
        self.transport: asyncio.Transport | None = None
        self.unread = bytearray()
        self.ended = False
        self.paused = False
        self.error: Exception | None = None
        self.waiter: asyncio.Future[None] | None = None
        self.gone = asyncio.Event()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # other event loops have transports of their own, which are no asyncio.Transport by class
        self.transport = cast("asyncio.Transport", transport)

    def data_received(self, data: bytes) -> None:
        self.unread += data
        if len(self.unread) > MOST_UNREAD_BYTES and self.transport is not None:
            self.transport.pause_reading()
            self.paused = True
        self._wake()

    def eof_received(self) -> None:
        self.ended = True
        self._wake()

    def connection_lost(self, exc: Exception | None) -> None:
        self.ended = True
        self.error = exc
        self.gone.set()
        self._wake()

    def _wake(self) -> None:
        if self.waiter is not None and not self.waiter.done():
            self.waiter.set_result(None)

    async def receive(self) -> bytes:
        while not self.unread:
            if self.error is not None:
                raise ConnectionResetError(str(self.error)) from self.error
            if self.ended:
                return b""
            self.waiter = asyncio.get_running_loop().create_future()
            try:
                await self.waiter
            finally:
                self.waiter = None
        data = bytes(self.unread)
        self.unread.clear()
        if self.paused:
            self.paused = False
            if self.transport is not None and not self.transport.is_closing():
                self.transport.resume_reading()
        return data


class TcpTransport:
    """A TCP connection to `host`:`port`. The time-out is in seconds of the event loop."""

    def __init__(self, host: str, port: int, connect_timeout_s: float = 5.0) -> None:
        self.host = host
        self.port = port
        self.connect_timeout_s = connect_timeout_s
        self._socket: Incoming | None = None

    async def open(self) -> None:
        """Connect. Raises NoConnection."""
        await self.close()
        where = f"{self.host}:{self.port}"
        try:
            async with asyncio.timeout(self.connect_timeout_s):
                found = await self._connected()
        except TimeoutError as error:
            raise NoConnection(
                f"nothing answers at {where} within {self.connect_timeout_s:g} s: check the "
                "address, the cable and any firewall between"
            ) from error
        except ConnectionRefusedError as error:
            raise NoConnection(
                f"{where} refuses the connection: check the port, that Modbus/TCP is switched on, "
                "and that no other client holds the panel's last free session"
            ) from error
        except socket.gaierror as error:
            raise NoConnection(
                f"the name {self.host!r} leads nowhere ({error.strerror}): check the address"
            ) from error
        except (OSError, UnicodeError) as error:
            raise NoConnection(f"cannot connect to {where}: {error}") from error
        assert found.transport is not None
        handle = found.transport.get_extra_info("socket")
        if handle is not None:
            # Messaging guide V1.0b clause 4.3.2 recommends keep-alive; asyncio sets TCP_NODELAY
            handle.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._socket = found

    async def _connected(self) -> Incoming:
        loop = asyncio.get_running_loop()
        _, found = await loop.create_connection(Incoming, self.host, self.port)
        return found

    async def send(self, data: bytes) -> None:
        """Send; the bytes of one request never fill the socket's buffer."""
        transport = self._open().transport
        if transport is None or transport.is_closing():
            raise ConnectionResetError("the connection is closed")
        transport.write(data)

    async def receive(self) -> bytes:
        """What has come; b"" where the peer has closed."""
        return await self._open().receive()

    async def close(self) -> None:
        """Close; does nothing where it is closed."""
        found, self._socket = self._socket, None
        if found is not None and found.transport is not None:
            found.transport.abort()
            await found.gone.wait()

    def _open(self) -> Incoming:
        if self._socket is None:
            raise ConnectionResetError("the connection is not open")
        return self._socket
