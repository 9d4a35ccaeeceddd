"""First-up, test and calibration of channels (rules 26 and 29), through the panel's own door."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.stimulus import (
    ChannelFault,
    Drift,
    GasTo,
    Inhibit,
    Power,
    Press,
    Step,
)
from gaswitness_simulator.stimulus_panel import Calibrate, PutInTest

TAGS = ("AT-1", "AT-2", "AT-3")
LEVELS = {"A1": {"setpoint": 20, "hysteresis": 2}}
LATCHING = {"A1": {"setpoint": 20, "hysteresis": 2, "latching": True}}


@pytest.fixture
def three(make_bench, make_site, a_channel):
    """Three channels alike; K1 acts on any first level, KF on any fault."""

    def made(levels=LEVELS, **parts):
        site = {
            "channels": [a_channel(tag, levels=levels) for tag in TAGS],
            "outputs": [{"tag": "K1", "kind": "relay"}, {"tag": "KF", "kind": "relay"}],
            "matrix": [
                {"cause": "any.A1", "effect": "K1", "response_s": 3},
                {"cause": "panel.fault", "effect": "KF", "response_s": 3},
            ],
        }
        return make_bench(make_site(**{**site, **parts}))

    return made


def first(bench):
    return [tag for tag in TAGS if bench[f"{tag}.first_up"]]


# --- rule 26: first-up ----------------------------------------------------------------------------
# The first-out idea of ISA-18.1 (from memory): of several alarms the one that came first is told
# from those that followed, until they are gone and acknowledged, or reset.


def test_the_first_alarm_is_first_up_and_those_that_follow_are_not(three):
    bench = three()
    assert first(bench) == []
    bench.gas("AT-2", 50.0)
    assert first(bench) == ["AT-2"]
    bench.gas("AT-1", 50.0)
    bench.gas("AT-3", 50.0)
    assert first(bench) == ["AT-2"]


def test_the_first_stays_first_after_its_own_alarm_has_gone(three):
    bench = three().gas("AT-2", 50.0).gas("AT-1", 50.0).gas("AT-2", 0.0)
    bench.do(Press("accept"))
    assert first(bench) == ["AT-2"]


def test_gone_and_accepted_the_panel_is_clear(three):
    bench = three().gas("AT-2", 50.0).gas("AT-2", 0.0)
    assert first(bench) == ["AT-2"]  # gone, but nobody has accepted it
    bench.do(Press("accept"))
    assert first(bench) == []
    assert first(bench.gas("AT-3", 50.0)) == ["AT-3"]


def test_accepted_before_it_goes_it_is_first_up_until_it_goes(three):
    bench = three().gas("AT-2", 50.0).do(Press("accept"))
    assert first(bench) == ["AT-2"]
    assert first(bench.gas("AT-2", 0.0)) == []


def test_a_reset_with_no_alarm_left_clears_it_unaccepted(three):
    bench = three(levels=LATCHING).gas("AT-2", 50.0)
    assert first(bench.do(Press("reset"))) == ["AT-2"]  # the gas is still there
    bench.gas("AT-2", 0.0)
    assert first(bench) == ["AT-2"]
    bench.do(Press("reset"))
    assert first(bench) == []
    assert bench["panel.unaccepted"]


def test_of_two_in_one_scan_the_first_in_the_site_file_is_first_up(three):
    bench = three().do(GasTo("AT-3", Step(50.0)), GasTo("AT-2", Step(50.0)))
    assert first(bench) == ["AT-2"]


def test_an_inhibited_channel_is_not_first_up_until_it_counts(three):
    bench = three().do(Inhibit("AT-2", on=True)).gas("AT-2", 50.0)
    assert first(bench) == []
    assert first(bench.do(Inhibit("AT-2", on=False))) == ["AT-2"]


def test_a_fault_is_no_alarm(three):
    bench = three().do(ChannelFault("AT-1", on=True)).gas("AT-3", 50.0)
    assert first(bench) == ["AT-3"]


def test_without_power_the_first_is_forgotten(three):
    bench = three().gas("AT-2", 50.0).gas("AT-1", 50.0).do(Power(on=False))
    assert first(bench) == []
    bench.gas("AT-2", 0.0).do(Power(on=True))
    assert first(bench) == ["AT-1"]


def register(bench, address):
    answer = VirtualDevice(bench.panel).answer(1, bytes((4, 0, address, 0, 1)), bench.panel.now_s)
    return int.from_bytes(answer[2:], "big")


def test_the_map_tells_the_number_of_the_first_channel(three, a_point):
    names = {0: "none", 7: "AT-1", 8: "AT-2", 9: "AT-3"}
    points = [
        a_point("number", "input register", 0, "uint16", "panel.first_up"),
        a_point("name", "input register", 1, "enumeration", "panel.first_up", codes=names),
        a_point("flag", "input register", 2, "bit in word", "AT-3.first_up", bit=4),
    ]
    bench = three(points=points)
    assert [register(bench, at) for at in range(3)] == [0, 0, 0]
    bench.gas("AT-3", 50.0)
    assert [register(bench, at) for at in range(3)] == [3, 9, 16]


# --- rule 29: test and calibration ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "begin"),
    [("test", PutInTest("AT-1", on=True)), ("calibration", Calibrate("AT-1", 60.0))],
)
@pytest.mark.parametrize("inhibit", ["effects", "levels"])
def test_in_test_or_calibration_levels_show_and_drive_nothing(three, mode, begin, inhibit):
    bench = three(behaviour={"inhibit": inhibit}).do(begin)
    assert bench[f"AT-1.{mode}"]
    bench.gas("AT-1", 50.0)
    assert bench["AT-1.A1"]
    assert not bench["any.A1"]
    assert not bench["K1.active"]
    assert not bench["panel.unaccepted"]
    assert first(bench) == []
    assert not bench["AT-1.inhibit"]
    assert not bench["panel.inhibit"]
    bench.do(ChannelFault("AT-1", on=True))
    assert bench["AT-1.fault"]
    assert not bench["panel.fault"]
    assert not bench["KF.active"]


def test_after_test_the_channel_drives_again(three):
    bench = three().do(PutInTest("AT-1", on=True)).gas("AT-1", 50.0)
    bench.do(PutInTest("AT-1", on=False))
    assert bench["K1.active"]
    assert not bench["AT-1.test"]


def test_other_channels_go_on_while_one_is_in_test(three):
    bench = three().do(PutInTest("AT-1", on=True)).gas("AT-1", 50.0).gas("AT-2", 50.0)
    assert bench["K1.active"]
    assert first(bench) == ["AT-2"]


def test_the_modes_themselves_count_as_causes(three):
    bench = three(matrix=[{"cause": "AT-1.test", "effect": "K1", "response_s": 3}])
    assert not bench["K1.active"]
    assert bench.do(PutInTest("AT-1", on=True), Inhibit("AT-1", on=True))["K1.active"]


def test_a_calibration_ends_by_itself_and_takes_the_errors_with_it(three):
    bench = three().do(Drift("AT-1", 30.0, None))
    assert bench["K1.active"]
    assert bench.panel.reading("AT-1") == 30.0
    begun_s = bench.panel.now_s
    bench.do(Calibrate("AT-1", 20.0))
    assert bench.panel.reading("AT-1") == 30.0  # what is wrong is wrong until it is over
    assert not bench["K1.active"]
    lasted = bench.stretches("AT-1.calibration", 30.0)
    assert len(lasted) == 1
    assert bench.panel.now_s > begun_s + 20.0
    assert 17.0 <= lasted[0] <= 19.1  # 2 s of it were over, and a scan a second
    assert bench.panel.reading("AT-1") == 0.0
    assert not bench["K1.active"]


def test_gas_that_is_there_when_a_calibration_ends_counts_at_once(three):
    bench = three().do(Calibrate("AT-1", 20.0)).gas("AT-1", 50.0)
    assert not bench["K1.active"]
    bench.wait(20.0)
    assert bench["K1.active"]
    assert first(bench) == ["AT-1"]


def test_a_calibration_that_the_power_breaks_off_mends_nothing(three):
    bench = three().do(Drift("AT-1", 30.0, None), Calibrate("AT-1", 20.0)).do(Power(on=False))
    bench.do(Power(on=True), wait_s=40.0)
    assert bench.panel.reading("AT-1") == 30.0
    assert not bench["AT-1.calibration"]


def test_a_test_ends_with_the_power_an_inhibit_does_not(three):
    bench = three().do(PutInTest("AT-1", on=True), Inhibit("AT-2", on=True))
    bench.do(Power(on=False)).do(Power(on=True))
    assert not bench["AT-1.test"]
    assert bench["AT-2.inhibit"]


def test_nobody_puts_a_channel_of_a_dead_panel_in_test(three):
    bench = three().do(Power(on=False)).do(PutInTest("AT-1", on=True), Calibrate("AT-2", 60.0))
    bench.do(Power(on=True))
    assert not bench["AT-1.test"]
    assert not bench["AT-2.calibration"]


@pytest.mark.parametrize(
    ("done", "state"),
    [
        ([PutInTest("AT-1", on=True), ChannelFault("AT-1", on=True)], "test"),
        ([Calibrate("AT-1", 60.0), GasTo("AT-1", Step(50.0))], "calibration"),
        ([Calibrate("AT-1", 60.0), PutInTest("AT-1", on=True)], "test"),
        ([Inhibit("AT-1", on=True), PutInTest("AT-1", on=True)], "inhibit"),
    ],
)
def test_the_channels_state_names_its_mode(three, done, state):
    assert three().do(*done).panel.state.channel_state("AT-1") == state


def test_states_that_a_register_does_not_name_are_passed_over(three, a_point):
    codes = {0: "normal", 1: "A1", 5: "calibration"}
    point = a_point("state", "input register", 0, "enumeration", "AT-1.state", codes=codes)
    bench = three(points=[point]).gas("AT-1", 50.0).do(PutInTest("AT-1", on=True))
    assert register(bench, 0) == 1
    assert register(bench.do(Calibrate("AT-1", 60.0)), 0) == 5
