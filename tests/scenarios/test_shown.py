from pathlib import Path

import pytest

from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_scenarios.restore import built
from gaswitness_scenarios.shown import shows
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site

LARKWATER = Path(__file__).parents[2] / "scenarios" / "sites" / "larkwater" / "site.yaml"


def seen(**values):
    """The last sample of each point."""
    at = Seen(10.0, 10.1)
    return {name: PointHistory(name, (Run(value, (0,), at, at),)) for name, value in values.items()}


def step(**record):
    (found,) = built(SITE, [record])
    return found


@pytest.mark.parametrize(("reading", "is_shown"), [(0.0, False), (21.9, False), (22.0, True)])
def test_gas_shows_once_the_reading_has_gone_half_its_way(reading, is_shown):
    applied = step(gas={"channel": "AT-1", "to": 44})
    assert shows(SITE, seen(one=reading), applied) is is_shown


def test_gas_too_near_to_what_is_there_is_never_said_to_show():
    # The reading may stand 5 %LEL from the gas by its tolerance alone.
    assert not shows(SITE, seen(one=9.0), step(gas={"channel": "AT-1", "to": 9}))


def test_a_fault_shows_by_its_flag_and_so_does_its_end():
    fault, mended = step(fault="AT-1"), step(fault_clear="AT-1")
    assert shows(SITE, seen(flags=0b10), fault)
    assert not shows(SITE, seen(flags=0b00), fault)
    assert shows(SITE, seen(flags=0b01), mended)
    assert not shows(SITE, seen(flags=0b10), mended)


def test_what_no_point_shows_and_what_was_never_read_does_not_show():
    assert not shows(SITE, seen(one=0.0), step(inhibit="AT-1"))
    assert not shows(SITE, {}, step(fault="AT-1"))
    assert not shows(SITE, seen(one=0.0), step(press="reset"))


def test_a_supply_that_is_back_shows_by_the_warm_up():
    site = load_site(LARKWATER).site
    off, on = built(site, [{"power": "off"}, {"power": "on"}])
    assert shows(site, seen(**{"Panel warm-up": True}), on)
    assert shows(site, seen(**{"Panel warm-up": False}), on) is False
    assert shows(site, seen(**{"Panel warm-up": False}), off) is None
    assert shows(SITE, seen(one=0.0), *built(SITE, [{"power": "on"}])) is None
