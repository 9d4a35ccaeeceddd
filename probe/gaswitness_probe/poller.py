"""Reads the whole map again and again within the pace and keeps what it saw. Judges nothing."""

import asyncio
import math
from collections.abc import Callable, Sequence

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.history import PointHistory, Seen
from gaswitness_probe.poll_record import BlockRecord, Changes
from gaswitness_probe.read_plan import Block
from gaswitness_sitefile.site import Site

OnChange = Callable[[Seen, Changes], None]


class Poller:
    """Polls the blocks of `plan` in turn.

    A run of equal samples goes on while every exchange succeeds and the panel cannot have shown
    something else between two of them: from asking the one, less the register refresh, to the
    answer of the next it is no longer than the shortest dwell. `on_change` is told of every run
    that begins. `cycles` and `missed` count the cycles made, and those dropped to keep the pace.
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
        self._period_s = site.pace.poll_period_s
        self._longest_s = site.timing.shortest_dwell_s - site.timing.refresh_s
        self._records = tuple(BlockRecord(block) for block in plan)

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
        if not exchange.ok:
            record.broken = True
            problem = exchange.problem
            return problem is None or problem.deviation is not Deviation.NO_CONNECTION
        asked_s, answered_s = exchange.sent_s, exchange.received_s
        if not record.broken and answered_s - record.asked_s[-1] > self._longest_s:
            record.broken = True
        changed = record.add(asked_s, answered_s, exchange.payload)
        if changed and self._on_change is not None:
            changes = {track.name: track.latest() for track in changed}
            self._on_change(Seen(asked_s, answered_s), changes)
        return True

    async def run_until(self, stop: float | asyncio.Event) -> None:
        """Poll once a period until the instant `stop`, or until the event is set.

        A cycle that outlasts the period costs the cycles that it overlaps; none is made up for. The
        cycle that is under way at the end is finished.
        """
        begun_s = self._clock.now()
        tick = 0
        while not _over(stop, self._clock.now()):
            await self.cycle()
            due = (self._clock.now() - begun_s) / self._period_s
            following = max(tick + 1, math.ceil(due - 1e-9))
            self.missed += following - tick - 1
            tick = following
            await self._sleep_until(begun_s + tick * self._period_s, stop)

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


def _over(stop: float | asyncio.Event, now_s: float) -> bool:
    return stop.is_set() if isinstance(stop, asyncio.Event) else now_s >= stop
