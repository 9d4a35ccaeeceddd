"""A small panel's power, worked by hand from end to end."""

import pytest

from gaswitness_simulator.power_budget import margins, power_budget

# 100 m of 1.5 mm2 class 2 at 20 °C: 2 x 12.1 ohm/km x 0.1 km = 2.42 ohm; 0.1 A at rest, 0.5 A more
# for the sounder.
BUS = {
    "supply_v": 24,
    "cable": {"cross_section_mm2": 1.5, "temperature_c": 20},
    "devices": [{"tag": "AT-1", "address": 1, "draws": {"current_a": 0.1}, "least_v": 18}],
    "segments": [{"from": "panel", "to": "AT-1", "length_m": 100}],
    "outputs": [{"output": "S1", "draws": {"current_a": 0.5}, "least_v": 20}],
    "panel": {"rest_a": 0.2, "alarm_a": 0.4},
    "spur": {"fuse_a": 3, "volts": 230, "efficiency": 0.8, "power_factor": 0.5, "charger_w": 8},
}


@pytest.fixture
def budget(make_site):
    def work_out(**changes):
        site = make_site(
            outputs=[{"tag": "S1", "kind": "sounder", "at": "AT-1"}],
            matrix=[{"cause": "AT-1.A1", "effect": "S1", "response_s": 3}],
            bus={**BUS, **changes},
        )
        return power_budget(site)

    return work_out


def test_volts_at_rest_and_in_full_alarm(budget):
    """By hand: 24 - 2.42 x 0.1 = 23.758 V; 24 - 2.42 x 0.6 = 22.548 V."""
    rest, alarm = budget().cases

    assert rest.settled.volts == (pytest.approx(23.758),)
    assert alarm.settled.volts == (pytest.approx(22.548),)
    assert [round(one.margin_v, 3) for one in margins(alarm)] == [4.548, 2.548]


def test_the_worst_is_the_least_margin_of_all_cases(budget):
    worst = budget().worst

    assert (worst.consumer.name, worst.case.full_alarm) == ("S1", True)
    assert worst.margin_v == pytest.approx(2.548)


def test_the_spur_carries_what_the_supply_takes(budget):
    """By hand: (24 V x (0.6 + 0.4) A + 8 W) / (0.8 x 0.5 x 230 V) = 0.3478 A."""
    assert budget().spur_a == pytest.approx(32 / 92)


def test_the_spur_carries_nothing_on_battery(budget):
    """On battery, constant power takes more from the supply, as more is lost in the cable."""
    devices = [{"tag": "AT-1", "address": 1, "draws": {"power_w": 20}, "least_v": 10}]
    rest = {"devices": devices, "outputs": [{"output": "S1", "draws": {"power_w": 12}}]}
    on_mains, with_battery = (budget(**rest, panel={}, **more) for more in ({}, {"battery": {}}))

    def watts(case):
        return case.supply_v * case.supply_a

    assert watts(with_battery.cases[3]) > watts(with_battery.cases[1])
    assert with_battery.spur_a == on_mains.spur_a


def test_a_valve_that_drops_at_the_second_level_is_held_while_the_first_sounds(
    make_site, a_channel, a_cell
):
    # All first levels on and no second one: 0.1 A + 0.5 A + 0.3 A through 2.42 ohm, by hand.
    valve = {"output": "V1", "draws": {"current_a": 0.3}, "least_v": 20}
    site = make_site(
        channels=[a_channel(levels={"A1": {"setpoint": 20}, "A2": {"setpoint": 40}})],
        outputs=[
            {"tag": "S1", "kind": "sounder", "at": "AT-1"},
            {"tag": "V1", "kind": "valve", "at": "AT-1", "normally_energised": True},
        ],
        matrix=[a_cell("AT-1.A1", "S1"), a_cell("AT-1.A2", "V1")],
        bus={**BUS, "outputs": [*BUS["outputs"], valve]},
    )
    rest, alarm = power_budget(site).cases
    assert rest.settled.volts == pytest.approx([24 - 2.42 * 0.4])
    assert alarm.settled.volts == pytest.approx([24 - 2.42 * 0.9])


def test_outputs_at_the_panel_take_from_its_supply(make_site):
    """By hand: 0.1 A of the detector, 0.4 A of the panel, and 12 W / 24 V = 0.5 A."""
    bus = {**BUS, "outputs": [{"output": "K1", "draws": {"power_w": 12}}]}
    site = make_site(outputs=[{"tag": "K1", "kind": "valve"}], bus=bus)

    _, alarm = power_budget(site).cases

    assert alarm.supply_a == pytest.approx(1.0)


def test_a_battery_without_regulation_is_the_supply_at_its_end(budget):
    """By hand: 12 cells of 1.75 V are 21 V; 21 - 2.42 x 0.6 = 19.548 V, and S1 needs 20 V."""
    found = budget(battery={})

    assert [one.supply_v for one in found.cases] == [24, 24, 21, 21]
    assert found.drops_out
    assert found.too_small
    (gone,) = found.cases[3].settled.drop_outs
    assert (gone.name, round(gone.volts, 3)) == ("S1", 19.548)
    assert not found.cases[2].short


def test_a_battery_without_regulation_is_sized_by_its_own_currents(budget):
    """By hand: 1.25 (24 x 0.3 + 1.75 x 0.5 x 1.0) = 10.09375 Ah."""
    battery = budget(battery={"capacity_ah": 10.1}).battery

    assert (battery.rest_a, battery.alarm_a) == (pytest.approx(0.3), pytest.approx(1.0))
    assert battery.needed_ah == pytest.approx(10.09375)
    assert not battery.too_small
    assert budget(battery={"capacity_ah": 10.0}).battery.too_small


def test_a_regulated_battery_gives_power_through_its_converter(budget):
    """By hand: 24 V x 0.3 A / (12 V x 0.8) = 0.75 A, and 24 x 1 / 9.6 = 2.5 A."""
    found = budget(battery={"regulated": True, "nominal_v": 12, "efficiency": 0.8})

    assert len(found.cases) == 2
    assert found.battery.rest_a == pytest.approx(0.75)
    assert found.battery.alarm_a == pytest.approx(2.5)


def test_what_the_bus_output_gives_is_a_limit(budget):
    assert [one.full_alarm for one in budget(limit_a=0.59).over_limit] == [True]
    assert budget(limit_a=0.59).too_small
    assert not budget(limit_a=0.61).too_small


def test_a_spur_with_too_small_a_fuse_is_too_small(budget):
    assert budget(spur={**BUS["spur"], "fuse_a": 0.34}).too_small
    assert not budget(spur={**BUS["spur"], "fuse_a": 0.35}).too_small


def test_without_a_working_point_nothing_is_sized(budget):
    found = budget(
        outputs=[{"output": "S1", "draws": {"power_w": 70}}], battery={"capacity_ah": 100}
    )

    assert found.cases[1].settled.as_wired is None
    assert found.spur_a is None
    assert found.battery.needed_ah is None
    assert found.too_small


def test_outputs_without_a_stated_draw_are_named(budget):
    assert budget(outputs=[]).unstated == ("S1",)


def test_a_site_without_a_bus_has_no_budget(make_site):
    with pytest.raises(ValueError, match="no bus"):
        power_budget(make_site())
