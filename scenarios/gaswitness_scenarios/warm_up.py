"""Waiting until a panel has warmed up, by what it says of itself, or by the time that it needs."""

from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.facts import Source, fact_sources
from gaswitness_probe.poller import Poller
from gaswitness_probe.read_plan import Block
from gaswitness_probe.signal import FALSE
from gaswitness_scenarios.driver import Told
from gaswitness_sitefile.site import Site

PATIENCE_S: Final = 60.0
"""How much longer than it should a panel may say that it warms up, before the run goes on."""


async def wait_out_warm_up(client: Client, site: Site, clock: Clock, told: Told) -> None:
    """Return once the panel says that it has warmed up; where it does not say, once it must have.

    The panel is taken to have been powered no later than the run began.
    """
    sources = fact_sources(site).get("panel.warm_up", ())
    if not sources:
        await clock.sleep_until(site.alarms_count_after_s)
        return
    until_s = clock.now() + site.alarms_count_after_s + PATIENCE_S
    while not await _warm(client, site, clock, sources[0]):
        now_s = clock.now()
        if now_s >= until_s:
            told.remark("the panel still does not say that it has warmed up; going on", now_s)
            return
        await clock.sleep_until(now_s + site.pace.poll_period_s)


async def _warm(client: Client, site: Site, clock: Clock, source: Source) -> bool:
    point = source.point
    block = Block(point.table, point.address, point.width, (point,))
    poller = Poller(client, site, (block,), clock)
    await poller.cycle()
    runs = poller.histories()[point.name].runs
    return bool(runs) and source.meaning(runs[-1].value) is FALSE
