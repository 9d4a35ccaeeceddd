"""Gas of a cylinder led to a detector through a tube, on the panel itself."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import CylinderGas, Drift, GasTo, Leak, Power, RoomAir, Step

ROOM = {"tag": "R-1", "volume_m3": 100, "air_changes_per_h": 2}
LEVELS = {"A1": {"setpoint": 20, "hysteresis": 2}, "A2": {"setpoint": 40, "on_delay_s": 3}}


def test_the_tube_delays_the_gas_and_the_air_before_it_stays(make_site, a_channel):
    panel = VirtualPanel(make_site(channels=[a_channel()]))
    panel.apply(GasTo("AT-1", Step(5.0)), 10.0)
    panel.apply(CylinderGas("AT-1", 50.0, share=0.5, after_s=8.0), 20.0)
    seen = []
    for at_s in (27.9, 28.0):
        panel.advance(at_s)
        seen.append(panel.gas("AT-1"))
    assert seen == [5.0, 27.5]


@pytest.mark.parametrize("room", [None, "R-1"])
def test_a_sensor_without_lag_raises_its_alarm_in_the_scan_after_the_gas(
    make_site, a_channel, room
):
    parts = {"rooms": [ROOM]} if room else {}
    channel = a_channel(levels=LEVELS, **({"room": room} if room else {}))
    panel = VirtualPanel(make_site(channels=[channel], **parts), seed=3)
    if room:
        panel.apply(Leak("R-1", "CH4", 0.5), 5.0)
    panel.apply(CylinderGas("AT-1", 50.0, after_s=8.0), 20.0)
    panel.advance(28.0)
    assert not panel.fact("AT-1.A1")
    panel.advance(29.01)  # scanned every second
    assert panel.fact("AT-1.A1")


@pytest.mark.parametrize("wrong", [{"share": 1.01}, {"share": -0.1}, {"after_s": -1.0}])
def test_what_no_cylinder_does_is_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        CylinderGas("AT-1", 50.0, **wrong)


def test_a_panel_refuses_a_channel_that_it_does_not_have(make_site):
    with pytest.raises(ValueError, match="no channel 'AT-9'"):
        VirtualPanel(make_site()).apply(CylinderGas("AT-9", 50.0), 1.0)


sensors = st.sampled_from(
    [
        {"t90_s": 0},
        {"t90_s": 10},
        {"t90_s": 20, "t50_s": 10},
        {"t90_s": 0, "recovery_t90_s": 30},
        {"t90_s": 0, "noise": 1.0},
    ]
)
stimuli = st.one_of(
    st.builds(
        CylinderGas,
        st.just("AT-1"),
        st.sampled_from([0.0, 19.0, 25.0, 80.0, 300.0]),
        st.sampled_from([1.0, 0.3]),
        st.sampled_from([0.0, 0.4, 7.5, 60.0]),
    ),
    st.builds(GasTo, st.just("AT-1"), st.builds(Step, st.sampled_from([0.0, 30.0]))),
    st.builds(Leak, st.just("R-1"), st.just("CH4"), st.sampled_from([0.0, 3.0, 40.0])),
    st.just(RoomAir("AT-1")),
    st.builds(Drift, st.just("AT-1"), st.none(), st.sampled_from([0.0, 0.5]), st.just(20.0)),
    st.builds(Power, st.booleans()),
)
happenings = st.lists(st.tuples(st.sampled_from([0.3, 6.0, 50.0]), stimuli), max_size=8)


@settings(deadline=None, max_examples=150)
@example({"t90_s": 0}, [(6.0, Leak("R-1", "CH4", 3.0)), (6.0, CylinderGas("AT-1", 80.0, 1.0, 7.5))])
@given(sensors, happenings)
def test_jumping_over_quiet_scans_misses_no_cylinder(make_site, a_channel, sensor, done):
    facts = {"room": "R-1", "over_range_latches": True, "levels": LEVELS, **sensor}
    site = make_site(channels=[a_channel(**facts)], rooms=[ROOM])
    panel, plain = VirtualPanel(site, seed=5), VirtualPanel(site, seed=5)
    scanning, at_s = panel.state.scanning, 0.0
    names = ("AT-1.A1", "AT-1.A2", "AT-1.over_range", "panel.unaccepted")
    for wait_s, stimulus in [*done, (80.0, None)]:
        ends_s = at_s + wait_s
        for scan in range(scanning.last(at_s), scanning.last(ends_s) + 1):
            look_s = min(max(scanning.at_s(scan), at_s), ends_s)
            plain.state.channels["AT-1"].due = -1  # look at it in every scan
            plain._next = plain._next_scan()
            for one in (panel, plain):
                one.advance(look_s)
            assert [panel.fact(name) for name in names] == [plain.fact(name) for name in names]
            shown, other = panel.reading("AT-1"), plain.reading("AT-1")
            assert shown == other or (math.isnan(shown) and math.isnan(other))
        at_s = ends_s
        if stimulus is not None:
            panel.apply(stimulus, at_s)
            plain.apply(stimulus, at_s)
