"""Detectors in rooms: a leak raises the alarm, the fan that it starts brings the gas down."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import GasTo, Leak, Power, Press, Purge, RoomAir, Step
from gaswitness_simulator.stimulus_bus import DeviceOff

ROOM = {"tag": "R-1", "volume_m3": 100, "air_changes_per_h": 2, "fans": {"F1": 20}}
METHANE = {"room": "R-1", "levels": {"A1": {"setpoint": 20, "hysteresis": 2}}}


def panel_of(make_site, channels, cells=(), rooms=(ROOM,), fan=None, **parts):
    fan = {"tag": "F1", "kind": "fan", **(fan or {})}
    parts = {"outputs": [fan], "matrix": list(cells), "rooms": list(rooms), **parts}
    return VirtualPanel(make_site(channels=channels, **parts))


def first_true(panel, fact, until_s, step_s=0.25):
    at_s = panel.now_s
    while at_s < until_s:
        at_s += step_s
        panel.advance(at_s)
        if panel.fact(fact):
            return at_s
    raise AssertionError(f"{fact} never came")


def test_a_leak_raises_the_alarm_when_the_mass_balance_says(make_site, a_channel):
    # 4 m3/h methane, 100 m3, 2 air changes: 0.88 % by volume, that is 20 %LEL with the limit of
    # 4.4 %vol (IEC 60079-20-1:2010), after 17.5193 min (closed form).
    panel = panel_of(make_site, [a_channel(**METHANE)])
    panel.apply(Leak("R-1", "methane", 4.0), 10.0)
    assert first_true(panel, "AT-1.A1", 2000.0) - 10.0 == pytest.approx(17.5193 * 60, abs=1.3)


def test_the_alarm_comes_at_the_same_scan_when_time_is_jumped(make_site, a_channel):
    panel = panel_of(make_site, [a_channel(**METHANE)])
    panel.apply(Leak("R-1", "CH4", 4.0), 10.0)
    slow = panel_of(make_site, [a_channel(**METHANE)])
    slow.apply(Leak("R-1", "CH4", 4.0), 10.0)
    came_s = first_true(slow, "AT-1.A1", 2000.0)
    panel.advance(came_s - 1.01)
    assert not panel.fact("AT-1.A1")
    panel.advance(came_s)
    assert panel.fact("AT-1.A1")


def test_the_fan_that_the_alarm_starts_brings_the_gas_down(make_site, a_channel, a_cell):
    cells = [a_cell("AT-1.A1", "F1", latching=True)]
    panel = panel_of(make_site, [a_channel(**METHANE)], cells)
    panel.apply(Leak("R-1", "CH4", 4.0), 10.0)
    panel.advance(3 * 3600.0)
    # Steady with the fan: q / (Q + q), Q = 22 air changes of 100 m3 an hour.
    assert panel.fact("F1.active")
    assert not panel.fact("AT-1.A1")
    assert panel.room_share("R-1", "CH4") == pytest.approx(4 / 2204, rel=1e-6)
    assert panel.reading("AT-1") == pytest.approx(100 * 4 / 2204 / 0.044, rel=1e-5)
    without = panel_of(make_site, [a_channel(**METHANE)])
    without.apply(Leak("R-1", "CH4", 4.0), 10.0)
    without.advance(3 * 3600.0)
    assert without.fact("AT-1.A1")


def test_a_fan_held_off_by_its_coil_runs_when_the_supply_is_lost(make_site, a_channel):
    panel = panel_of(make_site, [a_channel(**METHANE)], fan={"normally_energised": True})
    panel.apply(Leak("R-1", "CH4", 4.0), 10.0)
    panel.apply(Leak("R-1", "CH4", 0.0), 1000.0)
    first = panel.room_share("R-1", "CH4")
    panel.apply(Power(on=False), 1000.0)
    panel.advance(1180.0)
    assert panel.room_share("R-1", "CH4") == pytest.approx(first * math.exp(-22 * 0.05), rel=1e-9)


def test_an_oxygen_cell_sees_nitrogen_by_what_is_missing(make_site, a_channel):
    levels = {"A1": {"setpoint": 19.5, "direction": "falling"}}
    oxygen = {"gas": "O2", "unit": "%vol", "range": [0, 25], "room": "R-1", "levels": levels}
    panel = panel_of(make_site, [a_channel(**oxygen)])
    panel.advance(100.0)
    assert panel.reading("AT-1") == pytest.approx(20.9)
    panel.apply(Leak("R-1", "N2", 30.0), 100.0)
    first_true(panel, "AT-1.A1", 3600.0)
    # To 19.5 %vol from 20.9: 6.6986 % of another gas (dilution).
    assert 100 * panel.room_share("R-1", "N2") == pytest.approx(6.6986, abs=0.01)


def test_another_gas_shows_by_its_share_of_sensitivity(make_site, a_channel):
    facts = {"gas": "CO", "unit": "ppm", "range": [0, 300], "cross_sensitivity": {"H2": 0.2}}
    panel = panel_of(make_site, [a_channel(**facts, room="R-1", levels={})])
    panel.apply(Leak("R-1", "hydrogen", 0.1), 10.0)
    panel.advance(200_000.0)
    assert panel.reading("AT-1") == pytest.approx(0.2e6 * 0.1 / 200.1, rel=1e-6)


def test_a_cylinder_hides_the_room_until_it_is_taken_away(make_site, a_channel):
    panel = panel_of(make_site, [a_channel(**METHANE)])
    panel.apply(GasTo("AT-1", Step(50.0)), 10.0)
    panel.apply(Leak("R-1", "CH4", 4.0), 20.0)
    panel.apply(Purge("R-1", 1.0), 500.0)
    panel.advance(1000.0)
    assert panel.reading("AT-1") == 50.0
    panel.apply(RoomAir("AT-1"), 1000.0)
    panel.advance(1001.5)
    share = panel.room_share("R-1", "CH4")
    assert panel.reading("AT-1") == pytest.approx(100 * share / 0.044, rel=0.01)
    assert 0 < share < 0.02


def test_what_is_in_no_room_is_refused(make_site, a_channel):
    panel = panel_of(make_site, [a_channel()])
    with pytest.raises(ValueError, match="stands in no room"):
        panel.apply(RoomAir("AT-1"), 1.0)
    with pytest.raises(ValueError, match="no room 'R-7'"):
        panel.apply(Leak("R-7", "CH4", 1.0), 1.0)
    with pytest.raises(ValueError, match="has no rooms"):
        VirtualPanel(make_site()).apply(Leak("R-1", "CH4", 1.0), 1.0)


happenings = st.lists(
    st.tuples(
        st.sampled_from([0.0, 20.0, 900.0]),
        st.one_of(
            st.builds(
                Leak,
                st.sampled_from(["R-1", "R-2"]),
                st.sampled_from(["CH4", "N2", "O2"]),
                st.sampled_from([0.0, 5.0, 400.0]),
            ),
            st.builds(Purge, st.just("R-2"), st.sampled_from([0.0, 2000.0])),
            st.builds(Power, st.booleans()),
            st.just(Press("reset")),
            st.just(GasTo("AT-1", Step(35.0))),
            st.just(RoomAir("AT-1")),
        ),
    ),
    max_size=12,
)


@settings(deadline=None, max_examples=100)
@given(happenings)
def test_no_reading_leaves_physics(make_site, a_channel, a_cell, done):
    oxygen = {"gas": "O2", "unit": "%vol", "range": [0, 100], "room": "R-2", "t90_s": 10}
    small = {"tag": "R-2", "volume_m3": 20}
    panel = panel_of(
        make_site,
        [a_channel(**METHANE), a_channel("AT-2", **oxygen)],
        [a_cell("any.A1", "F1", off_delay_s=5)],
        rooms=(ROOM, small),
        exchanges=[{"between": ["R-1", "R-2"], "flow_m3_h": 60}],
    )
    at_s = 0.0
    for wait_s, stimulus in done:
        panel.apply(stimulus, at_s)
        for part in (0.1, 1.0):
            panel.advance(at_s + part * wait_s)
            for room in ("R-1", "R-2"):
                shares = [panel.room_share(room, gas) for gas in ("CH4", "O2")]
                assert all(share >= -1e-9 for share in shares)
                assert sum(shares) <= 1 + 1e-9
            if panel.powered and panel.state.channels["AT-2"].live:
                assert -1e-6 <= panel.reading("AT-2") <= 100 + 1e-6
                assert -1e-6 <= panel.reading("AT-1") <= 110
        at_s += wait_s


def test_another_gas_counts_on_its_own_lower_limit(make_site, a_channel):
    # Hydrogen's limit is 4.0 %vol (IEC 60079-20-1:2010): 0.4 %vol are 10 %LEL of it, of which a
    # channel of methane with a cross-sensitivity of 1.3 shows 13, whatever limit is methane's.
    sensitive = a_channel(room="R-1", lfl_vol_percent=5.0, cross_sensitivity={"H2": 1.3})
    tight = {"tag": "R-1", "volume_m3": 100}
    panel = panel_of(make_site, [sensitive], rooms=[tight])
    panel.apply(Leak("R-1", "H2", -math.log(1 - 0.004) * 100 * 3.6), 10.0)
    panel.apply(Leak("R-1", "H2", 0.0), 1010.0)
    panel.advance(1012.0)
    assert panel.room_share("R-1", "H2") == pytest.approx(0.004, rel=1e-9)
    assert panel.reading("AT-1") == pytest.approx(13.0, rel=1e-6)


@pytest.mark.parametrize("held_off", [False, True])
def test_a_fan_does_without_supply_what_its_coil_does_without_current(
    make_site, a_channel, a_cell, held_off
):
    bus = {
        "scan": {},
        "devices": [{"tag": "AT-1", "address": 1, "draws": {"current_a": 0.01}}],
        "segments": [{"from": "panel", "to": "AT-1", "length_m": 10}],
    }
    fan = {"at": "AT-1", "normally_energised": held_off}
    cells = [a_cell("AT-1.A1", "F1", latching=True)]
    room = {**ROOM, "air_changes_per_h": 0}
    panel = panel_of(make_site, [a_channel(**METHANE)], cells, [room], fan, bus=bus)
    panel.apply(Leak("R-1", "CH4", 4.0), 10.0)
    panel.apply(Leak("R-1", "CH4", 0.0), 400.0 if held_off else 2000.0)
    panel.advance(2000.0)
    assert panel.fact("F1.active") is not held_off
    first = panel.room_share("R-1", "CH4")
    panel.apply(DeviceOff("AT-1", on=True), 2000.0)
    panel.advance(2180.0)
    assert panel.fact("F1.active") is not held_off
    aired = math.exp(-20 * 0.05) if held_off else 1.0
    assert panel.room_share("R-1", "CH4") == pytest.approx(first * aired, rel=1e-9)
    panel.apply(DeviceOff("AT-1", on=False), 2180.0)
    panel.advance(2360.0)
    assert panel.room_share("R-1", "CH4") == pytest.approx(first * math.exp(-1), rel=1e-9)
