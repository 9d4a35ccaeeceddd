import asyncio

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import Latency
from gaswitness_scenarios.play import SimulatedDriver
from gaswitness_scenarios.script import Input, Look, Power, Script
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import InputSet
from gaswitness_simulator.stimulus import Power as PowerSwitched
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.problems import Place

QUICK = Latency()
PACE = Pace(timeout_s=1.0)
DI_1_ACTIVE = 64
"""PDU address in the demo's points list."""
WARM_UP_REGISTER, WARM_UP_BIT = 58, 1
"""PDU address and bit in the demo's points list."""


@pytest.fixture(scope="module")
def site():
    return load_site(demo_site_path()).site


class Bench:
    """Panel, link and client in one virtual loop, the panel warmed up and its image made."""

    def __init__(self, site, latency=QUICK, seed=0):
        self.clock = LoopClock()
        self.panel = VirtualPanel(site, seed=1)
        self.link = MemoryTransport(VirtualDevice(self.panel), self.clock.now, latency, seed)
        self.client = Client(self.link, unit=1, clock=self.clock, pace=PACE)

    async def ready(self):
        await self.clock.sleep_until(10.0)
        await self.client.open()
        return self


def test_a_reply_takes_both_ways_and_each_way_is_within_the_latency(site):
    async def ask():
        bench = await Bench(site).ready()
        return [await bench.client.read(Table.HOLDING, 0, 4) for _ in range(200)]

    took_s = [x.received_s - x.sent_s for x in run_virtual(ask())]
    assert 0.004 <= min(took_s) < 0.010
    assert 0.030 < max(took_s) <= 0.040 + 1e-9


def test_the_same_seed_gives_the_same_latencies_and_another_does_not(site):
    async def ask(seed):
        bench = await Bench(site, seed=seed).ready()
        return [await bench.client.read(Table.HOLDING, 0, 4) for _ in range(20)]

    assert run_virtual(ask(7)) == run_virtual(ask(7))
    assert run_virtual(ask(7)) != run_virtual(ask(8))


@pytest.mark.parametrize(("pressed_s", "shows"), [(0.99, True), (1.01, False)])
def test_the_panel_answers_as_of_the_instant_at_which_the_request_reaches_it(
    site, pressed_s, shows
):
    quick = site.model_copy(
        update={"timing": site.timing.model_copy(update={"scan_s": 1e-4, "refresh_s": 0.0})}
    )

    async def ask():
        bench = await Bench(quick, Latency(1.0, 1.0)).ready()
        asking = asyncio.create_task(bench.client.read(Table.DISCRETE_INPUT, DI_1_ACTIVE, 1))
        bench.client.pace = Pace(timeout_s=5.0)
        await bench.clock.sleep_until(10.0 + pressed_s)
        bench.link.arrive_until(bench.clock.now())
        bench.panel.apply(InputSet("DI-1", on=True), bench.clock.now())
        return await asking

    exchange = run_virtual(ask())
    assert (exchange.sent_s, exchange.received_s) == (10.0, 12.0)
    assert bool(exchange.payload[0] & 1) is shows


def test_what_changes_while_the_answer_travels_is_not_in_it(site):
    # The panel warms up until 11.5 s: asked at 10 s, reached at 11 s, answered at 12 s.
    warming = site.model_copy(
        update={
            "timing": site.timing.model_copy(
                update={"scan_s": 1e-3, "refresh_s": 0.0, "warm_up_s": 11.5}
            )
        }
    )

    async def ask():
        bench = await Bench(warming, Latency(1.0, 1.0)).ready()
        bench.client.pace = Pace(timeout_s=5.0)
        return [await bench.client.read(Table.INPUT, WARM_UP_REGISTER, 1) for _ in range(2)]

    first, second = run_virtual(ask())
    assert [x.payload[1] >> WARM_UP_BIT & 1 for x in (first, second)] == [1, 0]


def test_a_step_between_a_request_s_arrival_and_its_answer_is_not_in_the_answer(site, heard):
    quick = site.model_copy(
        update={"timing": site.timing.model_copy(update={"scan_s": 1e-3, "refresh_s": 0.0})}
    )
    presses = tuple(
        Input(at_s=at_s, place=Place("t.yaml", 1, 1), words="press", tag=tag, on=True)
        for at_s, tag in ((1.5, "DI-1"), (1.8, "DI-2"))
    )
    script = Script("s", "S", "", presses, 2.0, "00" * 32, ())

    async def ask():
        bench = await Bench(quick, Latency(1.0, 1.0)).ready()
        bench.client.pace = Pace(timeout_s=5.0)
        driver = SimulatedDriver(bench.panel, bench.link.arrive_until)
        playing = asyncio.create_task(driver.play(script, bench.clock, heard))
        found = [await bench.client.read(Table.DISCRETE_INPUT, DI_1_ACTIVE, 1) for _ in range(2)]
        await playing
        return found

    assert [x.payload[0] & 1 for x in run_virtual(ask())] == [0, 1]


def test_an_answer_to_a_closed_connection_does_not_come_out_of_the_next(site):
    read_one = bytes.fromhex("0001 0000 0006 01 03 0000 0001")

    async def ask():
        link = (await Bench(site).ready()).link
        await link.send(read_one)
        await link.close()
        await link.open()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(link.receive(), 5.0)
        await link.send(read_one)
        return await link.receive()

    assert run_virtual(ask())[:4] == bytes.fromhex("00010000")


def test_a_panel_without_power_is_silent_and_the_time_out_is_kept(site):
    async def ask():
        bench = await Bench(site).ready()
        bench.panel.apply(PowerSwitched(on=False), bench.clock.now())
        return await bench.client.read(Table.HOLDING, 0, 4)

    exchange = run_virtual(ask())
    assert exchange.problem.deviation is Deviation.NO_REPLY
    assert exchange.received_s - exchange.sent_s == pytest.approx(1.0)


def test_a_panel_that_comes_back_closes_old_connections(site):
    async def ask():
        bench = await Bench(site).ready()
        bench.panel.apply(PowerSwitched(on=False), bench.clock.now())
        bench.panel.apply(PowerSwitched(on=True), bench.clock.now())
        first = await bench.client.read(Table.HOLDING, 0, 4)
        await bench.clock.sleep_until(20.0)
        return first, await bench.client.read(Table.HOLDING, 0, 4)

    first, second = run_virtual(ask())
    assert first.problem.deviation is Deviation.CLOSED
    assert second.ok


def test_a_link_that_is_not_open_says_so(site):
    async def use():
        link = Bench(site).link
        with pytest.raises(ConnectionResetError, match="not open"):
            await link.send(b"\0")
        with pytest.raises(ConnectionResetError, match="not open"):
            await link.receive()

    run_virtual(use())


def test_the_driver_plays_each_step_at_its_instant_and_looks_at_the_output_itself(site, heard):
    place = Place("t.yaml", 1, 1)
    steps = (
        Look(at_s=1.0, place=place, words="look", fact="K1.energised", question="?"),
        Power(at_s=2.5, place=place, words="off", on=False),
        Look(at_s=2.5, place=place, words="look", fact="K1.energised", question="?"),
    )
    script = Script("s", "S", "", steps, 7.0, "00" * 32, ())

    async def play():
        bench = await Bench(site).ready()
        await SimulatedDriver(bench.panel).play(script, bench.clock, heard)
        return bench.clock.now()

    assert run_virtual(play()) == 17.0
    assert heard.done_s == [(1, 11.0, 11.0), (2, 12.5, 12.5), (3, 12.5, 12.5)]
    # K1 (common fault) is normally energised: up at rest, down without power.
    assert heard.looked == {1: True, 3: False}


def test_pieces_that_arrive_together_arrive_in_order(site):
    async def ask():
        clock = LoopClock()
        faults = FaultPlan(1)
        faults.begin(parse_link_fault("split 12 pieces 0 s"), 0.0)
        faults.begin(parse_link_fault("late 0.5 s"), 0.0)
        link = MemoryTransport(VirtualDevice(VirtualPanel(site)), clock.now, shaper=faults)
        client = Client(link, unit=1, clock=clock, pace=PACE)
        await clock.sleep_until(10.0)
        await client.open()
        return [await client.read(Table.HOLDING, 0, 4) for _ in range(20)]

    assert all(exchange.ok for exchange in run_virtual(ask()))


@pytest.mark.parametrize(
    ("fault", "deviation"),
    [
        ("reset", Deviation.RESET),
        ("close", Deviation.CLOSED),
        ("idle-limit 3 s", Deviation.CLOSED),
        ("silent", Deviation.NO_REPLY),
    ],
)
def test_a_faulty_link_in_memory_breaks_closes_or_is_silent(site, fault, deviation):
    async def ask():
        clock = LoopClock()
        faults = FaultPlan()
        faults.begin(parse_link_fault(fault), 0.0)
        link = MemoryTransport(VirtualDevice(VirtualPanel(site)), clock.now, shaper=faults)
        client = Client(link, unit=1, clock=clock, pace=PACE)
        await client.open()
        await clock.sleep_until(10.0)
        first = await client.read(Table.HOLDING, 0, 4)
        faults.clear()
        await clock.sleep_until(20.0)
        return first, await client.read(Table.HOLDING, 0, 4)

    first, second = run_virtual(ask())
    assert first.problem.deviation is deviation
    assert second.ok
