"""The search for who answers on a link, as the command line asks for it."""

import asyncio

from gaswitness_probe.find import Findings, Told
from gaswitness_probe.find import find as search_for
from gaswitness_probe.find_plan import Search
from gaswitness_scenarios.clock import LoopClock
from gaswitness_sitefile.link_address import LinkAddress


def find(address: LinkAddress, search: Search, told: Told) -> Findings:
    """Search. Raises LinkError where the link cannot be opened."""

    async def run() -> Findings:
        return await search_for(address, search, LoopClock(), told)

    return asyncio.run(run())
