import asyncio
import time

import pytest

from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.virtual_loop import DeadlockError, run_virtual


def test_an_hour_of_sleeps_takes_no_time_and_ends_on_the_second():
    async def hour():
        for _ in range(3600):
            await asyncio.sleep(1.0)
        return asyncio.get_running_loop().time()

    before = time.perf_counter()
    assert run_virtual(hour()) == 3600.0
    assert time.perf_counter() - before < 5.0


def test_timers_fire_in_order_at_their_own_instants():
    seen = []

    async def two():
        loop = asyncio.get_running_loop()

        async def note(at_s, what):
            await asyncio.sleep(at_s)
            seen.append((loop.time(), what))

        await asyncio.gather(note(0.3, "late"), note(0.1, "early"), note(0.3, "late too"))

    run_virtual(two())
    assert seen == [(0.1, "early"), (0.3, "late"), (0.3, "late too")]


def test_a_wait_that_nobody_ends_is_a_deadlock_not_a_hang():
    async def wait():
        await asyncio.Event().wait()

    with pytest.raises(DeadlockError, match="a task waits for something that nobody will do"):
        run_virtual(wait())


def test_a_cancelled_timer_does_not_hide_a_deadlock():
    async def wait():
        asyncio.get_running_loop().call_later(5, print).cancel()
        await asyncio.Event().wait()

    with pytest.raises(DeadlockError):
        run_virtual(wait())


def test_a_time_out_in_virtual_time_comes_at_its_instant():
    async def wait():
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(7.5):
                await asyncio.Event().wait()
        return asyncio.get_running_loop().time()

    assert run_virtual(wait()) == 7.5


def test_an_error_of_the_run_comes_out():
    async def fail():
        await asyncio.sleep(1)
        raise ValueError("said so")

    with pytest.raises(ValueError, match="said so"):
        run_virtual(fail())


def test_sleep_until_is_exact_in_virtual_time_even_far_out():
    async def far():
        clock = LoopClock()
        await clock.sleep_until(28_799.9)
        first = clock.now()
        await clock.sleep_until(28_799.9 + 0.1)
        await clock.sleep_until(5.0)
        return first, clock.now()

    assert run_virtual(far()) == (28_799.9, 28_799.9 + 0.1)
