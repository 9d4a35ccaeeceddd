import pytest

from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.rest import LONGEST_SETTLE_S, not_at_rest, settle_s
from gaswitness_sitefile.load import load_site

AT = Seen(1.0, 1.1)


@pytest.fixture(scope="module")
def site():
    return load_site(demo_site_path()).site


def histories(**values):
    """The last value of points, by name with `_` for a blank."""
    return {
        name.replace("_", " "): PointHistory(
            name, (Run(False, (0,), AT, AT), Run(value, (), AT, AT))
        )
        for name, value in values.items()
    }


def test_nothing_is_moving_where_nothing_is_seen(site):
    assert not_at_rest(site, {}) == ()


def test_an_output_that_acts_and_a_latched_level_are_named(site):
    seen = histories(K2_acts=True, K3_acts=False) | {
        "AT-101 A2": PointHistory("AT-101 A2", (Run(True, (1,), AT, AT),))
    }
    assert set(not_at_rest(site, seen)) == {"AT-101.A2", "K2.active"}


def test_what_sums_up_others_is_not_named_beside_them(site):
    assert not_at_rest(site, histories(Any_A1=True)) == ()


def test_a_coil_that_is_energised_at_rest_is_at_rest(site):
    assert not_at_rest(site, histories(K1_coil_energised=True, K2_coil_energised=False)) == ()
    assert not_at_rest(site, histories(K1_coil_energised=False)) == ("K1.active",)


def test_gas_that_is_still_there_is_named_with_its_reading(site):
    seen = {
        "AT-101 reading": PointHistory("AT-101 reading", (Run(12.0, (0, 0), AT, AT),)),
        "AT-601 reading": PointHistory("AT-601 reading", (Run(20.9, (2090,), AT, AT),)),
    }
    assert not_at_rest(site, seen) == ("AT-101 reads 12 ppm",)


def test_the_pause_covers_the_longest_cell(site):
    cell = max(site.matrix, key=lambda c: c.on_delay_s + c.off_delay_s + c.response_s)
    longest_s = cell.on_delay_s + cell.off_delay_s + cell.response_s
    # scan 0.5 s, refresh 0.1 s, two polls of 0.5 s
    assert settle_s(site) == pytest.approx(longest_s + 1.6)


def test_the_pause_is_bounded(site):
    slow = site.matrix[0].model_copy(update={"off_delay_s": 7200.0})
    assert settle_s(site.model_copy(update={"matrix": (slow,)})) == LONGEST_SETTLE_S
