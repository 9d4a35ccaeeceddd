"""The probe's one way to ask a panel: one request at a time, within the pace, each reply checked in
full. Knows no function that writes. A failing exchange is returned, never raised or retried."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.errors import NoConnection
from gaswitness_probe.exchange import Exchange, LinkStatistics
from gaswitness_probe.frames import (
    Adu,
    check_reply,
    identification_request,
    read_request,
)
from gaswitness_probe.framing import Framing, MbapFraming
from gaswitness_probe.transport import Transport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table

FIRST_BACK_OFF_S: Final = 0.1
LONGEST_BACK_OFF_S: Final = 5.0
SILENCES_BEFORE_RECONNECT: Final = 3
"""Time-outs in a row after which the connection counts as half-open and is made anew."""


class Client:
    """Reads from one unit over one transport; `framing` is Modbus/TCP where none is given.

    `pace.timeout_s` counts in seconds of the event loop, all else on `clock`. After a time-out the
    connection is kept: a framing with transaction ids tells late replies, the others wait the line
    out and may first ask something that can be told apart (see `rtu_framing`), which is recorded as
    the exchange that it is. After a close, a broken or untrustworthy stream, or three time-outs in
    a row (where silence can mean a broken connection) it is made anew at the next request that
    comes no sooner than the back-off allows (0.1 s, doubling to 5 s until something is answered).
    """

    def __init__(
        self,
        transport: Transport,
        *,
        unit: int,
        clock: Clock,
        pace: Pace,
        on_exchange: Callable[[Exchange], None] | None = None,
        framing: Framing | None = None,
    ) -> None:
        self.unit = unit
        self.clock = clock
        self.pace = pace
        self.statistics = LinkStatistics()
        self._transport = transport
        self._on_exchange = on_exchange
        self._framing: Framing = MbapFraming() if framing is None else framing
        self._turn = asyncio.Lock()
        self._open = False
        self._closed_while_listening = False
        self._seq = 0
        self._silences = 0
        self._back_off_s = FIRST_BACK_OFF_S
        self._free_s = float("-inf")

    @property
    def connected(self) -> bool:
        """Whether the connection is thought to stand."""
        return self._open

    @property
    def free_s(self) -> float:
        """The earliest instant at which the pace, or the back-off, lets the next request go."""
        return self._free_s

    async def open(self) -> None:
        """Connect. Raises NoConnection."""
        async with self._turn:
            try:
                await self._connect()
            except NoConnection:
                self.statistics.failed_connections += 1
                raise

    async def close(self) -> None:
        """Close the connection; a later request opens it again."""
        async with self._turn:
            self._open = False
            await self._transport.close()

    async def read(self, table: Table, address: int, count: int) -> Exchange:
        """Read `count` addresses of the table, from PDU address `address` on."""
        return await self.ask(read_request(table, address, count))

    async def read_identification(self, code: int = 1, object_id: int = 0) -> Exchange:
        """Ask once for device identification; `frames.parse_identification` reads the reply."""
        return await self.ask(identification_request(code, object_id))

    async def ask(self, pdu: bytes) -> Exchange:
        """Send a PDU and await its reply."""
        async with self._turn:
            barred = await self._ready(pdu)
            if barred is not None:
                return barred
            tag = self._framing.tag(self.unit, pdu)
            if tag is not None:
                sign = await self._exchange(tag, sign=True)
                if sign.problem is not None:
                    detail = (
                        "an earlier request went unanswered, and the one that was to show that its "
                        f"reply will not be taken for another failed: {sign.problem.deviation}"
                    )
                    return self._unasked(Deviation.NOT_CLEAR, detail, sign.received_s, pdu)
                barred = await self._ready(pdu)
                if barred is not None:
                    return barred
            return await self._exchange(pdu)

    async def _ready(self, pdu: bytes) -> Exchange | None:
        """Wait for the pace, or connect; where that cannot be now, the exchange that says so."""
        if not self._open:
            return await self._reconnect(pdu)
        if self.clock.now() < self._free_s:
            await self.clock.sleep_until(self._free_s)
        return None

    async def _exchange(self, pdu: bytes, *, sign: bool = False) -> Exchange:
        loop = asyncio.get_running_loop()
        framing = self._framing
        framing.notes = []
        framing.before(loop.time())
        if framing.quiet_until_s > loop.time():  # what comes is told with the request that follows
            await self._listen(loop)
        request = framing.begin(self.unit, pdu, loop.time())
        sent_s = self.clock.now()
        begun = loop.time()
        found: Adu | LinkProblem = LinkProblem(Deviation.ABANDONED, detail="the probe gave up")
        try:
            found = await self._reply(request, loop)
        finally:
            took_s = loop.time() - begun
            received_s = self.clock.now()
            problem, code = self._checked(request, found)
            framing.concluded(problem, refused=code is not None, now_s=loop.time())
            try:
                abandoned = problem is not None and problem.deviation is Deviation.ABANDONED
                if not abandoned and framing.quiet_until_s > loop.time():
                    await self._listen(loop)
            finally:
                exchange = self._concluded(request, found, problem, code, (sent_s, received_s))
                if sign:
                    exchange = replace(exchange, sign=True)
                self._free_s = received_s + self.pace.request_gap_s
                self._record(exchange, took_s)
        if self._lost(exchange):
            await self._give_up()
        return exchange

    async def _listen(self, loop: asyncio.AbstractEventLoop) -> None:
        """Hear the line out as long as the framing wants silence."""
        framing = self._framing
        while (rest_s := framing.quiet_until_s - loop.time()) > 0.0:
            if self._closed_while_listening:
                await asyncio.sleep(rest_s)
                return
            limit = asyncio.timeout(rest_s)
            try:
                async with limit:
                    data = await self._transport.receive()
            except OSError:
                # a time-out is an OSError too
                self._closed_while_listening = not limit.expired()
                continue
            if data:
                framing.overheard(data, loop.time())
            else:
                self._closed_while_listening = True

    async def _reply(self, request: bytes, loop: asyncio.AbstractEventLoop) -> Adu | LinkProblem:
        framing = self._framing
        limit = asyncio.timeout(self.pace.timeout_s + framing.wire_s)
        try:
            async with limit:
                await self._transport.send(request)
                while True:
                    found = framing.take()
                    if found is not None:
                        return found
                    data = await self._transport.receive()
                    if not data:
                        return self._cut(Deviation.CLOSED, "the panel closed the connection")
                    framing.feed(data, loop.time())
        except OSError as error:
            if limit.expired():
                return framing.silent(f"within {self.pace.timeout_s:g} s")
            return self._cut(Deviation.RESET, str(error))

    def _cut(self, deviation: Deviation, detail: str) -> LinkProblem:
        raw = self._framing.unfinished()
        if raw:
            detail += " in the middle of a reply"
        return LinkProblem(deviation, raw, detail)

    def _checked(
        self, request: bytes, found: Adu | LinkProblem
    ) -> tuple[LinkProblem | None, int | None]:
        """What is wrong with the reply, and its exception code."""
        if isinstance(found, LinkProblem):
            return found, None
        checked = check_reply(self._framing.pdu_of(request), found.pdu)
        if found.unit != self.unit:
            detail = f"asked unit {self.unit}, answered as unit {found.unit}"
            return LinkProblem(Deviation.WRONG_UNIT, found.raw, detail), None
        if checked.note is not None:
            self._framing.notes.append(checked.note)
        return checked.problem, checked.exception_code if checked.problem is None else None

    def _concluded(
        self,
        request: bytes,
        found: Adu | LinkProblem,
        problem: LinkProblem | None,
        code: int | None,
        span_s: tuple[float, float],
    ) -> Exchange:
        seq = self._seq
        self._seq += 1
        notes = self._framing.notes
        pdu = None
        if isinstance(found, LinkProblem):
            notes = [note for note in notes if note.raw != found.raw]
        tail = self._framing.tail(problem)
        if tail is not None and problem is None and tail.deviation is Deviation.TOO_LONG:
            problem, code = tail, None
        elif tail is not None:
            notes = [*notes, tail]
        if isinstance(found, Adu) and problem is None:
            pdu = found.pdu
        return Exchange(
            seq, span_s[0], span_s[1], request, found.raw, pdu, problem, code, tuple(notes)
        )

    def _record(self, exchange: Exchange, took_s: float) -> None:
        self.statistics.count(exchange, took_s)
        if self._on_exchange is not None:
            self._on_exchange(exchange)

    def _lost(self, exchange: Exchange) -> bool:
        """Whether the connection is to be given up: its stream cannot be trusted any more."""
        problem = exchange.problem
        lost = self._closed_while_listening or self._framing.lost(problem)
        if problem is None:
            self._silences = 0
            self._back_off_s = FIRST_BACK_OFF_S
        elif problem.deviation is Deviation.NO_REPLY:
            self._silences += 1
            if self._framing.silence_shows_break:
                lost = lost or self._silences >= SILENCES_BEFORE_RECONNECT
        else:
            self._silences = 0
            lost = lost or problem.deviation in _CONNECTION_LOST
        return lost

    async def _give_up(self) -> None:
        self._open = False
        self._silences = 0
        self._free_s = max(self._free_s, self.clock.now() + self._back_off_s)
        self._back_off_s = min(2 * self._back_off_s, LONGEST_BACK_OFF_S)
        await self._transport.close()

    async def _connect(self) -> None:
        try:
            await self._transport.open()
        except OSError as error:
            raise NoConnection(f"cannot connect: {error}") from error
        self.statistics.connections += 1
        self._closed_while_listening = False
        self._framing.opened()
        self._open = True

    async def _reconnect(self, pdu: bytes) -> Exchange | None:
        """Connect again; where that cannot be now, the exchange that says so."""
        begun_s = self.clock.now()
        if begun_s < self._free_s:
            detail = "waiting before the connection is tried again"
        else:
            try:
                await self._connect()
            except NoConnection as error:
                detail = str(error)
                self.statistics.failed_connections += 1
                await self._give_up()
            else:
                return None
        return self._unasked(Deviation.NO_CONNECTION, detail, begun_s, pdu)

    def _unasked(self, deviation: Deviation, detail: str, begun_s: float, pdu: bytes) -> Exchange:
        """An exchange in which nothing was sent, and why."""
        problem = LinkProblem(deviation, detail=detail)
        now_s = self.clock.now()
        exchange = Exchange(self._seq, begun_s, now_s, b"", b"", None, problem, unsent=pdu)
        self._seq += 1
        self._record(exchange, 0.0)
        return exchange


_CONNECTION_LOST: Final = frozenset({Deviation.CLOSED, Deviation.RESET})
