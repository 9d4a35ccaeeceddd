"""A link in memory: the probe's bytes to the virtual panel's session and back, with latency.

Real frames, of Modbus/TCP or RTU, no socket. What the frames mean is not known here.
"""

import asyncio
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from gaswitness_scenarios.options import Latency
from gaswitness_scenarios.virtual_loop import VirtualLoop
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import AS_IT_IS, Admission, Framing, Outgoing, Shaper
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.session import AnySession, Session
from gaswitness_simulator.units import Units


@dataclass(slots=True)
class _UnderWay:
    """Bytes on their way to the panel's session, which they reach at `arrives_s`."""

    session: AnySession
    data: bytes
    arrives_s: float
    back_s: float


class MemoryTransport:
    """One connection to a virtual panel, where panel and loop count the same seconds.

    A request reaches the panel after one latency, is answered as of that instant, and the answer
    arrives after another; bytes never overtake each other. The answer is made when it is due to
    arrive: whoever touches the panel before first calls `arrive_until`, so that the panel gets
    everything in order of time. `shaper`: what the link does to answers.
    """

    def __init__(
        self,
        device: VirtualDevice,
        now: Callable[[], float],
        latency: Latency = Latency(),  # noqa: B008 - frozen
        seed: int = 0,
        *,
        shaper: Shaper = AS_IT_IS,
        framing: Framing = "mbap",
    ) -> None:
        self._units = Units([device])
        self._line = RtuLine(self._units) if framing == "rtu" else None
        self._shaper = shaper
        self._connection = 0
        self._heard_s = 0.0
        self._now = now
        self._low_s = latency.low_s
        self._spread_s = latency.high_s - latency.low_s
        self._draw = random.Random(seed).random
        self._session: AnySession | None = None
        self._under_way: deque[_UnderWay] = deque()
        self._arrived: deque[bytes | None] = deque()
        self._returning: deque[tuple[AnySession, bytes | None]] = deque()
        self._waiting: asyncio.Future[None] | None = None
        self._reached_s = self._returned_s = 0.0

    async def open(self) -> None:
        await self.close()
        self._arrived.clear()
        self.arrive_until(self._now())
        self._connection += 1
        if self._shaper.connecting(self._connection, 0) is Admission.REFUSE:
            raise ConnectionRefusedError("the panel refuses the connection")
        self._heard_s = self._now()
        self._session = self._new_session()

    def _new_session(self) -> AnySession:
        if self._line is not None:
            return RtuSession(self._line, shaper=self._shaper, connection=self._connection)
        return Session(self._units, shaper=self._shaper, connection=self._connection)

    async def send(self, data: bytes) -> None:
        if self._session is None:
            raise ConnectionResetError("the link in memory is not open")
        draw, low_s, spread_s = self._draw, self._low_s, self._spread_s
        self._reached_s = max(self._reached_s, self._now() + low_s + spread_s * draw())
        back_s = low_s + spread_s * draw()
        self._under_way.append(_UnderWay(self._session, data, self._reached_s, back_s))

    async def receive(self) -> bytes:
        """Whatever has arrived; b"" once the panel has closed. ConnectionResetError where it has
        broken the connection."""
        while not self._arrived:
            if self._session is None:
                raise ConnectionResetError("the link in memory is not open")
            if not self._leap():
                await self._wait()
        first = self._arrived[0]
        if first is None:
            raise ConnectionResetError("the panel broke the connection")
        if first:
            self._arrived.popleft()
        return first

    def _leap(self) -> bool:
        """Be at the arrival of the next answer at once, where nothing happens before it."""
        if not self._under_way:
            return False
        loop = asyncio.get_running_loop()
        request = self._under_way[0]
        if not isinstance(loop, VirtualLoop) or not loop.leap(request.arrives_s + request.back_s):
            return False
        self.arrive_until(request.arrives_s)
        return True

    async def _wait(self) -> None:
        if self._under_way:
            request = self._under_way[0]
            self._at(request.arrives_s + request.back_s, self.arrive_until, request.arrives_s)
        self._waiting = asyncio.get_running_loop().create_future()
        try:
            await self._waiting
        finally:
            self._waiting = None

    async def close(self) -> None:
        if self._session is not None:
            self._shaper.gone(self._connection)
        self._session = None
        self._wake()

    def arrive_until(self, at_s: float) -> None:
        """Give the panel all that reaches it up to this instant."""
        while self._under_way and self._under_way[0].arrives_s <= at_s:
            request = self._under_way.popleft()
            for outgoing in self._answers(request):
                when_s = request.arrives_s + outgoing.delay_s + request.back_s
                if outgoing.data:
                    self._return(request.session, outgoing.data, when_s)
                if outgoing.close or outgoing.reset:
                    self._return(request.session, None if outgoing.reset else b"", when_s)

    def _answers(self, request: _UnderWay) -> list[Outgoing]:
        """What the panel sends back; it may have closed the connection for being idle."""
        idle_s, self._heard_s = request.arrives_s - self._heard_s, request.arrives_s
        limit_s = self._shaper.idle_limit_s
        if limit_s is not None and idle_s > limit_s:
            return [Outgoing(0.0, b"", close=True)]
        return request.session.receive(request.data, request.arrives_s)

    def _return(self, session: AnySession, data: bytes | None, when_s: float) -> None:
        self._returned_s = max(self._returned_s, when_s)
        if self._returned_s <= self._now() and not self._returning:
            self._arrive(session, data)
        else:
            # In the order in which they were made: timers of one instant come either way round.
            self._returning.append((session, data))
            self._at(self._returned_s, self._arrive_next)

    def _arrive_next(self) -> None:
        self._arrive(*self._returning.popleft())

    def _arrive(self, session: AnySession, data: bytes | None) -> None:
        if session is self._session:
            self._arrived.append(data)
            self._wake()

    def _wake(self) -> None:
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_result(None)

    def _at(self, when_s: float, call: Callable[..., None], *values: object) -> None:
        loop = asyncio.get_running_loop()
        loop.call_at(when_s + (loop.time() - self._now()), call, *values)
