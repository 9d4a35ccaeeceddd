"""The design rules of the site file speak of polls as well, with simpler bounds and no link: they
must never warn of what is said here to be fine."""

import pytest
from hypothesis import find, given, settings
from hypothesis import strategies as st

from gaswitness_probe.provable import provable
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.rules.pace_rules import PACE_RULES
from gaswitness_sitefile.site import Site

OF_POLLING = [rule for rule in PACE_RULES if rule.id in ("GW501", "GW502", "GW503", "GW506")]
LINKS = [None, "rtu:///dev/ttyS0?baud=9600", "rtu:///dev/ttyS0?baud=115200", "tcp://192.0.2.1"]
SECONDS = st.sampled_from([0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0])
TABLES = [("input register", "bit in word"), ("holding register", "bit in word"),
          ("coil", "bit"), ("discrete input", "bit")]  # fmt: skip


@st.composite
def sites(draw):
    shown = ["AT-1.A1", "AT-1.fault", "K1.active", "DI-1.active", "panel.fault"]
    points = []
    for number, fact in enumerate(shown):
        table, kind = draw(st.sampled_from(TABLES))
        points.append(
            {"name": fact, "table": table, "type": kind, "shows": fact,
             "address": 20 * number + draw(st.integers(0, 9))}
            | ({"bit": number} if kind == "bit in word" else {})
        )  # fmt: skip
    points.append(
        {"name": "R", "table": "input register", "address": 200, "type": "float32",
         "shows": "AT-1.reading"}
    )  # fmt: skip
    poll_s = draw(SECONDS)
    fast = draw(st.booleans())
    what = draw(st.sampled_from([["levels", "outputs"], ["faults"], ["readings"], ["K1", "AT-1"]]))
    on_delay_s = draw(st.sampled_from([0.0, 1.0, 5.0]))
    cell = {"effect": "K1", "on_delay_s": on_delay_s, "response_s": draw(SECONDS)}
    if draw(st.booleans()):
        cell["early_s"] = min(on_delay_s, draw(SECONDS))
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "pace": {
                "poll_period_s": poll_s,
                "request_gap_s": draw(st.sampled_from([0.0, 0.01, 0.1, 0.3])),
                "fast": {"period_s": poll_s / draw(st.sampled_from([2, 5])), "what": what}
                if fast
                else None,
            },
            "timing": {
                "refresh_s": draw(st.sampled_from([0.0, 0.05])),
                "shortest_dwell_s": draw(st.sampled_from([0.2, 0.5, 2.0, 8.0])),
                "answer_s": draw(st.sampled_from([0.0, 0.02])),
            },
            "channels": [
                {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100],
                 "levels": {"A1": {"setpoint": 20}}},
            ],
            "inputs": [{"tag": "DI-1", "kind": "key switch"}],
            "outputs": [{"tag": "K1", "kind": "relay"}],
            "matrix": [cell | {"cause": draw(st.sampled_from(["AT-1.A1", "DI-1.active"]))}],
            "map": {"gaps": draw(st.sampled_from(["zeros", "exception"]))},
            "points": points,
        }
    )  # fmt: skip


@settings(deadline=None, max_examples=600)
@given(sites(), st.sampled_from(LINKS))
def test_no_rule_warns_of_what_is_fine(site, link):
    found = provable(site, link and parse_link(link))
    warned = {rule.id for rule in OF_POLLING for _ in rule.find(site)}
    if found.fine:
        assert warned == set()


def small(cell, points=("AT-1.A1", "K1.active"), **parts):
    """Bits side by side in one table."""
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "outputs": [{"tag": "K1", "kind": "relay"}],
            "matrix": [{"cause": "AT-1.A1", "effect": "K1"} | cell],
            "points": [
                {"name": shows, "table": "coil", "address": n, "type": "bit", "shows": shows}
                for n, shows in enumerate(points)
            ],
        }
        | parts
    )


def warnings(site):
    return {rule.id for rule in OF_POLLING for _ in rule.find(site)}


def test_a_delay_that_may_end_at_once_has_no_lower_limit_for_either():
    site = small({"on_delay_s": 1, "early_s": 1, "response_s": 4}, pace={"poll_period_s": 0.6})
    assert provable(site).fine
    assert warnings(site) == set()


def test_slow_points_that_are_read_along_with_fast_ones_count_as_fast_for_both():
    pace = {"poll_period_s": 3.0, "fast": {"period_s": 0.2, "what": ["levels", "outputs"]}}
    site = small({"response_s": 2}, ("AT-1.A1", "spare", "K1.active"), pace=pace)
    assert [r.period_s for r in provable(site).times.requests] == [0.2]
    assert provable(site).fine
    assert warnings(site) == set()


def test_slow_points_of_a_table_of_their_own_do_not():
    pace = {"poll_period_s": 3.0, "fast": {"period_s": 0.2, "what": ["levels"]}}
    site = small({"response_s": 2}, pace=pace)
    rows = [p.model_dump() for p in site.points]
    rows[1] |= {"table": "discrete input"}
    apart = Site.model_validate(site.model_dump() | {"points": rows})
    assert not provable(apart).fine
    assert warnings(apart) == {"GW503"}


@pytest.mark.parametrize("rule", OF_POLLING, ids=lambda rule: rule.id)
def test_every_such_rule_does_warn_of_some_site(rule):
    """So that the test above has something to catch."""
    slow = {"poll_period_s": 9.0, "request_gap_s": 10.0}
    site = small({"on_delay_s": 5, "early_s": 1, "response_s": 1}, pace=slow)
    assert list(rule.find(site))
    assert not provable(site).fine


@pytest.mark.parametrize("fast", [True, False])
def test_some_sites_are_fine_and_others_are_not(fast):
    """So that neither side of the first test is empty."""
    for fine in (True, False):
        found = find(sites(), lambda s, f=fine: provable(s).fine is f and bool(s.pace.fast) is fast)
        assert provable(found).fine is fine
