import asyncio
import time
from datetime import UTC, datetime, timedelta

from gaswitness_scenarios.clock import LoopClock


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


async def test_the_clock_knows_its_zero_in_utc():
    zero = datetime.fromisoformat(LoopClock().utc_of_zero)
    assert zero.utcoffset() == timedelta(0)
    now = datetime.now(UTC)  # noqa: TID251 - the date is what is checked
    assert abs(now - zero) < timedelta(seconds=5)
