"""How long things are held: against the first-order lag in closed form, and the panel's own times.

y(t) = end - (end - start) exp(-t / tau): the step response of a first-order lag (any textbook of
control; from memory). T90: the time to 90 % of the step (IEC 60079-29-1, from memory).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_scenarios.plan_dose import dose_of
from gaswitness_scenarios.plan_ladder import ladders, plain_between, plain_beyond
from gaswitness_scenarios.plan_timing import PlanTiming
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.site import Site

PPM = {"tag": "AT-1", "gas": "CO", "unit": "ppm", "range": [0, 300], "t90_s": 20}


def channel(**parts):
    return Channel.model_validate(PPM | parts)


def site(**parts):
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "P"},
            "channels": [PPM | parts],
            "outputs": [{"tag": "K1", "kind": "relay"}, {"tag": "K2", "kind": "relay"}],
            "matrix": [
                {"cause": "AT-1.fault", "effect": "K1", "response_s": 4},
                {"cause": "AT-1.fault", "effect": "K2", "response_s": 2, "on_delay_s": 10},
            ],
            "points": [
                {
                    "name": "CO",
                    "table": "input register",
                    "address": 0,
                    "type": "float32",
                    "shows": "AT-1.reading",
                }
            ],
        }
    )


def test_a_step_reaches_nine_tenths_after_its_t90():
    made = site()
    timing = PlanTiming.of(made, None)
    scan_s = made.timing.scan_s
    assert timing.reaches_s(channel(), 0, 100, 10) == pytest.approx(20 + scan_s)
    tau_s = 20 / math.log(10)
    reached = 100 - 100 * math.exp(-(timing.reaches_s(channel(), 0, 100, 3) - scan_s) / tau_s)
    assert reached == pytest.approx(97)


def test_a_dead_time_comes_on_top():
    """With t50 and t90 given tau = (t90 - t50) / ln 5, and the dead time is t50 - tau ln 2."""
    slow = channel(t50_s=10, t90_s=25)
    tau_s = 15 / math.log(5)
    expected = 10 - tau_s * math.log(2) + tau_s * math.log(10)
    timing = PlanTiming.of(site(), None)
    assert timing.reaches_s(slow, 0, 100, 10) == pytest.approx(expected + 0.5)
    assert expected == pytest.approx(25)


def test_gas_that_is_there_already_takes_one_scan():
    timing = PlanTiming.of(site(), None)
    assert timing.reaches_s(channel(), 99, 100, 5) == 0.5


def test_effects_are_waited_for_as_long_as_the_slowest_may_take():
    made = site()
    timing = PlanTiming.of(made, None)
    assert timing.comes_s(made.matrix) == pytest.approx(12 + timing.sight_s)
    assert timing.goes_s(made.matrix) == pytest.approx(4 + timing.sight_s)
    assert timing.flag_s >= made.timing.flag_response_s + timing.sight_s


def test_a_settled_reading_stands_longer_than_three_and_a_half_t90():
    assert PlanTiming.of(site(), None).settled_s(channel()) > 3.5 * 20 + 1.1


def test_a_setpoint_with_little_slack_is_crossed_more_slowly():
    timing = PlanTiming.of(site(), None)
    coarse = channel(noise=0.1, levels={"A1": {"setpoint": 100}})
    fine = channel(noise=2.0, levels={"A1": {"setpoint": 100}})
    assert timing.ramp_s(fine, "A1", 30) > 2 * timing.ramp_s(coarse, "A1", 30)


def test_rungs_go_outward_from_clean_air_either_way():
    oxygen = Channel.model_validate(
        {
            "tag": "AT-6",
            "gas": "O2",
            "unit": "%vol",
            "range": [0, 25],
            "levels": {
                "A1": {"setpoint": 19.5, "direction": "falling", "hysteresis": 0.4},
                "A2": {"setpoint": 18, "direction": "falling", "latching": True},
                "A3": {"setpoint": 23.5},
            },
        }
    )
    falling, rising = ladders(oxygen, 0.05)
    assert [(rung.name, rung.on) for rung in falling] == [("A1", ("A1",)), ("A2", ("A1", "A2"))]
    assert falling[0].past < 19.5 < falling[0].short < 20.9
    assert falling[1].past < 18 < falling[1].short < 19.5
    assert falling[0].back > 19.9
    assert falling[0].inside == pytest.approx(19.7)
    assert falling[1].inside is None
    assert [rung.name for rung in rising] == ["A3"]
    assert 20.9 < rising[0].short < 23.5 < rising[0].past


def test_near_levels_do_not_overlap():
    near = channel(levels={"A1": {"setpoint": 30}, "A2": {"setpoint": 33}})
    ((first, second),) = ladders(near, 0.1)
    assert 30 < first.past < second.short < 33 < second.past


@pytest.mark.parametrize(
    ("what", "limit", "expected_s"),
    [
        # 8 h TWA: concentration times hours, divided by 8 h (EH40/2005, 4th edition, Calculation
        # methods): 20 ppm for 8 h is 270 ppm for 2133 s
        ("twa", 20, 2133.3),
        # 15 min reference period, likewise: 100 ppm for 900 s is 270 ppm for 333 s
        ("stel", 100, 333.3),
    ],
)
def test_a_dose_is_the_limit_over_its_period(what, limit, expected_s):
    dosed = channel(exposure={what: limit})
    dose = dose_of(dosed, what.upper())
    assert dose.amount == 270
    assert dose.hold_s == pytest.approx(1.15 * expected_s + 20, rel=1e-3)
    assert dose.fits


@pytest.mark.parametrize(
    ("amount", "edge", "end", "plain"),
    [
        (1437.5, 1250, None, 1440),  # past a setpoint: up
        (1062.5, 1250, 0, 1060),  # short of it: down
        (19.8049, 19.5, 20.9, 19.81),  # three digits would be too far off
        (19.1951, 19.5, None, 19.19),  # past a falling one: down
        (20.87, 19.5, 20.9, 20.9),  # not beyond clean air
        (5.1094, 5, None, 5.11),
        (12.2, 10, None, 12.2),
        (0, 5, 0, 0),
        (20.9, 19.5, 20.9, 20.9),
    ],
)
def test_an_amount_of_gas_has_few_digits_and_stays_on_its_side(amount, edge, end, plain):
    found = plain_beyond(amount, edge, end)
    assert abs(found - edge) >= abs(amount - edge) - 1e-9
    assert (found > edge) == (amount > edge)
    assert len(f"{found:.10g}".replace(".", "").strip("0")) <= 4
    assert found == pytest.approx(plain, abs=1e-9)


@given(
    st.floats(0.01, 5000), st.floats(0.001, 0.4), st.booleans(), st.sampled_from([None, 0.0, 1e5])
)
def test_no_rounding_takes_an_amount_nearer_to_its_edge_or_past_its_end(edge, part, up, end):
    amount = edge * (1 + part if up else 1 - part)
    if end is not None and (end > edge) is not up:
        end = None
    found = plain_beyond(amount, edge, end)
    assert (found >= amount - 1e-5 * amount) if up else (found <= amount + 1e-5 * amount)
    assert abs(found - amount) <= 0.2 * abs(amount - edge) + 1e-9
    if end is not None:
        assert (found <= end) if up else (found >= end)


def test_between_two_edges_an_amount_stays_between():
    assert plain_between(25.5469, 25, 25.78) == 25.55
    assert plain_between(5.1094, 5, 5.5) == 5.11
    assert plain_between(19.7, 19.5, 19.9) == 19.7
    assert 3.0001 < plain_between(3.00015, 3.0001, 3.0002) < 3.0002


def test_a_long_ramp_takes_whole_or_half_minutes():
    parts = {"noise": 0.25, "levels": {"A1": {"setpoint": 30}}}
    slow, timing = channel(**parts), PlanTiming.of(site(**parts), None)
    seconds = [timing.ramp_s(slow, "A1", way) for way in (0.5, 1, 2, 3, 5, 10, 20, 40)]
    assert seconds == sorted(seconds)
    assert seconds[0] < 120 < seconds[-1]
    assert all(one % 30 == 0 for one in seconds if one >= 120)
