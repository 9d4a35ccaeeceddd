from math import exp

import pytest

from gaswitness_probe.applied import (
    Applied,
    Expectation,
    FaultMade,
    GasApplied,
    InhibitSet,
    InputMade,
    KeyPressed,
    PanelFaultMade,
    PowerSet,
)
from gaswitness_scenarios.gas_profile import ExponentialTo, RampTo, Recorded, StepTo
from gaswitness_scenarios.script import (
    Expect,
    Fault,
    Gas,
    Hold,
    Inhibit,
    Input,
    PanelFault,
    Power,
    Press,
    Say,
)
from gaswitness_scenarios.translate import Actions, expectation_of, stimulus_of
from gaswitness_simulator import stimulus as sim
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.problems import Place
from gaswitness_sitefile.site import Site

BASE = {"at_s": 0.0, "place": Place("t.yaml", 1, 1), "words": "do"}


@pytest.fixture
def actions():
    site = Site.model_construct(
        channels=(Channel(tag="AT-1", gas="O2", unit="%vol", range=(0, 25)),)
    )
    return Actions(site)


def gas(profile):
    return Gas(
        **BASE, channel="AT-1", start=20.9, profile=profile, over_s=0.0, lowest=0.0, highest=25.0
    )


@pytest.mark.parametrize(
    ("step", "stimulus", "action"),
    [
        (Fault(**BASE, channel="X", on=True), sim.ChannelFault("X", True), FaultMade("X", True)),
        (
            Fault(**BASE, channel="X", on=False, drop_out=True),
            sim.DropOut("X", False),
            FaultMade("X", False, drop_out=True),
        ),
        (Inhibit(**BASE, channel="X", on=True), sim.Inhibit("X", True), InhibitSet("X", True)),
        (Input(**BASE, tag="DI-1", on=True), sim.InputSet("DI-1", True), InputMade("DI-1", True)),
        (Press(**BASE, key="mute"), sim.Press("mute"), KeyPressed("mute")),
        (Power(**BASE, on=False), sim.Power(False), PowerSet(False)),
        (PanelFault(**BASE, on=True), sim.PanelFault(True), PanelFaultMade(True)),
    ],
)
def test_each_step_says_the_same_to_both_sides(actions, step, stimulus, action):
    assert stimulus_of(step) == stimulus
    assert actions.applied(step, 3.0, 4.0) == Applied(3.0, 4.0, action)


@pytest.mark.parametrize(
    ("profile", "stimulus"),
    [
        (StepTo(18.0), sim.Step(18.0)),
        (RampTo(18.0, 60.0), sim.Ramp(18.0, 60.0)),
        (ExponentialTo(18.0, 30.0), sim.Exponential(18.0, 30.0)),
        (Recorded("t.csv", (0.0, 5.0), (1.0, 2.0)), sim.Trace((0.0, 5.0), (1.0, 2.0))),
    ],
)
def test_gas_is_given_to_the_panel_in_its_shape(profile, stimulus):
    assert stimulus_of(gas(profile)) == sim.GasTo("AT-1", stimulus)


@pytest.mark.parametrize("step", [Say(**BASE), Hold(**BASE, hold_s=5.0)])
def test_words_and_waiting_do_nothing(actions, step):
    assert stimulus_of(step) is None
    assert actions.applied(step, 0.0, 0.0) is None


def test_the_first_gas_starts_from_clean_air(actions):
    found = actions.applied(gas(RampTo(18.0, 60.0)), 1.0, 1.0)
    assert found.action == GasApplied("AT-1", 18.0, 60.0, lowest=18.0, highest=20.9)


def test_gas_that_overtakes_a_ramp_starts_where_the_ramp_had_come_to(actions):
    actions.applied(gas(RampTo(10.9, 100.0)), 0.0, 0.0)
    found = actions.applied(gas(StepTo(20.9)), 50.0, 50.0)
    assert found.action == GasApplied("AT-1", 20.9, 0.0, lowest=20.9, highest=20.9)
    actions.applied(gas(RampTo(10.9, 100.0)), 100.0, 100.0)
    found = actions.applied(gas(RampTo(20.9, 10.0)), 150.0, 150.0)
    assert found.action.lowest == pytest.approx(15.9)


def test_doubt_about_the_instants_widens_where_the_gas_may_have_been(actions):
    actions.applied(gas(RampTo(10.9, 100.0)), 0.0, 10.0)
    found = actions.applied(gas(RampTo(20.9, 10.0)), 50.0, 60.0)
    # Of the ramp at least 40 s and at most 60 s had gone: 16.9 or 14.9 %vol.
    assert found.action.lowest == pytest.approx(14.9)
    assert found.action.highest == pytest.approx(20.9)


def test_an_exponential_is_followed_while_it_goes(actions):
    actions.applied(gas(ExponentialTo(10.9, 30.0)), 0.0, 0.0)
    found = actions.applied(gas(RampTo(20.9, 10.0)), 30.0, 30.0)
    assert found.action.lowest == pytest.approx(10.9 + 10.0 * exp(-1.0))


def test_the_turns_of_a_trace_within_the_doubt_are_seen(actions):
    actions.applied(gas(Recorded("t", (0.0, 10.0, 20.0), (20.9, 5.0, 20.9))), 0.0, 4.0)
    found = actions.applied(gas(RampTo(20.9, 1.0)), 8.0, 12.0)
    assert found.action.lowest == pytest.approx(5.0)


def test_an_expectation_counts_from_when_its_step_came():
    step = Expect(**BASE, id="", fact="K1.active", within_s=2.0, value=True, for_s=5.0)
    assert expectation_of(step, 7, 41.5, "ramps") == Expectation(
        "ramps/7", "K1.active", 41.5, 2.0, value=True, for_s=5.0
    )
