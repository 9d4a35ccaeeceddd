"""Channels: the defaults that bound what can be proven."""

import pytest

from gaswitness_sitefile.channel import Channel


def channel(**changes):
    plain = {"tag": "AT-1", "gas": "CO", "unit": "ppm", "range": (0, 300)}
    return Channel.model_validate({**plain, **changes})


@pytest.mark.parametrize(
    ("changes", "clean"),
    [
        ({}, 0.0),
        ({"gas": "O2", "unit": "%vol", "range": (0, 25)}, 20.9),
        ({"gas": "oxygen", "unit": "%vol", "range": (0, 25)}, 20.9),
        ({"gas": "O2", "unit": "ppm"}, 0.0),
        ({"gas": "CO2", "clean": 400, "range": (0, 5000)}, 400.0),
    ],
)
def test_clean_air_reads_nought_but_for_oxygen(changes, clean):
    assert channel(**changes).clean_reading == clean


def test_readings_are_shown_a_tenth_beyond_the_range():
    assert channel().shown_limits == (-30.0, 330.0)
    assert channel(under_range=-5, over_range=310).shown_limits == (-5.0, 310.0)


def test_a_settled_reading_may_stand_off_by_a_twentieth_of_the_span():
    assert channel().reading_tolerance == 15.0
    assert channel(tolerance=2).reading_tolerance == 2.0


@pytest.mark.parametrize(
    ("level", "tolerance"),
    [
        ({"setpoint": 30}, 1.5),  # 5 % of the setpoint
        ({"setpoint": 200}, 6.0),  # 2 % of the span is less than 5 % of the setpoint, 10
        ({"setpoint": 0}, 6.0),
        ({"setpoint": 30, "setpoint_tolerance": 4}, 4.0),
    ],
)
def test_a_setpoint_may_stand_off_by_the_smaller_share(level, tolerance):
    assert channel(levels={"A1": level}).level_tolerance("A1") == tolerance


@pytest.mark.parametrize("ends", [(5, 5), (5, 4)])
def test_a_range_must_rise(ends):
    with pytest.raises(ValueError, match="range must rise"):
        channel(range=ends)


def test_a_channel_does_not_change():
    with pytest.raises(ValueError, match="frozen"):
        channel().tag = "AT-2"
