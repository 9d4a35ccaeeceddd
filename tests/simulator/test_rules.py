"""The panel's rules (DEVELOPERS.md), each by an example, through the panel's own door.

Scans are a second apart, so what is done at an instant has its effect within a second.
"""

import math
from itertools import pairwise, product

import pytest

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import (
    ChannelFault,
    DropOut,
    GasTo,
    Inhibit,
    InputSet,
    PanelFault,
    Power,
    Press,
    Ramp,
    SetpointTo,
    Step,
)

HORN = {"tag": "S1", "kind": "sounder", "mutable": True}
BEACON = {"tag": "B1", "kind": "beacon"}
RELAY = {"tag": "K1", "kind": "relay"}
FAILSAFE = {"tag": "KF", "kind": "relay", "normally_energised": True}


class Bench:
    """A panel on which each action is followed by two scans."""

    def __init__(self, site, seed=0):
        self.panel = VirtualPanel(site, seed=seed)

    def do(self, *stimuli, wait_s=2.0):
        for stimulus in stimuli:
            self.panel.apply(stimulus, self.panel.now_s)
        self.wait(wait_s)
        return self

    def gas(self, level, tag="AT-1", wait_s=2.0):
        return self.do(GasTo(tag, Step(level)), wait_s=wait_s)

    def wait(self, for_s):
        self.panel.advance(self.panel.now_s + for_s)

    def when(self, fact, within_s, step_s=0.05):
        """How long from now until the fact is true."""
        start_s = self.panel.now_s
        while not self.panel.fact(fact):
            assert self.panel.now_s < start_s + within_s, f"{fact} did not come"
            self.wait(step_s)
        return self.panel.now_s - start_s

    def __getitem__(self, fact):
        return self.panel.fact(fact)


@pytest.fixture
def bench(make_site):
    return lambda **parts: Bench(make_site(**parts))


@pytest.fixture
def one_level(bench, a_channel):
    return lambda **level: bench(
        channels=[a_channel(levels={"A1": {"setpoint": 20, "hysteresis": 2, **level}})]
    )


# --- rule 1: reading -----------------------------------------------------------------------------


def test_reading_is_held_within_the_shown_limits(bench):
    panel = bench().gas(150.0)
    assert panel.panel.reading("AT-1") == 110.0
    assert panel["AT-1.over_range"]
    panel.gas(-50.0)
    assert panel.panel.reading("AT-1") == -10.0
    assert panel["AT-1.under_range"]
    assert not panel["AT-1.over_range"]


def test_gas_is_at_the_detector_before_the_sensor_meets_it(bench, a_channel):
    # T90 60 s with T50 30 s: dead time 30 - 18.64 ln 2 = 17.08 s.
    panel = bench(channels=[a_channel(t90_s=60.0, t50_s=30.0)])
    panel.wait(1.0)
    panel.panel.apply(GasTo("AT-1", Step(50.0)), panel.panel.now_s)
    panel.wait(1.0)
    assert panel.panel.gas("AT-1") == 50.0
    assert panel.panel.reading("AT-1") == 0.0
    panel.wait(29.0)
    assert panel.panel.reading("AT-1") == pytest.approx(25.0, abs=0.7)


def test_full_scale_is_not_over_range(bench):
    assert not bench().gas(110.0)["AT-1.over_range"]


def test_noise_stays_within_its_bounds_and_uses_them(bench, a_channel):
    panel = bench(channels=[a_channel(noise=0.5)]).gas(50.0)
    seen = set()
    for _ in range(500):
        panel.wait(1.0)
        seen.add(panel.panel.reading("AT-1"))
    assert all(49.5 <= reading <= 50.5 for reading in seen)
    assert min(seen) < 49.6
    assert max(seen) > 50.4
    assert len(seen) == 500


def test_the_same_seed_gives_the_same_noise(make_site, a_channel):
    site = make_site(channels=[a_channel(noise=0.5)])
    one, same, other = (VirtualPanel(site, seed=seed) for seed in (1, 1, 2))
    for at_s in (1.0, 77.0):
        one.advance(at_s)
    same.advance(77.0)
    other.advance(77.0)
    assert one.reading("AT-1") == same.reading("AT-1") != other.reading("AT-1")


# First-order lag: t90 = 30 s, step to 60 %LEL, A1 at 20 %LEL is crossed after
# t = -tau ln(1 - A/C) = 5.2828 s; the scan adds at most its period.
@pytest.mark.parametrize("seed", range(5))
def test_alarm_comes_when_the_lag_crosses_and_the_scan_sees_it(make_site, a_channel, seed):
    bench = Bench(make_site(channels=[a_channel(t90_s=30)]), seed)
    bench.do(GasTo("AT-1", Step(60.0)), wait_s=0.0)
    assert 5.2828 <= bench.when("AT-1.A1", within_s=10) <= 5.2828 + 1.0 + 0.05


# A ramp of 1 %LEL a second without lag is at 20 %LEL after 20 s.
@pytest.mark.parametrize("seed", range(10))
def test_ramp_raises_its_alarm_in_the_first_scan_that_can_see_it(make_site, seed):
    bench = Bench(make_site(), seed)
    bench.do(GasTo("AT-1", Ramp(100.0, 100.0)), wait_s=0.0)
    assert 20.0 <= bench.when("AT-1.A1", within_s=30) <= 21.05


# --- rule 2: scan --------------------------------------------------------------------------------


def test_scans_keep_their_phase_and_period(make_site):
    panel = VirtualPanel(make_site(), seed=7)
    moments = []
    for step in range(200):
        at_s = step * 0.1
        panel.apply(GasTo("AT-1", Ramp(100.0, 0.0) if step % 2 else Step(0.0)), at_s)
        before = panel.state.scanning.now
        panel.advance(at_s + 0.1)
        if panel.state.scanning.now != before:
            moments.append(panel.state.scanning.at_s(panel.state.scanning.now))
    gaps = [later - earlier for earlier, later in pairwise(moments)]
    assert gaps == pytest.approx([1.0] * (len(moments) - 1))
    assert 0.0 < moments[0] <= 1.0


def test_seeds_differ_in_phase(make_site):
    phases = {VirtualPanel(make_site(), seed=n).state.scanning.phase_s for n in range(20)}
    assert len(phases) == 20


def test_nothing_happens_before_the_next_scan(bench):
    panel = bench()
    panel.wait(5.0)
    scan_s = panel.panel.state.scanning.at_s(panel.panel.state.scanning.now + 1)
    panel.do(GasTo("AT-1", Step(60.0)), wait_s=0.0)
    panel.panel.advance(scan_s - 1e-6)
    assert panel.panel.gas("AT-1") == 60.0
    assert panel.panel.reading("AT-1") == 0.0
    assert not panel["AT-1.A1"]
    panel.panel.advance(scan_s)
    assert panel.panel.reading("AT-1") == 60.0
    assert panel["AT-1.A1"]


# --- rule 3: levels ------------------------------------------------------------------------------


def test_level_comes_on_at_the_setpoint_and_not_below(one_level):
    panel = one_level()
    assert not panel.gas(19.999)["AT-1.A1"]
    assert panel.gas(20.0)["AT-1.A1"]


def test_level_holds_within_its_hysteresis(one_level):
    panel = one_level().gas(25.0)
    assert panel.gas(18.0)["AT-1.A1"]
    assert not panel.gas(17.999)["AT-1.A1"]
    assert not panel.gas(19.0)["AT-1.A1"]


def test_falling_level_mirrors_a_rising_one(bench, a_channel):
    low = {"setpoint": 19.5, "hysteresis": 0.2, "direction": "falling"}
    panel = bench(
        channels=[
            a_channel(gas="O2", unit="%vol", range=[0, 25], levels={"A1": low}),
        ]
    )
    assert panel.panel.reading("AT-1") == 20.9
    assert not panel.gas(19.51)["AT-1.A1"]
    assert panel.gas(19.5)["AT-1.A1"]
    assert panel.gas(19.7)["AT-1.A1"]
    assert not panel.gas(19.71)["AT-1.A1"]


def test_on_delay_counts_from_the_scan_that_saw_it(one_level):
    panel = one_level(on_delay_s=5)
    panel.gas(25.0, wait_s=0.0)
    assert 5.0 - 1e-6 <= panel.when("AT-1.A1", within_s=8) <= 6.05


def test_on_delay_begins_anew_when_broken(one_level):
    panel = one_level(on_delay_s=5)
    panel.gas(25.0, wait_s=4.0)
    panel.gas(19.0)
    panel.gas(25.0, wait_s=4.0)
    assert not panel["AT-1.A1"]
    panel.wait(3.0)
    assert panel["AT-1.A1"]


def test_latch_survives_falling_gas(one_level):
    panel = one_level(latching=True).gas(25.0).gas(0.0, wait_s=600)
    assert panel["AT-1.A1"]


def test_level_that_was_reset_while_its_delay_ran_drives_its_effects_again(
    bench, a_channel, a_cell
):
    """The reset takes latch and relay; the gas that came meanwhile brings both back."""
    levels = {"A1": {"setpoint": 20, "hysteresis": 2, "latching": True, "on_delay_s": 5}}
    site = {"channels": [a_channel(levels=levels)], "outputs": [RELAY]}
    panel = bench(matrix=[a_cell("AT-1.A1", "K1")], **site)
    panel.gas(25.0, wait_s=8).gas(0.0).gas(25.0).do(Press("reset"))
    assert not panel["AT-1.A1"]
    assert not panel["K1.active"]
    panel.wait(5.0)
    assert panel["AT-1.A1"]
    assert panel["K1.active"]


def test_level_without_latch_follows_falling_gas(one_level):
    assert not one_level().gas(25.0).gas(0.0)["AT-1.A1"]


def test_setpoint_may_be_changed_within_the_range(bench):
    panel = bench().gas(15.0)
    assert panel.do(SetpointTo("AT-1", "A1", 12.0))["AT-1.A1"]
    panel.do(SetpointTo("AT-1", "A1", 500.0), SetpointTo("AT-1", "A1", math.nan))
    assert panel.panel.setpoint("AT-1", "A1") == 100.0


# --- rule 4: faults ------------------------------------------------------------------------------


@pytest.mark.parametrize("cause", [ChannelFault, DropOut])
def test_fault_is_said_after_its_delay_and_goes_with_its_cause(bench, a_channel, cause):
    panel = bench(channels=[a_channel(fault_delay_s=5)])
    panel.do(cause("AT-1", on=True), wait_s=0.0)
    assert 5.0 - 1e-6 <= panel.when("AT-1.fault", within_s=8) <= 6.05
    assert not panel.do(cause("AT-1", on=False))["AT-1.fault"]


@pytest.mark.parametrize(
    ("on_fault", "shown"),
    [("hold", 30.0), ("zero", 0.0), ("sentinel", math.nan), ("nan", math.nan)],
)
def test_reading_in_fault_is_as_stated(bench, a_channel, on_fault, shown):
    panel = bench(channels=[a_channel(on_fault=on_fault)]).gas(30.0)
    panel.do(ChannelFault("AT-1", on=True)).gas(70.0)
    assert panel.panel.reading("AT-1") == pytest.approx(shown, nan_ok=True)
    panel.do(ChannelFault("AT-1", on=False))
    assert panel.panel.reading("AT-1") == 70.0


def test_the_last_good_reading_is_that_of_the_scan_before_the_fault(bench):
    panel = bench().gas(30.0)
    panel.do(GasTo("AT-1", Step(70.0)), ChannelFault("AT-1", on=True))
    assert panel.panel.reading("AT-1") == 30.0


def test_a_detector_off_the_bus_tells_nothing_new_before_its_fault_is_said(bench, a_channel):
    panel = bench(channels=[a_channel(fault_delay_s=20)]).gas(10.0)
    panel.do(DropOut("AT-1", on=True)).gas(60.0)
    assert not panel["AT-1.fault"]
    assert panel.panel.reading("AT-1") == 10.0
    assert not panel["AT-1.A1"]


@pytest.mark.parametrize(
    ("levels_on_fault", "gas", "in_fault"),
    [("hold", 25, True), ("hold", 5, False), ("clear", 25, False), ("trip", 5, True)],
)
def test_levels_in_fault_do_as_stated(bench, a_channel, levels_on_fault, gas, in_fault):
    panel = bench(channels=[a_channel(levels_on_fault=levels_on_fault)]).gas(gas)
    panel.do(ChannelFault("AT-1", on=True)).gas(30.0 - gas)
    assert panel["AT-1.A1"] is in_fault
    assert panel.do(ChannelFault("AT-1", on=False))["AT-1.A1"] is (gas == 5)


def test_clearing_on_fault_lets_go_of_a_latch(bench, a_channel):
    levels = {"A1": {"setpoint": 20, "latching": True}}
    panel = bench(channels=[a_channel(levels=levels, levels_on_fault="clear")]).gas(25.0)
    panel.do(ChannelFault("AT-1", on=True)).gas(0.0)
    assert not panel.do(ChannelFault("AT-1", on=False))["AT-1.A1"]


# --- rules 5 and 7: inhibit, causes --------------------------------------------------------------


@pytest.fixture
def three(bench, a_channel, a_cell):
    def build(*causes, **parts):
        return bench(
            channels=[a_channel(f"AT-{n}") for n in (1, 2, 3)],
            inputs=[{"tag": "DI-1"}],
            outputs=[{"tag": f"K{n}", "kind": "relay"} for n in range(len(causes))],
            matrix=[a_cell(cause, f"K{n}") for n, cause in enumerate(causes)],
            **parts,
        )

    return build


def test_inhibited_channel_shows_and_drives_nothing(three):
    panel = three("AT-1.A1", "any.A1", "panel.fault", "1oo2(AT-1.A1, AT-2.A1)", "AT-1.inhibit")
    panel.do(Inhibit("AT-1", on=True)).gas(60.0)
    assert panel["AT-1.A1"]
    assert panel["AT-1.inhibit"]
    assert panel["panel.inhibit"]
    assert not panel["any.A1"]
    panel.do(ChannelFault("AT-1", on=True))
    assert panel["AT-1.fault"]
    assert not panel["panel.fault"]
    acting = [panel[f"K{n}.active"] for n in range(5)]
    assert acting == [False, False, False, False, True]
    panel.do(ChannelFault("AT-1", on=False), Inhibit("AT-1", on=False))
    assert [panel[f"K{n}.active"] for n in range(5)] == [True, True, False, True, False]


def test_inhibit_may_take_the_levels_too(bench, a_channel):
    levels = {"A1": {"setpoint": 20, "latching": True, "on_delay_s": 4}}
    panel = bench(channels=[a_channel(levels=levels)], behaviour={"inhibit": "levels"})
    panel.gas(25.0, wait_s=8)
    assert panel["AT-1.A1"]
    panel.do(Inhibit("AT-1", on=True))
    assert not panel["AT-1.A1"]
    assert panel.panel.reading("AT-1") == 25.0
    panel.do(Inhibit("AT-1", on=False), wait_s=0.0)
    assert 4.0 - 1e-6 <= panel.when("AT-1.A1", within_s=8) <= 6.05


# MooN by counting: 2oo3 acts in 4 of 8 states, 1oo3 in 7, 3oo3 in 1 (enumeration of the truth
# table; sums of binomial coefficients).
@pytest.mark.parametrize(("vote", "acts_in"), [("1oo3", 7), ("2oo3", 4), ("3oo3", 1)])
def test_vote_acts_in_as_many_states_as_it_should(three, vote, acts_in):
    count = 0
    for states in product((False, True), repeat=3):
        panel = three(f"{vote}(AT-1.A1, AT-2.A1, AT-3.A1)")
        panel.do(*(GasTo(f"AT-{n + 1}", Step(60.0 * on)) for n, on in enumerate(states)))
        assert panel["K0.active"] is (sum(states) >= int(vote[0]))
        count += panel["K0.active"]
    assert count == acts_in


@pytest.mark.parametrize("a", [False, True])
@pytest.mark.parametrize("b", [False, True])
def test_causes_join_as_written(three, a, b):
    panel = three("AT-1.A1 AND NOT DI-1.active", "AT-1.A1 OR DI-1.active", "NOT DI-1.active")
    panel.do(GasTo("AT-1", Step(60.0 * a)), InputSet("DI-1", b))
    assert [panel[f"K{n}.active"] for n in range(3)] == [a and not b, a or b, not b]


def test_panel_fault_is_its_own_or_any_channels(three):
    panel = three("panel.fault")
    assert panel.do(PanelFault(on=True))["K0.active"]
    assert not panel.do(PanelFault(on=False))["K0.active"]
    assert panel.do(ChannelFault("AT-2", on=True))["K0.active"]


# --- rule 6: warm-up -----------------------------------------------------------------------------


def test_levels_are_off_in_warm_up_while_faults_and_inputs_count(three):
    timing = {"scan_s": 1, "refresh_s": 0, "warm_up_s": 30}
    panel = three("AT-1.A1", "AT-2.fault", "DI-1.active", timing=timing)
    panel.do(GasTo("AT-1", Step(60.0)), ChannelFault("AT-2", on=True), InputSet("DI-1", on=True))
    panel.wait(27.9)
    assert panel["panel.warm_up"]
    assert not panel["AT-1.A1"]
    assert [panel[f"K{n}.active"] for n in range(3)] == [False, True, True]
    panel.wait(1.2)
    assert not panel["panel.warm_up"]
    assert panel["K0.active"]


# --- rule 8: cells -------------------------------------------------------------------------------


@pytest.fixture
def one_cell(bench, a_cell):
    return lambda output=RELAY, **delays: bench(
        inputs=[{"tag": "DI-1"}],
        outputs=[output],
        matrix=[a_cell("DI-1.active", output["tag"], **delays)],
    )


def test_cell_acts_after_its_on_delay(one_cell):
    panel = one_cell(on_delay_s=10)
    panel.do(InputSet("DI-1", on=True), wait_s=0.0)
    assert 10.0 - 1e-6 <= panel.when("K1.active", within_s=13) <= 11.05


def test_cell_whose_cause_breaks_begins_its_delay_anew(one_cell):
    panel = one_cell(on_delay_s=10)
    panel.do(InputSet("DI-1", on=True), wait_s=8)
    panel.do(InputSet("DI-1", on=False), InputSet("DI-1", on=True), wait_s=3)
    assert panel["K1.active"]  # a break between two scans is no break that the panel could see
    panel.do(InputSet("DI-1", on=False))
    panel.do(InputSet("DI-1", on=True), wait_s=8)
    panel.do(InputSet("DI-1", on=False))
    panel.do(InputSet("DI-1", on=True), wait_s=9)
    assert not panel["K1.active"]


def test_cell_acts_on_for_its_off_delay(one_cell):
    panel = one_cell(off_delay_s=10)
    panel.do(InputSet("DI-1", on=True))
    panel.do(InputSet("DI-1", on=False), wait_s=9.9)
    assert panel["K1.active"]
    panel.wait(1.2)
    assert not panel["K1.active"]


def test_latching_cell_goes_on_until_reset(one_cell):
    panel = one_cell(latching=True)
    panel.do(InputSet("DI-1", on=True))
    assert panel.do(Press("reset"))["K1.active"]
    panel.do(InputSet("DI-1", on=False), wait_s=3600)
    assert panel["K1.active"]
    assert not panel.do(Press("reset"))["K1.active"]


def test_reset_within_the_off_delay_of_a_latching_cell_is_too_early(one_cell):
    panel = one_cell(latching=True, off_delay_s=10)
    panel.do(InputSet("DI-1", on=True))
    panel.do(InputSet("DI-1", on=False))
    panel.do(Press("reset"), wait_s=60)
    assert panel["K1.active"]
    assert not panel.do(Press("reset"))["K1.active"]


# --- rule 9: outputs -----------------------------------------------------------------------------


def test_failsafe_output_is_energised_at_rest_and_drops_to_act(one_cell):
    panel = one_cell(FAILSAFE)
    assert (panel["KF.active"], panel["KF.energised"]) == (False, True)
    panel.do(InputSet("DI-1", on=True))
    assert (panel["KF.active"], panel["KF.energised"]) == (True, False)


def test_plain_output_is_energised_to_act(one_cell):
    panel = one_cell()
    assert not panel["K1.energised"]
    panel.do(InputSet("DI-1", on=True))
    assert (panel["K1.active"], panel["K1.energised"]) == (True, True)


# --- rule 10: reset ------------------------------------------------------------------------------


def test_one_reset_lets_go_of_level_and_cell(bench, a_channel, a_cell):
    panel = bench(
        channels=[a_channel(levels={"A1": {"setpoint": 20, "latching": True}})],
        outputs=[RELAY],
        matrix=[a_cell("AT-1.A1", "K1", latching=True)],
    ).gas(25.0)
    panel.do(Press("reset"))
    assert panel["AT-1.A1"]
    assert panel["K1.active"]
    panel.gas(0.0)
    assert panel["K1.active"]
    panel.do(Press("reset"))
    assert not panel["AT-1.A1"]
    assert not panel["K1.active"]


# --- rules 11 and 12: mute, accept ---------------------------------------------------------------


@pytest.fixture
def loud(bench, a_channel, a_cell):
    return bench(
        channels=[a_channel("AT-1"), a_channel("AT-2")],
        outputs=[HORN, BEACON],
        matrix=[a_cell(f"{tag}.A1", out) for tag in ("AT-1", "AT-2") for out in ("S1", "B1")],
    )


def test_mute_silences_the_sounder_and_leaves_the_beacon(loud):
    loud.gas(25.0).do(Press("mute"))
    assert (loud["S1.active"], loud["S1.muted"], loud["S1.energised"]) == (False, True, False)
    assert (loud["B1.active"], loud["B1.muted"]) == (True, False)


def test_a_second_alarm_sounds_again(loud):
    loud.gas(25.0).do(Press("mute")).gas(25.0, tag="AT-2")
    assert (loud["S1.active"], loud["S1.muted"]) == (True, False)


def test_mute_ends_with_the_alarm(loud):
    loud.gas(25.0).do(Press("mute")).gas(0.0)
    assert not loud["S1.muted"]
    assert loud.gas(25.0)["S1.active"]


def test_mute_of_silence_mutes_nothing_later(loud):
    loud.do(Press("mute"))
    assert not loud["S1.muted"]
    assert loud.gas(25.0)["S1.active"]


def test_alarm_that_comes_with_the_mute_sounds(loud):
    loud.do(Press("mute"), GasTo("AT-1", Step(25.0)))
    assert loud["S1.active"]


def test_accept_clears_unaccepted_and_nothing_else(loud):
    assert not loud["panel.unaccepted"]
    loud.gas(25.0)
    assert loud["panel.unaccepted"]
    loud.do(Press("accept"))
    assert not loud["panel.unaccepted"]
    assert loud["S1.active"]
    assert loud.do(ChannelFault("AT-2", on=True))["panel.unaccepted"]


def test_inhibited_channel_leaves_nothing_to_accept(loud):
    loud.do(Inhibit("AT-1", on=True)).gas(25.0)
    assert not loud["panel.unaccepted"]


# --- rule 13: power ------------------------------------------------------------------------------


def test_without_power_nothing_is_energised_or_shown(one_cell):
    panel = one_cell(FAILSAFE)
    panel.do(Power(on=False), wait_s=0.0)
    assert not panel["KF.energised"]
    assert not panel.panel.powered
    assert math.isnan(panel.panel.reading("AT-1"))


def test_power_return_begins_anew_and_keeps_what_is_outside(bench, a_channel, a_cell):
    panel = bench(
        timing={"scan_s": 1, "refresh_s": 0, "warm_up_s": 10},
        channels=[
            a_channel("AT-1", levels={"A1": {"setpoint": 20, "latching": True}}),
            a_channel("AT-2"),
        ],
        inputs=[{"tag": "DI-1"}],
        outputs=[HORN],
        matrix=[a_cell("AT-1.A1", "S1", latching=True), a_cell("DI-1.active", "S1")],
    )
    panel.wait(11.0)
    panel.gas(25.0).do(Press("mute"), Inhibit("AT-2", on=True), SetpointTo("AT-2", "A1", 33.0))
    panel.gas(15.0).do(InputSet("DI-1", on=True)).do(Press("mute"))
    assert panel["S1.muted"]
    assert panel["AT-1.A1"]
    panel.do(Power(on=False), wait_s=30).do(Power(on=True))
    assert panel["panel.warm_up"]
    assert panel["S1.active"]  # the contact still stands, and is muted no more
    assert panel["AT-2.inhibit"]
    assert panel.panel.setpoint("AT-2", "A1") == 33.0
    panel.do(InputSet("DI-1", on=False), wait_s=20)
    assert not panel["AT-1.A1"]
    assert not panel["S1.active"]
    assert panel.panel.gas("AT-1") == 15.0


def test_keys_without_power_do_nothing_later(loud):
    loud.gas(25.0).do(Power(on=False)).do(Press("mute"), Power(on=True))
    assert loud["S1.active"]


# --- errors --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "stimulus",
    [
        GasTo("AT-9", Step(1.0)),
        Inhibit("AT-9", on=True),
        InputSet("DI-9", on=True),
        SetpointTo("AT-1", "A3", 1.0),
    ],
)
def test_a_stimulus_for_what_is_not_there_is_refused(bench, stimulus):
    with pytest.raises(ValueError, match=r"no (channel|input|level)"):
        bench().do(stimulus)


def test_a_fact_that_is_not_there_is_refused(bench):
    with pytest.raises(ValueError, match="no fact of this panel"):
        bench()["K9.active"]
