"""From power-up to normal, and what mains, battery and watchdog make of a running panel."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, GasTo, Power, Press, Step
from gaswitness_simulator.stimulus_bus import AskDiscovery, DeviceOff, Mains, WatchdogRestart

# With 1 s pulse, 4 s self-test, 10 s window: the window closes at 15 s.
LIFE = {"warm_up_s": 60}
NOT_ASKED_END_S, ASKED_AT_S = 75.0, 8.0

BUS = {
    "supply_v": 24,
    "devices": [{"tag": "AT-1", "address": 1, "draws": {"current_a": 0.1}, "least_v": 10}],
    "segments": [{"from": "panel", "to": "AT-1", "length_m": 1}],
    "terminator": "AT-1",
    "scan": {},
}
READ_TWO = bytes((0x03, 0, 0, 0, 2))


@pytest.fixture
def living(make_site, a_cell, a_channel):
    def made(bus=None, battery=None, **life):
        parts = {} if bus is None else {"bus": {**bus, **({"battery": battery} if battery else {})}}
        return make_site(
            panel_life={**LIFE, **life},
            outputs=[
                {"tag": "K1", "kind": "relay", "normally_energised": True},
                {"tag": "K2", "kind": "relay"},
            ],
            matrix=[a_cell("panel.fault", "K1"), a_cell("any.A1", "K2")],
            **parts,
        )

    return made


def test_power_up_pulses_every_relay_once(living):
    # common practice, no source
    panel = VirtualPanel(living())
    seen = []
    for at_s in (0.5, 3, 20):
        panel.advance(at_s)
        seen.append((panel.fact("K1.energised"), panel.fact("K2.energised")))
    # all on, all off in the self-test, then as the matrix has it: the fail-safe one energised
    assert seen == [(True, True), (False, False), (True, False)]


def test_the_pulse_is_no_alarm(living):
    panel = VirtualPanel(living())
    panel.advance(0.5)
    assert not panel.fact("K2.active")


def test_a_discovery_is_offered_for_about_10_s_after_the_self_test(living):
    # common practice, no source
    panel = VirtualPanel(living())
    open_at = []
    for tenth in range(300):
        panel.advance(tenth / 10)
        if panel.fact("panel.discovery_open"):
            open_at.append(tenth / 10)
    assert min(open_at) == pytest.approx(5, abs=1.01)
    assert max(open_at) - min(open_at) == pytest.approx(10, abs=1.01)


def test_nobody_asks_and_the_panel_warms_up_without_a_discovery(living):
    panel = VirtualPanel(living())
    panel.advance(17)
    assert panel.state.panel_state() == "warm_up"
    panel.advance(NOT_ASKED_END_S + 1.01)
    assert panel.state.panel_state() == "normal"


def test_asked_for_it_discovers_and_then_warms_up(living):
    panel = VirtualPanel(living())
    panel.apply(AskDiscovery(), ASKED_AT_S)
    states = []
    for at_s in (10, 30, 87, 90):
        panel.advance(at_s)
        states.append(panel.state.panel_state())
    assert states == ["discovering", "warm_up", "warm_up", "normal"]


def test_asking_too_late_is_in_vain(living):
    panel = VirtualPanel(living())
    panel.apply(AskDiscovery(), 40)
    panel.advance(42)
    assert panel.state.panel_state() == "warm_up"


def test_a_panel_may_discover_without_being_asked(living):
    panel = VirtualPanel(living(discovers="always"))
    panel.advance(20)
    assert panel.fact("panel.discovering")


def test_warm_up_takes_15_min_with_an_oxygen_cell_and_less_without(make_site, a_channel):
    # common practice, no source: 15 min is set by oxygen cells, the slowest to settle
    oxygen = a_channel(gas="O2", unit="%vol", range=[0, 25], detector="oxygen cell", levels={})
    with_cell = make_site(panel_life={}, channels=[oxygen])
    assert with_cell.warm_up_s == 900
    assert make_site(panel_life={}).warm_up_s < 900


def test_alarms_are_held_and_flagged_until_the_panel_is_warm(living):
    # common practice, no source
    panel = VirtualPanel(living())
    panel.apply(GasTo("AT-1", Step(50)), 1)
    panel.advance(NOT_ASKED_END_S - 1)
    assert panel.fact("panel.warm_up")
    assert not panel.fact("AT-1.A1")
    panel.advance(NOT_ASKED_END_S + 1.01)
    assert not panel.fact("panel.warm_up")
    assert panel.fact("AT-1.A1")


def test_faults_count_while_the_panel_warms_up(living):
    panel = VirtualPanel(living())
    panel.apply(ChannelFault("AT-1", True), 20)
    panel.advance(22)
    assert panel.fact("K1.active")


def test_the_map_is_not_served_before_the_self_test_is_over(living):
    device = VirtualDevice(VirtualPanel(living()))
    assert device.answer(1, READ_TWO, 3.0) == bytes((0x83, 4))
    assert device.answer(1, READ_TWO, 7.0)[0] == 0x03


def test_a_site_without_the_section_comes_up_as_it_always_did(make_site):
    panel = VirtualPanel(make_site())
    assert panel.living is None
    assert panel.state.panel_state() == "normal"


def test_power_return_begins_the_whole_life_anew(living):
    panel = VirtualPanel(living())
    panel.apply(Power(False), 200)
    panel.apply(Power(True), 300)
    panel.advance(300.5)
    assert panel.fact("K2.energised")
    panel.advance(310)
    assert panel.fact("panel.discovery_open")


def test_the_watchdog_restarts_the_panel_and_that_is_a_fault_until_reset(living):
    panel = VirtualPanel(living())
    panel.apply(WatchdogRestart(), 200)
    panel.advance(201)
    assert not panel.powered
    panel.advance(215)
    assert panel.powered
    assert panel.fact("panel.restarted")
    assert panel.fact("K1.active")
    panel.apply(Press("reset"), 216)
    panel.advance(218)
    assert not panel.fact("panel.restarted")
    assert not panel.fact("panel.fault")


def test_a_supply_switched_off_while_it_restarts_stays_off(living):
    panel = VirtualPanel(living())
    panel.apply(WatchdogRestart(), 200)
    panel.apply(Power(False), 201)
    panel.advance(300)
    assert not panel.powered


def test_without_a_battery_the_panel_goes_with_the_mains(living):
    panel = VirtualPanel(living(BUS))
    panel.apply(Mains(False), 100)
    assert not panel.powered
    panel.apply(Mains(True), 200)
    assert panel.powered


# 1.25 Ah fitted, aged to 1.0 Ah; the bus takes 0.1 A at rest: 10 h by hand.
BATTERY = {"capacity_ah": 1.25, "nominal_v": 24, "end_v": 21}


@pytest.mark.parametrize("mains", [False, True])
def test_the_mains_do_nothing_to_a_panel_that_is_switched_off(living, mains):
    panel = VirtualPanel(living(BUS, {"capacity_ah": 10}))
    panel.apply(Power(on=False), 100.0)
    panel.apply(Mains(on=mains), 101.0)
    panel.advance(110.0)
    assert not panel.powered
    panel.apply(Power(on=True), 110.0)
    panel.advance(200.0)
    assert panel.powered
    assert panel.fact("panel.on_battery") is not mains


def test_the_watchdog_restarts_no_panel_without_supply(living):
    panel = VirtualPanel(living(restart_s=3))
    panel.apply(WatchdogRestart(), 100.0)
    panel.apply(Mains(on=False), 101.0)
    panel.advance(110.0)
    assert not panel.powered
    panel.apply(Mains(on=True), 110.0)
    panel.advance(111.0)
    assert panel.powered


def test_on_battery_the_panel_goes_on_and_says_so_as_a_fault(living):
    panel = VirtualPanel(living(BUS, BATTERY))
    panel.apply(Mains(False), 100)
    panel.advance(103)
    assert panel.powered
    assert panel.fact("panel.on_battery")
    assert panel.fact("panel.fault")
    panel.apply(Mains(True), 110)
    panel.advance(112)
    assert not panel.fact("panel.on_battery")


def test_the_battery_ends_when_its_charge_is_used_up(living):
    # 1.25 Ah / 1.25 (ageing) / 0.1 A = 10 h, worked by hand
    panel = VirtualPanel(living(BUS, BATTERY))
    panel.apply(Mains(False), 100)
    panel.advance(100 + 10 * 3600 - 5)
    assert panel.powered
    panel.advance(100 + 10 * 3600 + 5)
    assert not panel.powered


def test_the_panel_warns_before_the_battery_is_empty(living):
    panel = VirtualPanel(living(BUS, BATTERY, battery_low=0.25))
    panel.apply(Mains(False), 100)
    panel.advance(100 + 7.4 * 3600)
    assert not panel.fact("panel.battery_low")
    panel.advance(100 + 7.6 * 3600)
    assert panel.fact("panel.battery_low")


def test_a_falling_battery_loses_detectors_before_it_ends(living):
    # 24 V to 21 V in steps of 0.15 V, by charge: 22.05 V with 35 %, 21.9 V with 30 % of it left
    device = {**BUS["devices"][0], "least_v": 22}
    panel = VirtualPanel(living({**BUS, "devices": [device]}, BATTERY))
    panel.apply(Mains(False), 100)
    panel.advance(100 + 6.9 * 3600)
    assert not panel.fact("AT-1.comms_fault")
    panel.advance(100 + 7.1 * 3600)
    assert panel.fact("AT-1.comms_fault")
    panel.apply(Mains(True), 100 + 7.2 * 3600)
    panel.advance(100 + 7.2 * 3600 + 5)
    assert not panel.fact("AT-1.comms_fault")


def test_a_panel_that_holds_its_voltage_on_battery_loses_none(living):
    device = {**BUS["devices"][0], "least_v": 22}
    panel = VirtualPanel(living({**BUS, "devices": [device]}, {**BATTERY, "regulated": True}))
    panel.apply(Mains(False), 100)
    panel.advance(100 + 8 * 3600)
    assert panel.powered
    assert not panel.fact("AT-1.comms_fault")


def test_an_alarm_empties_the_battery_faster_by_its_discharge_factor(living):
    # 1.0 Ah / (1.75 x 0.1 A) = 5.714 h; the factor of BS 5839-1 annex D, from memory
    panel = VirtualPanel(living(BUS, BATTERY))
    panel.apply(GasTo("AT-1", Step(50)), 99)
    panel.apply(Mains(False), 100)
    panel.advance(100 + 5.70 * 3600)
    assert panel.powered
    panel.advance(100 + 5.73 * 3600)
    assert not panel.powered


def test_a_second_failure_finds_the_battery_as_far_as_it_was_charged(living):
    # 5 h of 10 used, then 6 of 24 h on mains: 0.5 + 0.25 of 1.0 Ah are left, 7.5 h
    panel = VirtualPanel(living(BUS, BATTERY, recharge_h=24))
    for at_h, on in ((0, False), (5, True), (11, False)):
        panel.apply(Mains(on), 100 + at_h * 3600)
    panel.advance(100 + 18.4 * 3600)
    assert panel.powered
    panel.advance(100 + 18.6 * 3600)
    assert not panel.powered


def test_the_mains_bring_back_a_panel_whose_battery_had_ended(living):
    panel = VirtualPanel(living(BUS, BATTERY))
    panel.apply(Mains(False), 100)
    panel.apply(Mains(True), 100 + 11 * 3600)
    panel.advance(100 + 11 * 3600 + 8)
    assert panel.powered
    assert panel.fact("panel.discovery_open")


def test_steps_of_any_length_come_to_the_same_end(living):
    whole, stepped = (VirtualPanel(living(BUS, BATTERY)) for _ in range(2))
    for panel in (whole, stepped):
        panel.apply(Mains(False), 100)
        panel.apply(DeviceOff("AT-1", True), 4000)
        panel.apply(DeviceOff("AT-1", False), 7000)
    for minute in range(120, 12 * 60):
        stepped.advance(minute * 60.0)
    whole.advance(12 * 3600.0)
    stepped.advance(12 * 3600.0)
    assert whole.powered is stepped.powered is False
    assert whole.living.supply.share == pytest.approx(stepped.living.supply.share)
