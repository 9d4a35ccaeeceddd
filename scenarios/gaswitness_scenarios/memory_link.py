"""A link in memory: the probe's bytes to the virtual panel's session and back, with latency.

Real MBAP frames, no socket. What the frames mean is not known here.
"""

import asyncio
import random
from collections.abc import Callable

from gaswitness_scenarios.options import Latency
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.session import Session


class MemoryTransport:
    """One connection to a virtual panel, in the seconds of the loop (virtual time has speed 1).

    A request reaches the panel after one latency, is answered at that instant, and the answer
    arrives after another. Bytes never overtake each other.
    """

    def __init__(
        self,
        device: VirtualDevice,
        now: Callable[[], float],
        latency: Latency = Latency(),  # noqa: B008 - frozen
        seed: int = 0,
    ) -> None:
        self._device = device
        self._now = now
        self._low_s = latency.low_s
        self._spread_s = latency.high_s - latency.low_s
        self._draw = random.Random(seed).random
        self._session: Session | None = None
        self._arrived: list[bytes] = []
        self._waiting: asyncio.Future[None] | None = None
        self._sent_until_s = self._answered_until_s = 0.0

    async def open(self) -> None:
        self._session = Session(self._device)
        self._arrived.clear()

    async def send(self, data: bytes) -> None:
        session = self._session
        if session is None:
            raise ConnectionResetError("the link in memory is not open")
        loop = asyncio.get_running_loop()
        now = loop.time()
        way_s = self._low_s + self._spread_s * self._draw()
        self._sent_until_s = max(self._sent_until_s, now + way_s)
        loop.call_at(self._sent_until_s, self._reach_panel, session, data)

    async def receive(self) -> bytes:
        """Whatever has arrived; b"" once the panel has closed."""
        if not self._arrived:
            self._waiting = asyncio.get_running_loop().create_future()
            try:
                await self._waiting
            finally:
                self._waiting = None
        if not self._arrived[0]:
            return b""
        return self._arrived.pop(0)

    async def close(self) -> None:
        self._session = None
        self._arrive(None, b"")

    def _reach_panel(self, session: Session, data: bytes) -> None:
        if session is not self._session:
            return
        loop = asyncio.get_running_loop()
        for outgoing in session.receive(data, self._now()):
            way_s = self._low_s + self._spread_s * self._draw()
            when = loop.time() + outgoing.delay_s + way_s
            self._answered_until_s = max(self._answered_until_s, when)
            if outgoing.data:
                loop.call_at(self._answered_until_s, self._arrive, session, outgoing.data)
            if outgoing.close:
                loop.call_at(self._answered_until_s, self._arrive, session, b"")

    def _arrive(self, session: Session | None, data: bytes) -> None:
        if session is not self._session:
            return
        self._arrived.append(data)
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_result(None)
