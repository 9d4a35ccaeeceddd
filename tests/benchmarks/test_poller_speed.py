"""How much of a poll cycle is the probe's own: five blocks and 600 points over a link in memory,
beside the bare exchange of the same frames."""

import struct
import time

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.poller import Poller
from gaswitness_probe.read_plan import plan_reads
from gaswitness_sitefile.site import Site

CYCLES = 3000
SHIFT = 28800  # eight hours at one cycle a second

POINTS = [
    {
        "name": f"F{block}-{n}",
        "table": "input register",
        "address": 200 * block + 2 * n,
        "type": "float32",
        "shows": "spare",
    }
    for block in range(4)
    for n in range(62)
] + [
    {"name": f"D{n}", "table": "discrete input", "address": n, "type": "bit", "shows": "spare"}
    for n in range(352)
]


class Clock:
    at_s = 0.0

    def now(self):
        return self.at_s

    async def sleep_until(self, at_s):
        self.at_s = max(self.at_s, at_s)


class Peer:
    """Answers reads of input registers and discrete inputs at once."""

    def __init__(self):
        self.image = {2: bytearray(44), 4: bytearray(1600)}
        self.reply = b""

    async def open(self):
        pass

    async def close(self):
        pass

    async def send(self, data):
        transaction, unit, function, address, count = struct.unpack(">H4xBBHH", data)
        first, size = (0, (count + 7) // 8) if function == 2 else (2 * address, 2 * count)
        body = bytes(self.image[function][first : first + size])
        head = struct.pack(">HHHBBB", transaction, 0, size + 3, unit, function, size)
        self.reply = head + body

    async def receive(self):
        return self.reply


def site():
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "pace": {"poll_period_s": 1.0},
            "points": POINTS,
        }
    )


async def bare(peer, plan):
    for _ in range(CYCLES):
        for block in plan:
            request = struct.pack(
                ">HHHBBHH", 1, 0, 6, 1, block.table.read_function, block.address, block.count
            )
            await peer.send(request)
            await peer.receive()


async def polled(peer, plan, change):
    clock = Clock()
    client = Client(peer, unit=1, clock=clock, pace=site().pace)
    poller = Poller(client, site(), plan, clock)
    await client.open()
    for cycle in range(CYCLES):
        clock.at_s = float(cycle)
        change(peer, cycle)
        await poller.cycle()
    assert poller.cycles == CYCLES
    return poller


def drift(peer, cycle):
    for n in range(64):
        at = 400 * (n // 16) + 4 * (n % 16)
        peer.image[4][at : at + 4] = struct.pack(">f", 0.37 * cycle + n)


@pytest.mark.benchmark
async def test_a_shift_of_polls_takes_seconds(capsys):
    plan = plan_reads(site())
    assert (len(plan), sum(len(block.points) for block in plan)) == (5, 600)
    begun = time.perf_counter()
    await bare(Peer(), plan)
    bare_s = time.perf_counter() - begun
    begun = time.perf_counter()
    await polled(Peer(), plan, lambda peer, cycle: None)
    equal_s = time.perf_counter() - begun
    begun = time.perf_counter()
    poller = await polled(Peer(), plan, drift)
    drift_s = time.perf_counter() - begun
    assert len(poller.histories()["F0-0"].runs) == CYCLES
    with capsys.disabled():
        for name, took_s in (("bare", bare_s), ("equal", equal_s), ("64 drifting", drift_s)):
            each = took_s / CYCLES
            print(f"{name}: {1 / each:.0f} cycles/s, {SHIFT * each:.2f} s for {SHIFT} cycles")
    # measured 11 and 19 times the bare exchange
    assert equal_s < 30 * bare_s
    assert drift_s < 50 * bare_s
