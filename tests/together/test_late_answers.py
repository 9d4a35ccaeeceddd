"""Thousands of reads of a unit that answers late, loses requests and is spoilt by noise, in virtual
time: whatever it does, no answer to one request is taken for the answer to another."""

import asyncio
import random
import struct

import pytest
from crccheck.crc import CrcModbus

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.rtu_framing import RtuFraming
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import SerialLine
from gaswitness_sitefile.points import Table

TIMEOUT_S = 0.1
LINE = SerialLine(19200)


class SlowUnit:
    """Register n of table t holds 1000 t + n. Answers in the order in which it was asked, after
    `delay()` seconds; None loses the request. `spoil(reply)` is what noise makes of an answer."""

    def __init__(self, delay, spoil=lambda reply: reply):
        self.delay = delay
        self.spoil = spoil
        self.free_s = 0.0
        self.came = asyncio.Queue()

    async def open(self):
        return

    async def close(self):
        return

    async def send(self, data):
        delay_s = self.delay()
        if delay_s is None:
            return
        unit, function, address, count = struct.unpack(">BBHH", data[:6])
        values = range(1000 * function + address, 1000 * function + address + count)
        body = struct.pack(f">BBB{count}H", unit, function, 2 * count, *values)
        reply = body + struct.pack("<H", CrcModbus.calc(body))
        loop = asyncio.get_running_loop()
        self.free_s = max(loop.time(), self.free_s) + delay_s
        loop.call_at(self.free_s, self.came.put_nowait, self.spoil(reply))

    async def receive(self):
        return await self.came.get()


async def reads(unit, draw, number, shapes):
    """How many reads were answered, how many of these wrongly, and what was counted."""
    pace = Pace(timeout_s=TIMEOUT_S)
    framing = RtuFraming(LINE, TIMEOUT_S)
    client = Client(unit, unit=1, clock=LoopClock(), pace=pace, framing=framing)
    await client.open()
    answered = wrong = 0
    for _ in range(number):
        table, count = draw.choice(shapes)
        address = draw.randrange(500)
        exchange = await client.read(table, address, count)
        if exchange.ok:
            answered += 1
            first = 1000 * table.read_function + address
            wrong += exchange.payload != struct.pack(f">{count}H", *range(first, first + count))
    return answered, wrong, client.statistics.deviations


SHAPES = [(Table.HOLDING, 1), (Table.HOLDING, 2), (Table.INPUT, 1), (Table.INPUT, 5)]


@pytest.mark.parametrize("seed", range(5))
def test_answers_as_late_as_can_be_are_never_taken_for_others(seed):
    draw = random.Random(seed)

    def delay():
        kind = draw.random()
        if kind < 0.1:
            return None
        # a heavy tail: one answer in some dozens is later than any wait
        return 0.004 if kind < 0.7 else 0.05 * draw.paretovariate(0.8)

    answered, wrong, seen = run_virtual(reads(SlowUnit(delay), draw, 1000, SHAPES))
    assert wrong == 0
    assert answered > 100
    assert seen[Deviation.LATE] > 20
    assert seen[Deviation.NO_REPLY] > 100


@pytest.mark.parametrize("seed", range(3))
def test_reads_of_one_shape_alone_are_kept_apart_by_waiting(seed):
    draw = random.Random(seed)

    def delay():
        return 0.004 if draw.random() < 0.7 else draw.uniform(0.0, 4.0) * TIMEOUT_S

    shapes = [(Table.HOLDING, 1)]
    answered, wrong, seen = run_virtual(reads(SlowUnit(delay), draw, 1000, shapes))
    assert wrong == 0
    assert answered > 300
    assert seen[Deviation.LATE] > 20


@pytest.mark.parametrize("seed", range(5))
def test_noise_never_makes_a_value(seed):
    draw = random.Random(seed)

    def spoil(reply):
        kind = draw.randrange(8)
        if kind == 0:
            bits = int.from_bytes(reply, "big")
            for _ in range(draw.randint(1, 3)):
                bits ^= 1 << draw.randrange(8 * len(reply))
            return bits.to_bytes(len(reply), "big")
        if kind == 1:
            return reply[: draw.randrange(1, len(reply))]
        if kind == 2:
            return draw.randbytes(draw.randint(1, 9)) + reply
        if kind == 3:
            return reply + draw.randbytes(draw.randint(1, 9))
        if kind == 4:
            cut = draw.randrange(1, len(reply))
            return reply[:cut] + draw.randbytes(1) + reply[cut:]
        return reply

    unit = SlowUnit(lambda: 0.004, spoil)
    answered, wrong, seen = run_virtual(reads(unit, draw, 2000, SHAPES))
    assert wrong == 0
    assert answered > 700
    assert seen[Deviation.WRONG_CRC] > 100
    assert seen[Deviation.TRUNCATED] > 50
    assert seen[Deviation.TOO_LONG] > 100
    assert seen[Deviation.STRAY_BEFORE] > 50
