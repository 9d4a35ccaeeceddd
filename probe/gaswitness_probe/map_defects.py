"""All that can be wrong with a map, class by class and place by place."""

from collections.abc import Iterator

from gaswitness_probe.map_defect import MapDefect
from gaswitness_probe.map_defect_addresses import address_defects
from gaswitness_probe.map_defect_bits import status_defects
from gaswitness_probe.map_defect_numbers import number_defects
from gaswitness_probe.map_defect_swaps import swap_defects
from gaswitness_sitefile.points import COMMANDS, NUMERIC, Access
from gaswitness_sitefile.site import Site


def map_defects(site: Site) -> Iterator[MapDefect]:
    """Every defect of every class at every place of the site's map, one at a time."""
    readable = [
        one
        for one in site.points
        if one.access is not Access.WRITE and one.shows not in ("spare", *COMMANDS)
    ]
    numbers = [one for one in readable if one.type in NUMERIC and one.shows != "heartbeat"]
    yield from address_defects(readable)
    yield from number_defects(site, numbers)
    yield from swap_defects(site, readable)
    yield from status_defects(site, readable)
