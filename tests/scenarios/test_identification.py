import pytest

from gaswitness_probe.client import Client
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.control import Announcement, announced
from gaswitness_scenarios.identification import read_identity
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_scenarios.warm_up import wait_out_warm_up
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.load import load_site


@pytest.fixture(scope="module")
def site():
    return load_site(demo_site_path()).site


def with_client(site, use, **identity):
    async def run():
        clock = LoopClock()
        device = VirtualDevice(VirtualPanel(site), unit=1, **identity)
        client = Client(MemoryTransport(device, clock.now), unit=1, clock=clock, pace=Pace())
        await clock.sleep_until(2.0)
        await client.open()
        return await use(client, clock)

    return run_virtual(run())


def test_all_objects_are_read_over_as_many_replies_as_it_takes(site):
    # 200 bytes an object: only one fits a reply of 253 bytes beside the standard ones.
    extra = {0x90 + n: bytes([0x41 + n]) * 200 for n in range(4)}
    announcement = Announcement("127.0.0.1", 5000, 12.5)

    async def use(client, clock):
        return await read_identity(client)

    found = with_client(site, use, extra_identity=extra | announcement.objects())
    assert {n: found[n] for n in extra} == extra
    assert found[0] == b"Virtual"
    assert announced(found) == announcement


def test_warm_up_is_over_when_the_panel_says_so(site, heard):
    async def use(client, clock):
        await wait_out_warm_up(client, site, clock, heard)
        return clock.now()

    # 30 s of warm-up, then at most a scan, a refresh and a poll until it is seen.
    assert 30.0 <= with_client(site, use) <= 31.5


def test_a_panel_that_does_not_say_gets_the_time_that_it_needs(site, heard):
    silent = site.model_copy(
        update={"points": tuple(p for p in site.points if p.shows != "panel.warm_up")}
    )

    async def use(client, clock):
        await wait_out_warm_up(client, silent, clock, heard)
        return clock.now()

    assert with_client(silent, use) == 30.0


def test_a_panel_that_never_warms_up_is_remarked_on_and_not_waited_for_for_ever(site, heard):
    slow = site.model_copy(
        update={"timing": site.timing.model_copy(update={"warm_up_s": 100_000.0})}
    )

    async def use(client, clock):
        await wait_out_warm_up(client, site, clock, heard)
        return clock.now()

    assert 92.0 <= with_client(slow, use) <= 93.0
    assert heard.remarks == ["the panel still does not say that it has warmed up; going on"]
