import asyncio
import time
from datetime import datetime, timedelta

from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.virtual_loop import run_virtual


async def test_a_fast_clock_counts_speed_seconds_in_one():
    clock = LoopClock(speed=100.0)
    before = time.perf_counter()
    await clock.sleep_until(20.0)
    took_s = time.perf_counter() - before
    assert clock.now() >= 20.0
    assert 0.19 < took_s < 1.0


async def test_the_clock_never_wakes_early():
    clock = LoopClock(speed=50.0)
    for at_s in (0.01, 0.5, 0.51, 1.0, 2.0):
        await clock.sleep_until(at_s)
        assert clock.now() >= at_s - 1e-6


async def test_taking_a_speed_goes_on_from_where_the_clock_stands():
    clock = LoopClock()
    await asyncio.sleep(0.05)
    before_s = clock.now()
    clock.take_speed(1000.0)
    after_s = clock.now()
    assert 0 <= after_s - before_s < 20.0
    await asyncio.sleep(0.05)
    assert clock.now() > after_s + 45.0


async def test_sleeping_until_the_past_lets_others_go():
    clock = LoopClock()
    went = []
    asyncio.get_running_loop().call_soon(went.append, 1)
    await clock.sleep_until(-5.0)
    assert went == [1]


async def test_an_anchor_states_utc():
    anchor = LoopClock().anchor()
    assert anchor is not None
    assert datetime.fromisoformat(anchor.utc).utcoffset() == timedelta(0)
    assert 0 <= anchor.at_s < 1


async def test_the_record_says_how_fine_the_clock_counts():
    assert "resolution" in LoopClock(2.0).described()


def test_virtual_time_has_no_date():
    async def made():
        clock = LoopClock()
        return clock.anchor(), clock.described()

    assert run_virtual(made()) == (None, "virtual: exact, the same in every run")
