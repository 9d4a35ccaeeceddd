"""Cycle, load, distance of samples and age of readings, worked out by hand for 9600 8E1."""

import asyncio
from itertools import pairwise

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.poller import Poller
from gaswitness_probe.read_plan import plan_reads
from gaswitness_probe.timing import poll_times
from gaswitness_sitefile.link_address import parse_link

LINE = parse_link("rtu:///dev/ttyS0?baud=9600&parity=even&stop=1")
# One register at 9600 8E1: 17.1875 ms of frames, silences of 4.010417 ms, 25.208333 ms in all;
# one bit: 14 characters, 16.041667 ms of frames, 24.0625 ms in all (V1.02 clause 2.5.1.1).
REGISTER_S = 0.025_208_333_333
BIT_S = 0.024_062_5
SILENCE_S = 0.004_010_416_667


def rows(registers=1):
    return [
        {"name": "K", "table": "coil", "address": 0, "type": "bit", "shows": "K1.active"},
        *(
            {"name": f"R{n}", "table": "input register", "address": 40 * n, "type": "int16",
             "shows": "AT-1.reading" if n == 0 else "spare"}
            for n in range(registers)
        ),
    ]  # fmt: skip


@pytest.fixture
def a_site(make_site):
    def make(registers=1, poll_s=1.0, fast=None, **timing):
        pace = {"poll_period_s": poll_s}
        if fast is not None:
            pace["fast"] = {"period_s": fast, "what": ["outputs"]}
        timing = {"answer_s": 0.0, "scan_s": 0.5, "refresh_s": 0.1} | timing
        return make_site(
            rows(registers), pace=pace, timing=timing, outputs=[{"tag": "K1", "kind": "relay"}]
        )

    return make


def test_cycle_and_load_are_those_of_the_formula(a_site):
    times = poll_times(a_site(), LINE)
    assert [r.busy_s for r in times.requests] == pytest.approx([BIT_S, REGISTER_S])
    assert [r.took_s for r in times.requests] == pytest.approx(
        [BIT_S - SILENCE_S, REGISTER_S - SILENCE_S]
    )
    assert times.cycle_s == pytest.approx(BIT_S + REGISTER_S)
    assert times.load == pytest.approx(BIT_S + REGISTER_S)
    assert not times.overloaded
    assert [(r.request_bytes, r.answer_bytes) for r in times.requests] == [(8, 6), (8, 7)]


def test_age_of_a_reading(a_site):
    """Best: the answer's 7 characters. Worst: scan 0.5, refresh 0.1, poll 1 and the exchange."""
    reading = poll_times(a_site(), LINE).requests[1]
    took_s = REGISTER_S - SILENCE_S
    assert reading.age.best_s == pytest.approx(7 * 11 / 9600)
    assert reading.age.typical_s == pytest.approx(0.8 + took_s)
    assert reading.age.worst_s == pytest.approx(1.6 + took_s)


def test_a_pace_that_the_line_cannot_carry_loses_every_other_poll(a_site):
    times = poll_times(a_site(registers=2, poll_s=0.05), LINE)  # 74.5 ms of 50
    assert times.overloaded
    assert [r.apart_s for r in times.requests] == pytest.approx([0.1] * 3)


def test_fast_samples_wait_for_one_slow_read_at_most(a_site):
    times = poll_times(a_site(registers=3, fast=0.2), LINE)
    coil, *registers = times.requests
    assert coil.period_s == 0.2
    assert coil.apart_s == pytest.approx(0.2 + REGISTER_S + SILENCE_S)
    # three reads of 25 ms let in one fast read
    assert [r.apart_s for r in registers] == pytest.approx([1.0 + BIT_S] * 3)
    assert times.load == pytest.approx(BIT_S / 0.2 + 3 * REGISTER_S)


def test_a_state_can_pass_between_samples_that_lie_too_far_apart(a_site):
    """Unseen: 1 s apart and the exchange, within a dwell of 1.1 s less the refresh of 0.1 s."""
    assert len(poll_times(a_site(shortest_dwell_s=1.1), LINE).unseen()) == 2
    assert poll_times(a_site(shortest_dwell_s=1.2), LINE).unseen() == ()


def test_over_a_network_only_the_number_of_requests_counts(a_site):
    times = poll_times(a_site(answer_s=0.02))
    assert times.cycle_s == pytest.approx(0.05, abs=1e-4)


class Line:
    """A line in memory that takes the time of the formula, and a clock that goes with it."""

    def __init__(self, wire):
        self.wire = wire
        self.at_s = 0.0
        self.sent = []

    def now(self):
        return self.at_s

    async def sleep_until(self, at_s):
        self.at_s = max(self.at_s, at_s)
        await asyncio.sleep(0)

    async def open(self):
        pass

    async def close(self):
        pass

    async def send(self, data):
        self.request = data
        self.sent.append((data[7], data[9], self.at_s))

    async def receive(self):
        function, count = self.request[7], int.from_bytes(self.request[10:12])
        size = (count + 7) // 8 if function < 3 else 2 * count
        self.at_s += self.wire.exchange_s(size)
        pdu = bytes((function, size)) + bytes(size)
        return self.request[:4] + (len(pdu) + 1).to_bytes(2) + self.request[6:7] + pdu


@pytest.mark.parametrize(
    ("registers", "poll_s", "fast"),
    [
        (1, 0.1, None),
        (3, 1.0, 0.2),
        (3, 0.3, 0.07),
        (3, 0.05, None),
        (3, 0.25, 0.1),
        (2, 0.2, 0.06),
    ],
)
async def test_the_poller_keeps_samples_as_near_as_was_worked_out(a_site, registers, poll_s, fast):
    """And the link is taken as long as was worked out, where it is not overloaded."""
    site = a_site(registers, poll_s, fast)
    site = site.model_copy(
        update={"pace": site.pace.model_copy(update={"request_gap_s": SILENCE_S})}
    )
    times = poll_times(site, LINE)
    line = Line(times.wire)
    client = Client(line, unit=1, clock=line, pace=site.pace)
    await client.open()
    await Poller(client, site, plan_reads(site, LINE), line).run_until(30.0)
    for request in times.requests:
        block = request.block
        key = (block.table.read_function, block.address)
        asked = [at_s for *found, at_s in line.sent if tuple(found) == key]
        gaps = [b - a for a, b in pairwise(asked)]
        assert max(gaps) <= request.apart_s + 1e-6
        assert max(gaps) >= request.period_s - 1e-6
    if not times.overloaded:
        taken_s = sum(
            request.busy_s
            for request in times.requests
            for *found, _ in line.sent
            if tuple(found) == (request.block.table.read_function, request.block.address)
        )
        assert taken_s / 30.0 == pytest.approx(times.load, rel=0.05)
