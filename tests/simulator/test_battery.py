"""Battery size and autonomy against worked values of the formula of BS 5839-1 annex D.

The formula is from memory. That 1.25, D = 1.75, 30 min and annex D belong together: secondary
source tinkeresp.net/calcs2.html.
"""

import pytest

from gaswitness_simulator.battery import autonomy_h, needed_ah
from gaswitness_sitefile.bus import Battery

# C = 1.25 (T1 I1 + 1.75 I2 / 2), worked out beforehand.
WORKED = [
    # standby in h, rest in A, alarm in A, Ah
    (24, 0.5, 2.0, 17.1875),
    (24, 0.12, 0.6, 4.25625),
    (24, 0.05, 0.3, 1.828125),
    (72, 0.05, 0.3, 4.828125),
]


@pytest.mark.parametrize(("standby_h", "rest_a", "alarm_a", "expected_ah"), WORKED)
def test_the_size_is_by_the_formula(standby_h, rest_a, alarm_a, expected_ah):
    battery = Battery(standby_h=standby_h)

    assert needed_ah(battery, rest_a=rest_a, alarm_a=alarm_a) == pytest.approx(expected_ah)


def test_a_published_example_without_discharge_factor_and_with_an_hour_of_alarm():
    """scribd.com/document/424947902: (0.05 x 24 + 0.3) x 1.25, which the page prints as 1.874."""
    battery = Battery(standby_h=24, alarm_min=60, discharge_factor=1)

    assert needed_ah(battery, rest_a=0.05, alarm_a=0.3) == pytest.approx(1.874, abs=0.0011)


@pytest.mark.parametrize(("standby_h", "rest_a", "alarm_a", "expected_ah"), WORKED)
def test_a_battery_of_the_size_stands_by_for_its_time(standby_h, rest_a, alarm_a, expected_ah):
    lasts_h = autonomy_h(Battery(), expected_ah, rest_a=rest_a, alarm_a=alarm_a)

    assert lasts_h == pytest.approx(standby_h)


def test_a_battery_for_nothing_but_half_the_alarm_stands_by_for_no_time():
    """By hand: 1.25 x 1.75 x 0.5 h x 2 A = 2.1875 Ah are for the alarm alone."""
    assert autonomy_h(Battery(), 2.18, rest_a=0.5, alarm_a=2.0) == 0
    assert autonomy_h(Battery(), 2.20, rest_a=0.5, alarm_a=2.0) == pytest.approx(0.02)


def test_without_a_current_at_rest_it_stands_by_for_ever():
    assert autonomy_h(Battery(), 7, rest_a=0, alarm_a=1) == float("inf")
