"""What polling a site takes on a link: each request, how far its samples lie apart, how old a
reading is when a client sees it. Pure sums over the read plan; nothing is asked here."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil

from gaswitness_probe.read_plan import Block, plan_reads
from gaswitness_probe.wire_time import Wire, data_bytes, wire_of
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.points import Point
from gaswitness_sitefile.site import Site

CLOSE = 1e-9


@dataclass(frozen=True, slots=True)
class Age:
    """How long ago the detector was read when a client sees the reading, in seconds.

    Best: read, put into the register, asked for and sent in a row. Worst: each step has just missed
    the one before. Typical: half of every wait.
    """

    best_s: float
    typical_s: float
    worst_s: float


@dataclass(frozen=True, slots=True)
class Request:
    """One read of the plan, in seconds.

    `took_s`: from its first byte to the last of its answer. `busy_s`: until the next may begin.
    `near_s`, `apart_s`: the least and the longest time from one such request to the next. `age`: of
    a reading that it brings. `request_bytes`, `answer_bytes`: on the wire.
    """

    block: Block
    request_bytes: int
    answer_bytes: int
    took_s: float
    busy_s: float
    period_s: float
    near_s: float
    apart_s: float
    age: Age

    @property
    def blind_s(self) -> float:
        """The longest time from asking for one sample to the answer of the next."""
        return self.apart_s + self.took_s


@dataclass(frozen=True)
class PollTimes:
    """`cycle_s`: every block read once. `load`: the share of time for which the link is taken."""

    site: Site
    wire: Wire
    requests: tuple[Request, ...]

    @property
    def cycle_s(self) -> float:
        """All blocks read once, in seconds."""
        return sum(request.busy_s for request in self.requests)

    @property
    def load(self) -> float:
        """The share of time for which the link is taken; above 1, polls are missed."""
        return sum(request.busy_s / request.period_s for request in self.requests)

    @property
    def overloaded(self) -> bool:
        """Whether the link cannot carry the pace."""
        return self.load > 1 + CLOSE

    @cached_property
    def _by_point(self) -> dict[str, Request]:
        return {point.name: request for request in self.requests for point in request.block.points}

    def of(self, point: Point) -> Request | None:
        """The request that reads the point; None where none does."""
        return self._by_point.get(point.name)

    def unseen(self) -> tuple[Request, ...]:
        """Requests between whose samples a state of the panel may come and go."""
        timing = self.site.timing
        longest_s = timing.shortest_dwell_s - timing.refresh_s
        return tuple(request for request in self.requests if request.blind_s >= longest_s)


def poll_times(site: Site, link: LinkAddress | None = None) -> PollTimes:
    """The times of the plan that the site's pace and the link make. Without a link: a network."""
    wire = wire_of(link, site.timing.answer_s)
    plan = plan_reads(site, link)
    busy_s = [wire.busy_s(_data(block), site.pace.request_gap_s) for block in plan]
    period_s = [block.period_s or site.pace.poll_period_s for block in plan]
    load = sum(busy / period for busy, period in zip(busy_s, period_s, strict=True))
    late_s = _late_s(busy_s, period_s, load)
    if len(late_s) > 1:
        # Which read goes next is settled before the gap, in which a fast one may still come due.
        late_s[min(late_s)] += max(site.pace.request_gap_s, wire.silence_s)
    return PollTimes(
        site,
        wire,
        tuple(
            _request(site, wire, block, late_s[period], _stretch(load))
            for block, period in zip(plan, period_s, strict=True)
        ),
    )


def _data(block: Block) -> int:
    return data_bytes(block.table, block.count)


def _stretch(load: float) -> int:
    """How many periods a row takes on a link that cannot carry the pace: none is made up for."""
    return max(1, ceil(load - CLOSE))


def _late_s(busy_s: Sequence[float], period_s: Sequence[float], load: float) -> dict[float, float]:
    """How much later than due a sample may be asked for on account of the other period's reads."""
    rows = {period: [0.0] for period in period_s}
    for busy, period in zip(busy_s, period_s, strict=True):
        rows[period].append(busy)
    if len(rows) < 2:
        return dict.fromkeys(rows, 0.0)
    fast, slow = sorted(rows)
    own_s, other_s = sum(rows[slow]), sum(rows[fast])
    length_s = own_s + other_s
    if load < 1:
        # A row of slow reads lets in every fast row that is due before it is done.
        while (longer_s := own_s + ceil(length_s / fast - CLOSE) * other_s) > length_s + CLOSE:
            length_s = longer_s
    # A read under way is not broken off: the fast row waits for one slow read at most.
    return {fast: max(rows[slow]), slow: length_s - own_s}


def _request(site: Site, wire: Wire, block: Block, late_s: float, stretch: int) -> Request:
    timing, data = site.timing, _data(block)
    period_s = block.period_s or site.pace.poll_period_s
    apart_s = period_s * stretch + late_s
    took_s = wire.exchange_s(data)
    waits_s = timing.scan_s + timing.refresh_s + apart_s
    return Request(
        block,
        wire.request_bytes,
        wire.answer_bytes + data,
        took_s,
        wire.busy_s(data, site.pace.request_gap_s),
        period_s,
        max(0.0, period_s - late_s),
        apart_s,
        Age(
            wire.response_s(data) + wire.round_trip_s / 2,
            waits_s / 2 + took_s,
            waits_s + took_s,
        ),
    )
