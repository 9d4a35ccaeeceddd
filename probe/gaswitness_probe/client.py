"""The probe's one way to ask a panel: one request at a time, within the pace, each reply checked in
full. Knows no function that writes. A failing exchange is returned, never raised or retried."""

import asyncio
from collections.abc import Callable
from typing import Final

from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.errors import NoConnection
from gaswitness_probe.exchange import Exchange, LinkStatistics
from gaswitness_probe.frames import (
    Adu,
    Stream,
    check_reply,
    encode,
    identification_request,
    read_request,
)
from gaswitness_probe.transport import Transport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table

FIRST_BACK_OFF_S: Final = 0.1
LONGEST_BACK_OFF_S: Final = 5.0
SILENCES_BEFORE_RECONNECT: Final = 3
"""Time-outs in a row after which the connection counts as half-open and is made anew."""


class Client:
    """Reads from one unit over one transport.

    `pace.timeout_s` counts in seconds of the event loop, all else on `clock`. After a time-out the
    connection is kept, since transaction ids tell late replies; after a close, a broken or
    untrustworthy stream, or three time-outs in a row it is made anew at the next request that comes
    no sooner than the back-off allows (0.1 s, doubling to 5 s until something is answered).
    """

    def __init__(
        self,
        transport: Transport,
        *,
        unit: int,
        clock: Clock,
        pace: Pace,
        on_exchange: Callable[[Exchange], None] | None = None,
    ) -> None:
        self.unit = unit
        self.clock = clock
        self.pace = pace
        self.statistics = LinkStatistics()
        self._transport = transport
        self._on_exchange = on_exchange
        self._turn = asyncio.Lock()
        self._stream = Stream()
        self._open = False
        self._seq = 0
        self._transaction = 0
        self._issued = 0
        self._unanswered: set[int] = set()
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
            if self._open:
                if self.clock.now() < self._free_s:
                    await self.clock.sleep_until(self._free_s)
            else:
                barred = await self._reconnect()
                if barred is not None:
                    return barred
            return await self._exchange(pdu)

    async def _exchange(self, pdu: bytes) -> Exchange:
        self._transaction = transaction = (self._transaction + 1) & 0xFFFF
        self._unanswered.discard(transaction)
        request = encode(transaction, self.unit, pdu)
        loop = asyncio.get_running_loop()
        notes: list[LinkProblem] = []
        sent_s = self.clock.now()
        begun = loop.time()
        found: Adu | LinkProblem = LinkProblem(Deviation.ABANDONED, detail="the probe gave up")
        try:
            found = await self._reply(transaction, request, notes)
        finally:
            took_s = loop.time() - begun
            received_s = self.clock.now()
            self._free_s = received_s + self.pace.request_gap_s
            exchange = self._concluded(request, found, sent_s, received_s, notes)
            self._issued += 1
            self._record(exchange, took_s)
        await self._settle(exchange)
        return exchange

    async def _reply(
        self, transaction: int, request: bytes, notes: list[LinkProblem]
    ) -> Adu | LinkProblem:
        limit = asyncio.timeout(self.pace.timeout_s)
        try:
            async with limit:
                await self._transport.send(request)
                while True:
                    found = self._stream.take()
                    if found is None:
                        data = await self._transport.receive()
                        if not data:
                            return self._cut(Deviation.CLOSED, "the panel closed the connection")
                        self._stream.feed(data)
                    elif isinstance(found, LinkProblem) or found.transaction == transaction:
                        return found
                    else:
                        notes.append(self._stray(found, transaction))
        except OSError as error:
            if limit.expired():
                return self._silence(notes)
            return self._cut(Deviation.RESET, str(error))

    def _cut(self, deviation: Deviation, detail: str) -> LinkProblem:
        if self._stream.pending:
            detail += " in the middle of a reply"
        return LinkProblem(deviation, self._stream.pending, detail)

    def _silence(self, notes: list[LinkProblem]) -> LinkProblem:
        waited = f"within {self.pace.timeout_s:g} s"
        if self._stream.pending:
            raw = self._stream.pending
            return LinkProblem(Deviation.TRUNCATED, raw, f"the rest did not come {waited}")
        for note in notes:
            if note.deviation in (Deviation.WRONG_TRANSACTION, Deviation.REPEATED):
                return LinkProblem(Deviation.WRONG_TRANSACTION, note.raw, note.detail)
        return LinkProblem(Deviation.NO_REPLY, detail=f"nothing came {waited}")

    def _stray(self, found: Adu, transaction: int) -> LinkProblem:
        age = (transaction - found.transaction) & 0xFFFF
        if not 0 < age <= self._issued:
            detail = f"asked with {transaction:04X}, answered with {found.transaction:04X}"
            return LinkProblem(Deviation.WRONG_TRANSACTION, found.raw, detail)
        if found.transaction in self._unanswered:
            self._unanswered.discard(found.transaction)
            return LinkProblem(Deviation.LATE, found.raw, f"answers {age} requests before")
        return LinkProblem(Deviation.REPEATED, found.raw, f"answers {age} requests before")

    def _concluded(
        self,
        request: bytes,
        found: Adu | LinkProblem,
        sent_s: float,
        received_s: float,
        notes: list[LinkProblem],
    ) -> Exchange:
        seq = self._seq
        self._seq += 1
        if isinstance(found, LinkProblem):
            beside = tuple(note for note in notes if note.raw != found.raw)
            return Exchange(seq, sent_s, received_s, request, found.raw, None, found, notes=beside)
        checked = check_reply(request[7:], found.pdu)
        problem = checked.problem
        if found.unit != self.unit:
            detail = f"asked unit {self.unit}, answered as unit {found.unit}"
            problem = LinkProblem(Deviation.WRONG_UNIT, found.raw, detail)
        if checked.note is not None:
            notes.append(checked.note)
        if problem is None and self._stream.pending and self._stream.starts_badly():
            notes.append(LinkProblem(Deviation.UNASKED, self._stream.pending, "after the reply"))
        return Exchange(
            seq,
            sent_s,
            received_s,
            request,
            found.raw,
            found.pdu if problem is None else None,
            problem,
            checked.exception_code if problem is None else None,
            tuple(notes),
        )

    def _record(self, exchange: Exchange, took_s: float) -> None:
        if exchange.problem is not None and exchange.problem.deviation in _MAY_COME_LATE:
            self._unanswered.add(self._transaction)
        self.statistics.count(exchange, took_s)
        if self._on_exchange is not None:
            self._on_exchange(exchange)

    async def _settle(self, exchange: Exchange) -> None:
        """Keep the connection, or give it up where its stream cannot be trusted any more."""
        problem = exchange.problem
        if problem is None:
            self._silences = 0
            self._back_off_s = FIRST_BACK_OFF_S
            lost = bool(self._stream.pending) and self._stream.starts_badly()
        elif problem.deviation is Deviation.NO_REPLY:
            self._silences += 1
            lost = self._silences >= SILENCES_BEFORE_RECONNECT
        else:
            self._silences = 0
            lost = problem.deviation in _CONNECTION_LOST or bool(self._stream.pending)
        if lost:
            await self._give_up()

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
        self._stream = Stream()
        self._issued = 0
        self._open = True

    async def _reconnect(self) -> Exchange | None:
        """Connect again; where that cannot be now, the exchange that says so."""
        now = self.clock.now()
        if now < self._free_s:
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
        problem = LinkProblem(Deviation.NO_CONNECTION, detail=detail)
        exchange = Exchange(self._seq, now, self.clock.now(), b"", b"", None, problem)
        self._seq += 1
        self._record(exchange, 0.0)
        return exchange


_MAY_COME_LATE: Final = frozenset(
    {Deviation.NO_REPLY, Deviation.WRONG_TRANSACTION, Deviation.ABANDONED}
)
_CONNECTION_LOST: Final = frozenset({Deviation.CLOSED, Deviation.RESET})
