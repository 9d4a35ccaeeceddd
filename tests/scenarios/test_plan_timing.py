"""How long things are held: against the first-order lag in closed form, and the panel's own times.

y(t) = end - (end - start) exp(-t / tau): the step response of a first-order lag (any textbook of
control; from memory). T90: the time to 90 % of the step (IEC 60079-29-1, from memory).
"""

import math

import pytest

from gaswitness_scenarios.plan_dose import dose_of
from gaswitness_scenarios.plan_ladder import ladders
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
