"""Serving a virtual panel over TCP. The only module of the simulator that touches the network."""

import asyncio
import socket
from collections.abc import Callable
from typing import Final, cast

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import Outgoing
from gaswitness_simulator.session import Session
from gaswitness_sitefile.errors import GaswitnessError

MOST_SESSIONS: Final = 32
"""One more connection closes the one that was idle longest (Messaging guide V1.0b, clause 4.2)."""


class TcpServer:
    """A panel being served. `host` and `port` are those that it listens on."""

    def __init__(self, device: VirtualDevice, now: Callable[[], float]) -> None:
        self.device = device
        self.now = now
        self.host = ""
        self.port = 0
        self.connections: dict[_Connection, None] = {}
        self._server: asyncio.Server | None = None

    async def listen(self, host: str, port: int) -> None:
        """Begin to listen; port 0 takes any free one."""
        loop = asyncio.get_running_loop()
        try:
            self._server = await loop.create_server(lambda: _Connection(self), host, port)
        except (OSError, OverflowError) as error:
            raise GaswitnessError(
                f"cannot listen on {host}:{port}: {error}. Is another program listening there? "
                "Choose another port, or 0 for any free one."
            ) from error
        self.host, self.port = self._server.sockets[0].getsockname()[:2]

    async def close(self) -> None:
        """Stop listening and close every connection."""
        if self._server is None:
            return
        self._server.close()
        for connection in tuple(self.connections):
            connection.abort()
        await self._server.wait_closed()
        self._server = None


async def serve_tcp(
    device: VirtualDevice, host: str, port: int, now: Callable[[], float]
) -> TcpServer:
    """Serve the panel on `host`:`port`; `now` gives the time of the run in seconds.

    Raises GaswitnessError where the port cannot be had.
    """
    server = TcpServer(device, now)
    await server.listen(host, port)
    return server


class _Connection(asyncio.Protocol):
    """Bytes between one client and its session. A client that does not read is not read from.

    TCP_NODELAY needs no setting: asyncio's transports have it.
    """

    def __init__(self, server: TcpServer) -> None:
        self._server = server
        self._session = Session(server.device)
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)
        raw = transport.get_extra_info("socket")
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._server.connections[self] = None
        if len(self._server.connections) > MOST_SESSIONS:
            next(iter(self._server.connections)).abort()

    def data_received(self, data: bytes) -> None:
        connections = self._server.connections
        if connections.pop(self, True) is None:
            connections[self] = None
        for outgoing in self._session.receive(data, self._server.now()):
            self._send(outgoing)

    def pause_writing(self) -> None:
        if self._transport is not None:
            self._transport.pause_reading()

    def resume_writing(self) -> None:
        if self._transport is not None:
            self._transport.resume_reading()

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002  asyncio's signature
        self._server.connections.pop(self, None)
        self._transport = None

    def abort(self) -> None:
        self._server.connections.pop(self, None)
        if self._transport is not None:
            self._transport.abort()

    def _send(self, outgoing: Outgoing) -> None:
        if outgoing.delay_s <= 0.0:
            self._put(outgoing)
            return
        asyncio.get_running_loop().call_later(outgoing.delay_s, self._put, outgoing)

    def _put(self, outgoing: Outgoing) -> None:
        if self._transport is None or self._transport.is_closing():
            return
        if outgoing.data:
            self._transport.write(outgoing.data)
        if outgoing.close:
            self._transport.close()
