"""Reads the whole map again and again within the pace and keeps what it saw. Judges nothing."""

import asyncio
import math
from collections.abc import Callable, Sequence
from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.history import PointHistory, Seen
from gaswitness_probe.poll_record import BlockRecord, Changes
from gaswitness_probe.read_plan import Block
from gaswitness_sitefile.site import Site

CLOSE_S: Final = 1e-9
"""Instants as close as this are the same: sums of periods are rounded."""

OnChange = Callable[[Seen, Changes], None]


class Poller:
    """Polls the blocks of `plan` in turn, each as often as its period says.

    A run of equal samples goes on while every exchange succeeds and the panel cannot have shown
    something else between two of them: from asking the one, less the register refresh, to the
    answer of the next it is no longer than the shortest dwell. `on_change` is told of every run
    that begins. `cycles` and `missed` count the cycles made, and those dropped to keep the pace;
    of blocks with a shorter period than the poll period only the missed ones count.
    """

    def __init__(
        self,
        client: Client,
        site: Site,
        plan: Sequence[Block],
        clock: Clock,
        on_change: OnChange | None = None,
    ) -> None:
        self.cycles = 0
        self.missed = 0
        self._client = client
        self._clock = clock
        self._on_change = on_change
        self._longest_s = longest_between_s(site)
        self._records = tuple(BlockRecord(block) for block in plan)
        self._rows = _rows_of(self._records, site.pace.poll_period_s)
        self._just_read: _Row | None = None

    async def cycle(self) -> bool:
        """Read every block once; whether all of them were answered."""
        whole = True
        connected = True
        for record in self._records:
            if connected:
                connected = await self._read(record)
            else:
                record.broken = True
            whole = whole and not record.broken
        self.cycles += 1
        return whole

    async def _read(self, record: BlockRecord) -> bool:
        """Read one block; whether there is a connection."""
        block = record.block
        exchange = await self._client.read(block.table, block.address, block.count)
        changed = record.take(exchange, self._longest_s)
        if changed and self._on_change is not None:
            changes = {track.name: track.latest() for track in changed}
            self._on_change(Seen(exchange.sent_s, exchange.received_s), changes)
        problem = exchange.problem
        return problem is None or problem.deviation is not Deviation.NO_CONNECTION

    async def run_until(self, stop: float | asyncio.Event) -> None:
        """Poll until the instant `stop`, or until the event is set.

        The blocks of a period are read in a row, once a period. A row that outlasts its period
        costs the ones that it overlaps; none is made up for. Between two reads of a slower row a
        faster one that is due goes first, but never twice running where a slower one waits. What is
        under way at the end is finished.
        """
        begun_s = until_s = self._clock.now()
        for row in self._rows:
            row.begin(begun_s)
        while True:
            # A timer may fire a trifle before its instant: what was waited for is due all the same.
            until_s = max(until_s, self._clock.now())
            over = _over(stop, self._clock.now())
            close_s = until_s + CLOSE_S
            due = [
                row for row in self._rows if row.under_way or (not over and row.due_s <= close_s)
            ]
            if not due and over:
                return
            if due and not await self._go_on(self._first(due), begun_s):
                continue
            # Also where the next is due already: whoever ends the run does so between two rows.
            if not any(row.under_way for row in self._rows):
                until_s = min(row.due_s for row in self._rows)
                if until_s > self._clock.now():
                    self._just_read = None
            await self._sleep_until(until_s, stop)

    def _first(self, due: Sequence["_Row"]) -> "_Row":
        """The fastest, but for one that was just read and must not keep all others waiting."""
        return next((row for row in due if row is not self._just_read), due[0])

    async def _go_on(self, row: "_Row", begun_s: float) -> bool:
        """Read a row's next block, all where no other row may come between; whether it is done."""
        self._just_read = None
        await self._read_next(row)
        while row.under_way:
            if len(self._rows) > 1:
                return False
            await self._read_next(row)
        self._just_read = row
        if row is self._rows[-1]:
            self.cycles += 1
        self.missed += row.finish(begun_s, self._clock.now())
        return True

    async def _read_next(self, row: "_Row") -> None:
        record = row.next()
        if record is not None and not await self._read(record):
            row.give_up()

    async def _sleep_until(self, at_s: float, stop: float | asyncio.Event) -> None:
        if not isinstance(stop, asyncio.Event):
            await self._clock.sleep_until(min(at_s, stop))
            return
        sleep = asyncio.ensure_future(self._clock.sleep_until(at_s))
        stopped = asyncio.ensure_future(stop.wait())
        try:
            await asyncio.wait({sleep, stopped}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (sleep, stopped):
                task.cancel()
            await asyncio.wait({sleep, stopped})
        if not sleep.cancelled():
            sleep.result()

    def histories(self) -> dict[str, PointHistory]:
        """What was seen so far, by point; later polls do not change what this returned."""
        return {history.name: history for record in self._records for history in record.histories()}


def longest_between_s(site: Site) -> float:
    """From asking one sample to the answer of the next, the longest in which the panel cannot have
    shown something else, in seconds."""
    return site.timing.shortest_dwell_s - site.timing.refresh_s


class _Row:
    """The blocks of one period: which is next, and when they are due."""

    def __init__(self, period_s: float, records: Sequence[BlockRecord]) -> None:
        self.period_s = period_s
        self.due_s = 0.0
        self._records = records
        self._read = 0
        self._tick = 0

    @property
    def under_way(self) -> bool:
        """Whether some of the blocks were read and others were not yet."""
        return self._read > 0

    def begin(self, now_s: float) -> None:
        self._read = self._tick = 0
        self.due_s = now_s

    def next(self) -> BlockRecord | None:
        """The block to be read now; None where the row has none."""
        if not self._records:
            return None
        record = self._records[self._read]
        self._read = (self._read + 1) % len(self._records)
        return record

    def give_up(self) -> None:
        """There is no connection: the rest of the row is not asked for."""
        if self._read:
            for record in self._records[self._read :]:
                record.broken = True
            self._read = 0

    def finish(self, begun_s: float, now_s: float) -> int:
        """The row is read; how many rows it has cost that were due meanwhile."""
        due = (now_s - begun_s) / self.period_s
        following = max(self._tick + 1, math.ceil(due - CLOSE_S))
        missed = following - self._tick - 1
        self._tick = following
        self.due_s = begun_s + following * self.period_s
        return missed


def _rows_of(records: Sequence[BlockRecord], poll_period_s: float) -> tuple[_Row, ...]:
    """The blocks by period, the shortest first; an empty row where there is nothing to read."""
    rows: dict[float, list[BlockRecord]] = {}
    for record in records:
        rows.setdefault(record.block.period_s or poll_period_s, []).append(record)
    if not rows:
        return (_Row(poll_period_s, ()),)
    return tuple(_Row(period_s, row) for period_s, row in sorted(rows.items()))


def _over(stop: float | asyncio.Event, now_s: float) -> bool:
    return stop.is_set() if isinstance(stop, asyncio.Event) else now_s >= stop
