"""Timed, pulsed and forced outputs (rules 27 and 28). Scans are a second apart."""

import pytest

from gaswitness_simulator.stimulus import InputSet, Power, Press
from gaswitness_simulator.stimulus_bus import WatchdogRestart
from gaswitness_simulator.stimulus_panel import ForceOutput

ON, OFF = InputSet("DI-1", on=True), InputSet("DI-1", on=False)
ALSO_ON, ALSO_OFF = InputSet("DI-2", on=True), InputSet("DI-2", on=False)


@pytest.fixture
def one_output(make_bench, make_site):
    """K1, driven by DI-1 and by DI-2; `cell`: of DI-1's cell."""

    def made(cell=(), **output):
        kind = {"tag": "K1", "kind": "relay", **output}
        cells = [
            {"cause": "DI-1.active", "effect": "K1", "response_s": 3, **dict(cell)},
            {"cause": "DI-2.active", "effect": "K1", "response_s": 3},
        ]
        inputs = [{"tag": "DI-1"}, {"tag": "DI-2"}]
        return make_bench(make_site(inputs=inputs, outputs=[kind], matrix=cells))

    return made


# --- rule 27: pulses -----------------------------------------------------------------------------


def test_a_pulse_lasts_its_time_while_the_cause_stays(one_output):
    bench = one_output(pulse_s=10).do(ON, wait_s=0.0)
    assert bench.stretches("K1.active", 60.0) == [pytest.approx(10.0, abs=0.11)]


def test_a_pulse_lasts_its_time_though_the_cause_goes(one_output):
    bench = one_output(pulse_s=10).do(ON).do(OFF, wait_s=0.0)
    lasted = bench.stretches("K1.active", 60.0)
    assert len(lasted) == 1
    assert 7.0 <= lasted[0] <= 9.1  # 2 s had passed, the first of them perhaps before the scan


def test_a_pulse_comes_again_with_each_new_cause(one_output):
    bench = one_output(pulse_s=10).do(ON).wait(20.0)
    assert not bench["K1.active"]
    assert bench.do(OFF).do(ON)["K1.active"]
    bench.wait(20.0)
    assert not bench["K1.active"]
    assert bench.do(ALSO_ON)["K1.active"]  # another cell's cause, with the first still there


def test_a_cause_that_comes_anew_within_a_pulse_begins_it_anew(one_output):
    bench = one_output(pulse_s=10).do(ON, wait_s=6.0).do(ALSO_ON, wait_s=0.0)
    lasted = bench.stretches("K1.active", 60.0)
    assert len(lasted) == 1
    assert 10.0 <= lasted[0] <= 11.1


def test_a_pulse_waits_for_the_on_delay_and_asks_nothing_of_off_delay_and_latch(one_output):
    cell = {"on_delay_s": 5, "off_delay_s": 60, "latching": True}
    bench = one_output(cell, pulse_s=10).do(ON, wait_s=4.0)
    assert not bench["K1.active"]
    assert bench.stretches("K1.active", 60.0) == [pytest.approx(10.0, abs=0.11)]
    bench.do(OFF, wait_s=0.0).do(Press("reset"))
    assert bench.stretches("K1.active", 90.0) == []


def test_mute_ends_a_pulse_and_is_over_when_it_would_have_been(one_output):
    bench = one_output(pulse_s=20, kind="sounder", mutable=True).do(ON).do(Press("mute"))
    assert not bench["K1.active"]
    assert bench["K1.muted"]
    bench.wait(20.0)
    assert not bench["K1.muted"]
    assert not bench["K1.active"]
    bench.do(ALSO_ON).do(Press("mute"))
    assert bench["K1.muted"]
    assert bench.do(OFF).do(ON)["K1.active"]  # a new cause is heard


def test_a_failsafe_pulse_drops_its_coil(one_output):
    bench = one_output(pulse_s=10, normally_energised=True)
    assert bench["K1.energised"]
    bench.do(ON)
    assert bench["K1.active"]
    assert not bench["K1.energised"]
    bench.wait(10.0)
    assert bench["K1.energised"]


def test_a_pulse_is_forgotten_without_power_and_comes_anew_with_its_cause(one_output):
    bench = one_output(pulse_s=30).do(ON).do(OFF).do(Power(on=False)).do(Power(on=True))
    assert not bench["K1.active"]
    bench = one_output(pulse_s=30).do(ON).do(Power(on=False)).do(Power(on=True))
    assert bench["K1.active"]


# --- rule 27: minimum on -------------------------------------------------------------------------


def test_a_minimum_holds_the_output_after_a_short_cause(one_output):
    bench = one_output(minimum_on_s=15).do(ON, OFF, wait_s=0.0)
    assert bench.stretches("K1.active", 60.0) == []  # no scan saw it
    bench.do(ON, wait_s=1.0).do(OFF, wait_s=0.0)
    lasted = bench.stretches("K1.active", 60.0)
    assert len(lasted) == 1
    assert 14.0 <= lasted[0] <= 15.1


def test_a_longer_cause_is_not_cut_short_and_goes_at_once(one_output):
    bench = one_output(minimum_on_s=15).do(ON).wait(30.0)
    assert bench["K1.active"]
    assert not bench.do(OFF)["K1.active"]


def test_a_reset_does_not_break_the_minimum(one_output):
    bench = one_output({"latching": True}, minimum_on_s=15).do(ON).do(OFF).do(Press("reset"))
    assert bench["K1.active"]
    bench.wait(12.0)
    assert not bench["K1.active"]


def test_a_latch_outlasts_the_minimum(one_output):
    bench = one_output({"latching": True}, minimum_on_s=15).do(ON).do(OFF).wait(40.0)
    assert bench["K1.active"]
    assert not bench.do(Press("reset"))["K1.active"]


def test_mute_goes_before_the_minimum(one_output):
    bench = one_output(minimum_on_s=15, kind="sounder", mutable=True).do(ON).do(Press("mute"))
    assert not bench["K1.active"]


# --- rule 28: forced outputs ---------------------------------------------------------------------


def test_a_forced_output_stands_as_it_is_held_and_then_follows_its_causes(one_output):
    bench = one_output().do(ForceOutput("K1", on=True))
    assert bench["K1.active"]
    assert bench["K1.energised"]
    assert bench["K1.forced"]
    assert bench["panel.test"]
    bench.do(ForceOutput("K1", on=None))
    assert not bench["K1.active"]
    assert not bench["K1.forced"]
    assert not bench["panel.test"]
    bench.do(ON).do(ForceOutput("K1", on=False))
    assert not bench["K1.active"]
    assert bench.do(ForceOutput("K1", on=None))["K1.active"]


def test_a_forced_failsafe_output_is_held_the_other_way_round(one_output):
    bench = one_output(normally_energised=True).do(ForceOutput("K1", on=True))
    assert bench["K1.active"]
    assert not bench["K1.energised"]


def test_cells_go_on_under_a_forced_output(one_output):
    bench = one_output({"latching": True}).do(ForceOutput("K1", on=False)).do(ON).do(OFF)
    assert bench.do(ForceOutput("K1", on=None))["K1.active"]  # it latched meanwhile


def test_the_mute_key_does_not_reach_a_forced_output(one_output):
    bench = one_output(kind="sounder", mutable=True).do(ON).do(ForceOutput("K1", on=True))
    bench.do(Press("mute"))
    assert bench["K1.active"]
    assert not bench["K1.muted"]
    assert bench.do(ForceOutput("K1", on=None))["K1.active"]


def test_a_pulse_runs_out_under_a_forced_output(one_output):
    bench = one_output(pulse_s=10).do(ON).do(ForceOutput("K1", on=False)).wait(10.0)
    assert not bench.do(ForceOutput("K1", on=None))["K1.active"]


def test_the_power_ends_every_test(one_output):
    bench = one_output().do(ForceOutput("K1", on=True)).do(Power(on=False))
    assert not bench["K1.energised"]
    bench.do(Power(on=True))
    assert not bench["K1.active"]
    assert not bench["K1.forced"]
    bench.do(Power(on=False)).do(ForceOutput("K1", on=True)).do(Power(on=True))
    assert not bench["K1.forced"]


def test_an_output_that_is_not_there_is_refused(one_output):
    with pytest.raises(ValueError, match="no output 'K9'"):
        one_output().do(ForceOutput("K9", on=True))


# --- with the stages of a panel's life (rule 20) --------------------------------------------------

LIFE = {
    "relay_pulse_s": 4,
    "self_test_s": 4,
    "discovery_window_s": 2,
    "warm_up_s": 2,
    "restart_s": 3,
}


@pytest.fixture
def living(make_bench, make_site):
    def made(**output):
        kinds = [{"tag": "K1", "kind": "relay", **output}]
        cells = [{"cause": "DI-1.active", "effect": "K1", "response_s": 3}]
        site = {"inputs": [{"tag": "DI-1"}], "outputs": kinds, "matrix": cells}
        return make_bench(make_site(panel_life=LIFE, **site))

    return made


def test_while_relays_are_pulsed_and_the_panel_tests_itself_nothing_forced_acts(living):
    bench = living(normally_energised=True).do(ForceOutput("K1", on=True), wait_s=1.5)
    assert bench["K1.energised"]
    assert not bench["K1.active"]
    bench.wait(4.0)
    assert not bench["K1.energised"]
    assert not bench["K1.active"]
    bench.wait(4.0)
    assert bench["K1.active"]
    assert bench["K1.forced"]


def test_a_pulse_begins_when_the_panel_has_come_up(living):
    bench = living(pulse_s=10).do(ON, wait_s=9.5)
    lasted = bench.stretches("K1.active", 30.0)
    assert len(lasted) == 1
    assert 8.0 <= lasted[0] <= 10.1


def test_a_watchdog_restart_ends_pulse_and_test(living):
    bench = living(pulse_s=60).wait(20.0).do(ON).do(OFF)
    assert bench["K1.active"]
    bench.do(WatchdogRestart(), wait_s=20.0)
    assert not bench["K1.active"]
    bench.do(ForceOutput("K1", on=True)).do(WatchdogRestart(), wait_s=20.0)
    assert not bench["K1.forced"]
    told = [what for _, subject, what in bench.events if subject == "panel" and "power" in what]
    assert told == ["power on", *["power off", "power on"] * 2]
