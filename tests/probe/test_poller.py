"""The poller in stepped time: a clock that jumps, and a link in memory that carries real frames."""

import asyncio
import struct

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.history import Run, Seen
from gaswitness_probe.poller import Poller
from gaswitness_probe.read_plan import plan_reads


class SteppedClock:
    def __init__(self):
        self.at_s = 0.0
        self.waits = []

    def now(self):
        return self.at_s

    async def sleep_until(self, at_s):
        self.waits.append(at_s)
        self.at_s = max(self.at_s, at_s)
        await asyncio.sleep(0)


class Memory:
    """A panel behind the probe's Transport: registers, discrete inputs, and a delay per reply."""

    def __init__(self, clock):
        self.clock = clock
        self.registers = [0] * 100
        self.bits = [0] * 100
        self.delay_s = 0.0
        self.exception = None
        self.gone = False
        self.asked = 0
        self.before = lambda number: None
        self.reply = b""

    async def open(self):
        if self.gone:
            raise ConnectionRefusedError("gone")

    async def close(self):
        pass

    async def send(self, data):
        if self.gone:
            raise ConnectionResetError("gone")
        self.before(self.asked)
        self.asked += 1
        transaction, unit, function, address, count = struct.unpack(">H4xBBHH", data)
        if self.exception:
            pdu = bytes((function | 0x80, self.exception))
        elif function == 2:
            bits = self.bits[address : address + count]
            body = sum(b << n for n, b in enumerate(bits)).to_bytes((count + 7) // 8, "little")
            pdu = bytes((function, len(body))) + body
        else:
            body = struct.pack(f">{count}H", *self.registers[address : address + count])
            pdu = bytes((function, len(body))) + body
        self.reply = struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu
        self.clock.at_s += self.delay_s

    async def receive(self):
        reply, self.reply = self.reply, b""
        return reply


POINTS = [
    {"name": "R0", "table": "input register", "address": 0, "type": "int16", "scale": 0.1},
    {"name": "F1", "table": "input register", "address": 1, "type": "float32"},
    {"name": "W0", "table": "input register", "address": 3, "type": "bit in word", "bit": 0},
    {"name": "W9", "table": "input register", "address": 3, "type": "bit in word", "bit": 9},
    {"name": "D0", "table": "discrete input", "address": 10, "type": "bit"},
    {"name": "D9", "table": "discrete input", "address": 19, "type": "bit"},
    *(
        {"name": f"D{n}", "table": "discrete input", "address": 10 + n, "type": "bit"}
        for n in range(1, 9)
    ),
]


class Bench:
    def __init__(self, make_site, on_change=None, **parts):
        parts = {
            "pace": {"poll_period_s": 0.5},
            "timing": {"shortest_dwell_s": 2.0, "refresh_s": 0.1},
        } | parts
        points = [p | {"shows": "spare"} for p in POINTS]
        self.site = make_site(points, **parts)
        self.clock = SteppedClock()
        self.memory = Memory(self.clock)
        self.client = Client(self.memory, unit=1, clock=self.clock, pace=self.site.pace)
        self.poller = Poller(self.client, self.site, plan_reads(self.site), self.clock, on_change)

    def runs(self, name):
        return list(self.poller.histories()[name].runs)


@pytest.fixture
async def bench(make_site):
    found = Bench(make_site)
    await found.client.open()
    return found


async def test_equal_samples_are_one_run(bench):
    bench.memory.registers[0] = 209
    for at_s in (0.0, 0.5, 1.0):
        bench.clock.at_s = at_s
        assert await bench.poller.cycle()
    assert bench.runs("R0") == [Run(20.9, (209,), Seen(0.0, 0.0), Seen(1.0, 1.0), 3)]


async def test_both_instants_of_a_request_are_kept(bench):
    bench.memory.delay_s = 0.25
    await bench.poller.cycle()
    # discrete inputs are read first, then the input registers
    assert bench.runs("D0")[0].first == Seen(0.0, 0.25)
    assert bench.runs("R0")[0].first == Seen(0.25, 0.5)


async def test_change_ends_one_run_and_begins_the_next(bench):
    for at_s, value in ((0.0, 209), (0.5, 209), (1.0, 210)):
        bench.clock.at_s = at_s
        bench.memory.registers[0] = value
        await bench.poller.cycle()
    assert [(r.value, r.first.asked_s, r.last.asked_s, r.count) for r in bench.runs("R0")] == [
        (20.9, 0.0, 0.5, 2),
        (21.0, 1.0, 1.0, 1),
    ]
    assert len(bench.runs("F1")) == 1


async def test_bits_of_one_word_change_each_for_itself(bench):
    for register in (0x0001, 0x0201, 0x0200):
        bench.memory.registers[3] = register
        await bench.poller.cycle()
    assert [(r.value, r.count) for r in bench.runs("W0")] == [(True, 2), (False, 1)]
    assert [(r.value, r.raw, r.count) for r in bench.runs("W9")] == [
        (False, (0x0001,), 1),
        (True, (0x0201,), 2),
    ]


async def test_discrete_inputs_change_each_for_itself(bench):
    for bits in ((0, 0), (1, 0), (1, 1)):
        bench.memory.bits[10], bench.memory.bits[19] = bits
        await bench.poller.cycle()
    assert [(r.value, r.raw, r.count) for r in bench.runs("D0")] == [
        (False, (0,), 1),
        (True, (1,), 2),
    ]
    assert [(r.value, r.count) for r in bench.runs("D9")] == [(False, 2), (True, 1)]
    assert [(r.value, r.count) for r in bench.runs("D5")] == [(False, 3)]


async def test_floats_are_decoded_when_looked_at(bench):
    for value in (20.9, 50.0):
        bench.memory.registers[1:3] = struct.unpack(">HH", struct.pack(">f", value))
        await bench.poller.cycle()
    assert [r.value for r in bench.runs("F1")] == [20.899999618530273, 50.0]
    assert bench.runs("F1")[1].raw == (0x4248, 0x0000)


async def test_failed_exchange_ends_the_runs(bench):
    await bench.poller.cycle()
    bench.memory.exception = 6
    assert not await bench.poller.cycle()
    bench.memory.exception = None
    await bench.poller.cycle()
    assert [r.count for r in bench.runs("R0")] == [1, 1]


@pytest.mark.parametrize(("gap_s", "runs"), [(1.9, 1), (1.91, 2)])
async def test_gap_in_which_a_state_could_hide_ends_the_runs(bench, gap_s, runs):
    # dwell 2.0 s less refresh 0.1 s
    await bench.poller.cycle()
    bench.clock.at_s = gap_s
    await bench.poller.cycle()
    assert len(bench.runs("R0")) == runs


async def test_slow_reply_counts_as_part_of_the_gap(bench):
    await bench.poller.cycle()
    bench.clock.at_s = 1.0
    bench.memory.delay_s = 1.0
    await bench.poller.cycle()
    assert len(bench.runs("D0")) == 2


async def test_what_histories_returned_does_not_grow(bench):
    await bench.poller.cycle()
    before = bench.poller.histories()["R0"].runs
    bench.memory.registers[0] = 7
    await bench.poller.cycle()
    await bench.poller.cycle()
    assert [(r.value, r.count) for r in before] == [(0.0, 1)]
    assert [(r.value, r.count) for r in bench.runs("R0")] == [(0.0, 1), (0.7, 2)]


async def test_runs_are_a_sequence(bench):
    for value in (1, 2, 3):
        bench.memory.registers[0] = value
        await bench.poller.cycle()
    runs = bench.poller.histories()["R0"].runs
    assert (runs[0].value, runs[-1].value) == (0.1, 0.3)
    assert [r.value for r in runs[1:]] == [0.2, 0.3]
    with pytest.raises(IndexError, match="run 3 of 3"):
        runs[3]


async def test_on_change_is_told_what_begins(make_site):
    told = []
    bench = Bench(make_site, on_change=lambda seen, changes: told.append((seen, changes)))
    await bench.client.open()
    await bench.poller.cycle()
    assert sorted(name for _, changes in told for name in changes) == sorted(
        p["name"] for p in POINTS
    )
    told.clear()
    bench.clock.at_s = 0.5
    bench.memory.registers[0] = 209
    await bench.poller.cycle()
    assert told == [(Seen(0.5, 0.5), {"R0": (20.9, (209,))})]
    told.clear()
    await bench.poller.cycle()
    assert told == []


async def test_run_until_keeps_the_period(bench):
    await bench.poller.run_until(2.0)
    assert bench.poller.cycles == 4
    assert bench.clock.waits == [0.5, 1.0, 1.5, 2.0]
    assert bench.poller.missed == 0


async def test_period_counts_from_the_start_however_odd(make_site):
    bench = Bench(make_site, pace={"poll_period_s": 0.1})
    bench.clock.at_s = 7.3
    await bench.client.open()
    await bench.poller.run_until(17.3)
    assert bench.poller.cycles == 100


async def test_cycle_as_long_as_the_period_drops_none(make_site):
    bench = Bench(make_site, pace={"poll_period_s": 0.1})
    bench.clock.at_s = 7.3
    bench.memory.delay_s = 0.05  # two blocks: 0.1 s a cycle
    await bench.client.open()
    await bench.poller.run_until(17.25)
    assert (bench.poller.cycles, bench.poller.missed) == (100, 0)


async def test_cycle_longer_than_the_period_drops_cycles_without_a_burst(bench):
    bench.memory.delay_s = 0.3  # two blocks: 0.6 s a cycle
    await bench.poller.run_until(4.0)
    assert bench.clock.waits == [1.0, 2.0, 3.0, 4.0]
    assert (bench.poller.cycles, bench.poller.missed) == (4, 4)


async def test_run_until_an_event_ends_in_the_middle_of_a_wait(make_site, loop_clock):
    bench = Bench(make_site, pace={"poll_period_s": 60.0})
    bench.poller._clock = loop_clock
    await bench.client.open()
    stop = asyncio.Event()
    task = asyncio.create_task(bench.poller.run_until(stop))
    await asyncio.sleep(0.02)
    stop.set()
    await asyncio.wait_for(task, 1.0)
    assert bench.poller.cycles == 1


async def test_lost_connection_costs_one_request_a_cycle_and_comes_back(bench):
    await bench.poller.cycle()
    asked = bench.memory.asked
    bench.memory.gone = True
    assert not await bench.poller.cycle()
    bench.clock.at_s = 0.5
    assert not await bench.poller.cycle()
    assert bench.memory.asked == asked
    assert bench.client.statistics.failed_connections == 1
    bench.memory.gone = False
    bench.clock.at_s = 1.0
    assert await bench.poller.cycle()
    assert [r.count for r in bench.runs("R0")] == [1, 1]
    assert bench.client.statistics.reconnects == 1


async def test_polls_over_a_real_socket(panel, make_site, loop_clock):
    panel.memory[4] = {0: 209, 1: 0x4248, 2: 0, 3: 1}
    panel.memory[2] = {n: n % 2 for n in range(10, 20)}
    site = make_site([p | {"shows": "spare"} for p in POINTS])
    client = panel.client()
    await client.open()
    poller = Poller(client, site, plan_reads(site), loop_clock)
    assert await poller.cycle()
    found = {name: history.runs[0].value for name, history in poller.histories().items()}
    assert (found["R0"], found["F1"], found["W0"], found["D9"]) == (20.9, 50.0, True, True)
    await client.close()


class FastBench(Bench):
    """Discrete inputs every 0.2 s (one block), input registers every second (three blocks)."""

    def __init__(self, make_site, fast_s=0.2, poll_s=1.0):
        fast = {"period_s": fast_s, "what": ["inputs"]}
        rows = [
            {"name": "D0", "table": "discrete input", "address": 10, "type": "bit",
             "shows": "DI-1.active"},
            *(
                {"name": f"R{n}", "table": "input register", "address": n, "type": "int16",
                 "shows": "spare"}
                for n in (0, 10, 20)
            ),
        ]  # fmt: skip
        self.site = make_site(
            rows,
            pace={"poll_period_s": poll_s, "fast": fast},
            inputs=[{"tag": "DI-1", "kind": "key switch"}],
        )
        self.clock = SteppedClock()
        self.memory = Memory(self.clock)
        self.client = Client(self.memory, unit=1, clock=self.clock, pace=self.site.pace)
        self.poller = Poller(self.client, self.site, plan_reads(self.site), self.clock)
        self.asked = []
        self.memory.before = lambda _: self.asked.append(round(self.clock.at_s, 6))

    def samples(self, name):
        return sum(run.count for run in self.runs(name))


async def test_each_block_keeps_its_own_period(make_site):
    bench = FastBench(make_site)
    await bench.client.open()
    await bench.poller.run_until(3.0)
    assert (bench.samples("D0"), bench.samples("R0"), bench.samples("R20")) == (15, 3, 3)
    assert (bench.poller.cycles, bench.poller.missed) == (3, 0)
    assert bench.clock.waits[:5] == pytest.approx([0.0, 0.2, 0.4, 0.6, 0.8])


async def test_a_fast_read_goes_between_the_reads_of_a_slow_row(make_site):
    bench = FastBench(make_site)
    bench.memory.delay_s = 0.15
    await bench.client.open()
    await bench.poller.run_until(1.0)
    asked = [run.first.asked_s for name in ("D0", "R0", "R10", "R20") for run in bench.runs(name)]
    # D0, R0, then D0 is due at 0.2 and goes before R10 at 0.3, and again before R20
    assert [round(at_s, 6) for at_s in asked] == [0.0, 0.15, 0.45, 0.75]
    assert bench.asked[:6] == [0.0, 0.15, 0.3, 0.45, 0.6, 0.75]
    assert bench.poller.cycles == 1


async def test_an_overloaded_link_makes_no_burst_and_starves_no_block(make_site):
    bench = FastBench(make_site, fast_s=0.2, poll_s=0.6)
    bench.memory.delay_s = 0.19
    await bench.client.open()
    await bench.poller.run_until(60.0)
    # four reads in 0.6 s are asked for each period, with three fast ones: 6 x 0.19 s of 0.6 s
    assert bench.samples("R20") > 25
    assert bench.samples("D0") > 50
    assert bench.poller.missed > 0
    gaps = [b - a for a, b in zip(bench.asked, bench.asked[1:], strict=False)]
    assert min(gaps) >= 0.189
    assert min(len([a for a in bench.asked if 10 * n <= a < 10 * n + 10]) for n in range(6)) > 45


async def test_no_block_is_asked_for_more_often_than_its_period(make_site):
    bench = FastBench(make_site)
    bench.memory.before = lambda n: setattr(bench.memory, "delay_s", 0.01 + 0.05 * (n % 5))
    await bench.client.open()
    begun = []
    read = bench.client.read

    async def watched(table, address, count):
        begun.append((address, bench.clock.at_s))
        return await read(table, address, count)

    bench.client.read = watched
    await bench.poller.run_until(20.0)
    for address, period_s in ((10, 0.2), (0, 1.0)):
        table = [at_s for a, at_s in begun if a == address]
        assert len(table) <= 20.0 / period_s + 1
    slow = [at_s for a, at_s in begun if a == 20]
    assert len(slow) == 20


async def test_a_lost_connection_ends_both_rows_and_costs_one_request_each(make_site):
    bench = FastBench(make_site)
    await bench.client.open()
    await bench.poller.cycle()
    tried = []
    bench.client._on_exchange = tried.append
    bench.memory.gone = True
    await bench.poller.run_until(0.1)
    assert len(tried) == 2
    bench.memory.gone = False
    bench.clock.at_s = 1.5
    assert await bench.poller.cycle()
    assert [run.count for run in bench.runs("R20")] == [1, 1]


async def test_polling_of_two_rates_can_be_stopped_though_the_link_is_overloaded(make_site):
    bench = FastBench(make_site)
    bench.memory.delay_s = 0.5
    await bench.client.open()
    stop = asyncio.Event()

    async def soon():
        for _ in range(200):
            await asyncio.sleep(0)
        stop.set()

    stopping = asyncio.create_task(soon())
    await asyncio.wait_for(bench.poller.run_until(stop), 5.0)
    await stopping
    assert bench.poller.cycles > 0


async def test_a_fast_row_that_is_always_due_leaves_every_other_turn_to_the_slow(make_site):
    bench = FastBench(make_site)
    bench.memory.delay_s = 0.2  # as long as the fast period itself
    await bench.client.open()
    await bench.poller.run_until(60.0)
    # a slow row takes six reads of 0.2 s, every other one fast, and is due at full seconds
    assert bench.samples("D0") + 3 * bench.samples("R20") == pytest.approx(300, abs=4)
    assert bench.samples("R20") >= 29


async def test_of_rows_due_at_once_the_fast_one_goes_first(make_site):
    bench = FastBench(make_site)
    bench.memory.delay_s = 0.01
    await bench.client.open()
    await bench.poller.run_until(2.5)
    assert [round(run.last.asked_s, 6) for run in bench.runs("R0")] == [2.01]
