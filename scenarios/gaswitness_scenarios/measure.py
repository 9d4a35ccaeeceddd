"""A link measured: the read plan asked for a number of cycles at the site's pace, each request's
time beside the computed one. Reads only; nothing is judged or kept as evidence."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from gaswitness_probe.client import Client
from gaswitness_probe.errors import NoReply
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.links import open_link
from gaswitness_probe.read_plan import Block
from gaswitness_probe.timing import Request, poll_times
from gaswitness_scenarios.clock import LoopClock
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.site import Site


@dataclass(frozen=True, slots=True)
class Spread:
    """Least, middle and greatest of what was measured, in seconds."""

    least_s: float
    median_s: float
    most_s: float


@dataclass(frozen=True, slots=True)
class MeasuredRequest:
    """A request as computed, and as measured. `took`: None where it was never answered well.
    `failed`: how often it was not; `problem`: the last such, in words."""

    computed: Request
    took: Spread | None
    failed: int
    problem: str


@dataclass(frozen=True, slots=True)
class Measured:
    """`cycle`: from the first request sent to the last answer, of cycles that were whole.
    `allowed_s`: what was allowed for the panel's answer in the computed times."""

    requests: tuple[MeasuredRequest, ...]
    cycle: Spread | None
    cycles: int
    computed_cycle_s: float
    allowed_s: float

    @property
    def answer_s(self) -> float | None:
        """What the panel takes to answer, the wire aside: the slowest request's median.

        Never below 0: a network may be quicker than allowed for. None where nothing was answered.
        """
        found = [
            one.took.median_s - (one.computed.took_s - self.allowed_s)
            for one in self.requests
            if one.took is not None
        ]
        return max(0.0, *found) if found else None

    @property
    def failed(self) -> int:
        """Requests that were not answered, or not well."""
        return sum(one.failed for one in self.requests)


def measure(site: Site, link: LinkAddress, unit: int, cycles: int) -> Measured:
    """Read all blocks of the plan `cycles` times, one cycle a poll period at most.

    Raises NoConnection where nothing can be reached, NoReply where nothing was ever answered.
    """
    return asyncio.run(_measure(site, link, unit, cycles))


async def _measure(site: Site, link: LinkAddress, unit: int, cycles: int) -> Measured:
    times = poll_times(site, link)
    clock = LoopClock()
    transport, framing = open_link(link, site.pace)
    client = Client(transport, unit=unit, clock=clock, pace=site.pace, framing=framing)
    rounds: list[list[Exchange]] = []
    await client.open()
    try:
        begun_s = clock.now()
        for cycle in range(cycles):
            await clock.sleep_until(begun_s + cycle * site.pace.poll_period_s)
            rounds.append([await _read(client, request.block) for request in times.requests])
            if client.statistics.replies == 0:
                last = rounds[-1][-1].words
                raise NoReply(f"{link} takes the connection, but unit {unit} says nothing: {last}")
    finally:
        await client.close()
    requests = tuple(
        _measured(request, [made[at] for made in rounds])
        for at, request in enumerate(times.requests)
    )
    whole = [made for made in rounds if made and all(exchange.ok for exchange in made)]
    gap_s = times.requests[-1].busy_s - times.requests[-1].took_s if times.requests else 0.0
    return Measured(
        requests,
        _spread([made[-1].received_s - made[0].sent_s for made in whole]),
        len(rounds),
        times.cycle_s - gap_s,
        site.timing.answer_s,
    )


async def _read(client: Client, block: Block) -> Exchange:
    return await client.read(block.table, block.address, block.count)


def _measured(request: Request, exchanges: Sequence[Exchange]) -> MeasuredRequest:
    good = [exchange for exchange in exchanges if exchange.ok]
    bad = [exchange for exchange in exchanges if not exchange.ok]
    return MeasuredRequest(
        request,
        _spread([exchange.received_s - exchange.sent_s for exchange in good]),
        len(bad),
        bad[-1].words if bad else "",
    )


def _spread(seconds: Sequence[float]) -> Spread | None:
    if not seconds:
        return None
    return Spread(min(seconds), median(seconds), max(seconds))


def with_answer(site: Site, answer_s: float) -> Site:
    """The site with what the panel was measured to take in place of the allowance."""
    return site.model_copy(update={"timing": site.timing.model_copy(update={"answer_s": answer_s})})
