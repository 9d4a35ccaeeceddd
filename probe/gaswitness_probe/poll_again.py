"""A poll made again from its exchanges: the same samples, runs and histories. Pure."""

from collections.abc import Mapping, Sequence
from typing import Any

from gaswitness_probe.deviation import Deviation
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.frames import read_request
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.kept_exchange import OutOfStepError, request_pdu
from gaswitness_probe.poll_record import BlockRecord, Changes
from gaswitness_probe.poller import longest_between_s
from gaswitness_probe.read_plan import Block
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

_TABLES = {table.read_function: table for table in Table}


def blocks_of(body: Mapping[str, Any], site: Site) -> tuple[Block, ...]:
    """The blocks that an entry `polling` names. Raises OutOfStepError where they are not the
    site's."""
    named = {point.name: point for point in site.points}
    blocks = []
    try:
        for one in body["blocks"]:
            pdu = bytes.fromhex(one["pdu"])
            address, count = (int.from_bytes(pdu[at : at + 2], "big") for at in (1, 3))
            points = tuple(named[name] for name in one["points"])
            block = Block(_TABLES[pdu[0]], address, count, points, one["period_s"])
            if any(not address <= point.address <= point.end <= block.end for point in points):
                raise OutOfStepError("a block of the poll does not hold the points that it names")
            blocks.append(block)
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise OutOfStepError(f"the blocks polled are not the site's: {error}") from error
    return tuple(blocks)


class PollAgain:
    """What a poller would have kept, from the exchanges that it made, one after the other.

    A run that broke off and went on has polled more than once: nothing reaches from one poll into
    the next.
    """

    def __init__(self, site: Site, *, rtu: bool) -> None:
        self.rtu = rtu
        self._site = site
        self._longest_s = longest_between_s(site)
        self._polls: list[tuple[BlockRecord, ...]] = []
        self._by_pdu: dict[bytes, BlockRecord] = {}
        self._after: dict[bytes, tuple[BlockRecord, ...]] = {}

    def begin(self, blocks: Sequence[Block]) -> None:
        """A poll of these blocks begins."""
        records = tuple(BlockRecord(block) for block in blocks)
        self._polls.append(records)
        self._by_pdu, self._after = {}, {}
        for at, record in enumerate(records):
            block = record.block
            pdu = read_request(block.table, block.address, block.count)
            self._by_pdu[pdu] = record
            period_s = self._period_s(block)
            self._after[pdu] = tuple(
                later for later in records[at + 1 :] if self._period_s(later.block) == period_s
            )

    def _period_s(self, block: Block) -> float:
        return block.period_s or self._site.pace.poll_period_s

    def take(self, exchange: Exchange) -> tuple[Seen, Changes] | None:
        """Take in the poll's next exchange; what it changed, None where it changed nothing.

        Raises OutOfStepError where it reads none of the blocks.
        """
        if exchange.sign:
            return None
        pdu = request_pdu(exchange, rtu=self.rtu)
        record = self._by_pdu.get(pdu)
        if record is None:
            raise OutOfStepError(f"entry {exchange.seq} reads nothing that was polled")
        changed = record.take(exchange, self._longest_s)
        problem = exchange.problem
        if problem is not None and problem.deviation is Deviation.NO_CONNECTION:
            for later in self._after[pdu]:  # the rest of the row was not asked for
                later.broken = True
        if not changed:
            return None
        changes = {track.name: track.latest() for track in changed}
        return Seen(exchange.sent_s, exchange.received_s), changes

    def histories(self) -> dict[str, PointHistory]:
        """What was seen, by point."""
        found: dict[str, list[PointHistory]] = {}
        for records in self._polls:
            for record in records:
                for history in record.histories():
                    found.setdefault(history.name, []).append(history)
        return {name: _joined(name, parts) for name, parts in found.items()}


def _joined(name: str, parts: Sequence[PointHistory]) -> PointHistory:
    if len(parts) == 1:
        return parts[0]
    runs: list[Run] = [run for part in parts for run in part.runs]
    return PointHistory(name, runs)
