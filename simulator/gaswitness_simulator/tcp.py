"""Serving virtual panels over TCP: Modbus/TCP, the same within TLS, or RTU frames.

Frames and answers are made by the sessions; here are sockets, connections and timers.
"""

import asyncio
import socket
import ssl
import struct
import sys
from collections import deque
from collections.abc import Callable, Collection
from itertools import count
from typing import Final, cast

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import AS_IT_IS, Admission, Framing, Outgoing, Shaper
from gaswitness_simulator.quiet import Quiet
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.session import AnySession, Session
from gaswitness_simulator.tls import role_of
from gaswitness_simulator.units import Units, units_of
from gaswitness_sitefile.errors import GaswitnessError

MOST_SESSIONS: Final = 32
"""One more connection closes the one that was idle longest (Messaging guide V1.0b, clause 4.2)."""
HANDSHAKE_S: Final = 10.0
RESET: Final = struct.pack("hh" if sys.platform == "win32" else "ii", 1, 0)
"""SO_LINGER with no time to linger: closing resets."""


class TcpServer:
    """Panels being served. `host` and `port` are those that it listens on.

    `numbers` gives each connection its number. `writers`: the roles that may write; counts with
    `tls` alone, where nobody else may.
    """

    def __init__(
        self,
        served: VirtualDevice | Units,
        now: Callable[[], float],
        *,
        framing: Framing = "mbap",
        shaper: Shaper = AS_IT_IS,
        numbers: Callable[[], int] | None = None,
        tls: ssl.SSLContext | None = None,
        writers: Collection[str] = (),
    ) -> None:
        self.units = units_of(served)
        self.now = now
        self.shaper = shaper
        self.host = ""
        self.port = 0
        self.connections: dict[_Connection, None] = {}
        self.number = count(1).__next__ if numbers is None else numbers
        self._line = RtuLine(self.units) if framing == "rtu" else None
        self._tls = tls
        self._writers = frozenset(writers)
        self._server: asyncio.Server | None = None

    async def listen(self, host: str, port: int) -> None:
        """Begin to listen; port 0 takes any free one."""
        loop = asyncio.get_running_loop()
        patience_s = None if self._tls is None else HANDSHAKE_S
        try:
            self._server = await loop.create_server(
                lambda: _Connection(self),
                host,
                port,
                ssl=self._tls,
                ssl_handshake_timeout=patience_s,
            )
        except (OSError, OverflowError) as error:
            raise GaswitnessError(
                f"cannot listen on {host}:{port}: {error}. Is another program listening there? "
                "Choose another port, or 0 for any free one."
            ) from error
        self.host, self.port = self._server.sockets[0].getsockname()[:2]

    def session(self, connection: int, peer: ssl.SSLObject | None) -> AnySession:
        """A session for a connection that has been made; `peer` where it is within TLS."""
        if self._line is not None:
            return RtuSession(self._line, shaper=self.shaper, connection=connection)
        may_write = self._tls is None or _role(peer) in self._writers
        return Session(self.units, shaper=self.shaper, connection=connection, may_write=may_write)

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
    served: VirtualDevice | Units,
    host: str,
    port: int,
    now: Callable[[], float],
    *,
    shaper: Shaper = AS_IT_IS,
) -> TcpServer:
    """Serve by Modbus/TCP on `host`:`port`; `now` gives the time of the run in seconds.

    Raises GaswitnessError where the port cannot be had.
    """
    server = TcpServer(served, now, shaper=shaper)
    await server.listen(host, port)
    return server


def _role(peer: ssl.SSLObject | None) -> str | None:
    certificate = None if peer is None else peer.getpeercert(binary_form=True)
    return None if certificate is None else role_of(certificate)


class _Connection(asyncio.Protocol):
    """Bytes between one client and its session. A client that does not read is not read from.

    TCP_NODELAY needs no setting: asyncio's transports have it.
    """

    def __init__(self, server: TcpServer) -> None:
        self._server = server
        self._number = server.number()
        self._session: AnySession | None = None
        self._transport: asyncio.Transport | None = None
        self._later: deque[Outgoing] = deque()
        self._quiet = Quiet(self._silence)
        self._idle: asyncio.TimerHandle | None = None
        self._idle_limit_s: float | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)
        raw = transport.get_extra_info("socket")
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        connections = self._server.connections
        admission = self._server.shaper.connecting(self._number, len(connections))
        if admission is Admission.REFUSE:
            self._reset()
            return
        if connections and (
            admission is Admission.DROP_OLDEST or len(connections) >= MOST_SESSIONS
        ):
            next(iter(connections)).abort()
        connections[self] = None
        self._session = self._server.session(self._number, transport.get_extra_info("ssl_object"))
        self._idle_limit_s = self._server.shaper.idle_limit_s
        self._watch_idleness()

    def data_received(self, data: bytes) -> None:
        session = self._session
        if session is None:
            return
        connections = self._server.connections
        if connections.pop(self, True) is None:
            connections[self] = None
        if self._idle_limit_s is not None:
            self._watch_idleness()
        for outgoing in session.receive(data, self._server.now()):
            if outgoing.delay_s <= 0.0 and not self._later:
                self._put(outgoing)
            else:
                self._send(outgoing)
        self._quiet.after_bytes(session.patience)

    def pause_writing(self) -> None:
        if self._transport is not None:
            self._transport.pause_reading()

    def resume_writing(self) -> None:
        if self._transport is not None:
            self._transport.resume_reading()

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002  asyncio's signature
        self._forget()
        self._transport = None

    def abort(self) -> None:
        self._forget()
        if self._transport is not None:
            self._transport.abort()

    def _forget(self) -> None:
        self._quiet.cancel()
        if self._idle is not None:
            self._idle.cancel()
        if self._server.connections.pop(self, True) is None:
            self._server.shaper.gone(self._number)

    def _watch_idleness(self) -> None:
        if self._idle is not None:
            self._idle.cancel()
        if self._idle_limit_s is not None:
            self._idle = asyncio.get_running_loop().call_later(self._idle_limit_s, self._close)

    def _close(self) -> None:
        if self._transport is not None:
            self._transport.close()

    def _reset(self) -> None:
        if self._transport is not None:
            raw = self._transport.get_extra_info("socket")
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
            self.abort()

    def _silence(self, quiet_s: float) -> None:
        if self._session is not None:
            for outgoing in self._session.silence(self._server.now(), quiet_s):
                self._send(outgoing)

    def _send(self, outgoing: Outgoing) -> None:
        if outgoing.delay_s <= 0.0 and not self._later:
            self._put(outgoing)
            return
        # In the order in which they were made: two timers due together may come either way round.
        self._later.append(outgoing)
        asyncio.get_running_loop().call_later(outgoing.delay_s, self._put_next)

    def _put_next(self) -> None:
        self._put(self._later.popleft())

    def _put(self, outgoing: Outgoing) -> None:
        transport = self._transport
        if transport is None or transport.is_closing():
            return
        if outgoing.data:
            transport.write(outgoing.data)
        if outgoing.reset:
            self._reset()
        elif outgoing.close:
            transport.close()
