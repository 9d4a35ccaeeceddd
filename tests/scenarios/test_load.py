from dataclasses import replace
from pathlib import Path

import pytest

from gaswitness_scenarios.gas_profile import ExponentialTo, RampTo, Recorded, StepTo
from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.script import Expect, Fault, Gas, Hold, Inhibit, Input, Look, Press, Say
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site


@pytest.fixture
def load(tmp_path):
    def loaded(steps, name="try.yaml"):
        path = tmp_path / name
        path.write_text(f"gaswitness_script: 1\ntitle: T\ntext: Why.\nsteps:\n{steps}", "utf-8")
        return load_script(path, SITE)

    return loaded


def times(script):
    return [step.at_s for step in script.steps]


def test_steps_follow_at_once_and_only_hold_lets_time_pass(load):
    script = load("""
  - gas: {channel: AT-1, to: 5, over_s: 60}
  - press: accept
  - hold_s: 10
  - press: reset
  - {after_s: 2.5, press: mute}
  - {at_s: 30, press: reset}
""")
    assert times(script) == [0, 0, 0, 10, 12.5, 30]
    assert script.length_s == 60
    assert (script.name, script.title, script.text) == ("try", "T", "Why.")


def test_step_knows_its_place_in_the_file(load):
    script = load("  - hold_s: 1\n  - press: reset\n")
    assert [(s.place.line, s.place.column) for s in script.steps] == [(5, 5), (6, 5)]


def test_gas_starts_from_where_the_step_before_had_brought_it(load):
    script = load("""
  - gas: {channel: AT-1, to: 40, over_s: 100}
  - hold_s: 25
  - gas: {channel: AT-1, to: clean, tau_s: 20}
  - hold_s: 1000
  - gas: {channel: AT-1, to: past A1}
  - hold_s: 1
""")
    first, second, third = (step for step in script.steps if isinstance(step, Gas))
    assert (first.start, first.profile) == (0, RampTo(40, 100))
    assert (second.start, second.profile) == (10, ExponentialTo(0, 20))
    assert (second.lowest, second.highest, second.level) == (0, 10, 0)
    # 10 %LEL falls to 0.1 % of the span of 100 after 20 s x ln(10 / 0.1).
    assert second.over_s == pytest.approx(92.1034)
    assert third.start == pytest.approx(0, abs=1e-9)
    assert third.profile == StepTo(11.5)


def test_clean_air_of_an_oxygen_channel_is_where_its_gas_starts(load):
    script = load("  - gas: {channel: AT-3, to: A1*1.0, over_s: 5}\n")
    gas = script.steps[0]
    assert (gas.start, gas.lowest, gas.highest) == (20.9, 19.5, 20.9)


def test_recorded_gas_is_read_from_beside_the_script(load, tmp_path):
    (tmp_path / "leak.csv").write_text("time_s,level\n5,30\n20,12\n", "utf-8")
    script = load("  - gas: {channel: AT-1, trace: leak.csv}\n")
    gas = script.steps[0]
    assert gas.profile == Recorded("leak.csv", (5.0, 20.0), (30.0, 12.0))
    assert (gas.level, gas.over_s, gas.lowest, gas.highest) == (12, 20, 0, 30)
    assert [one.name for one in script.files] == ["try.yaml", "leak.csv"]


def test_hash_tells_any_change_of_script_or_trace_but_not_of_name(load, tmp_path):
    steps = "  - gas: {channel: AT-1, trace: leak.csv}\n"
    trace = tmp_path / "leak.csv"
    trace.write_text("time_s,level\n5,30\n", "utf-8")
    first = load(steps).sha256
    assert load(steps, "other.yaml").sha256 == first
    assert load(steps + "  - hold_s: 1\n").sha256 != first
    trace.write_text("time_s,level\n5,31\n", "utf-8")
    assert load(steps).sha256 != first


def test_loop_in_turn_goes_round_by_round(load):
    script = load("""
  - for_each:
      channel: [AT-1, AT-2]
      steps:
        - {fault: "{channel}", say: "Now {channel}."}
        - hold_s: 10
        - {at_s: 15, fault_clear: "{channel}"}
""")
    faults = [(s.at_s, s.channel, s.on, s.said) for s in script.steps if isinstance(s, Fault)]
    assert faults == [
        (0, "AT-1", True, "Now AT-1."),
        (15, "AT-1", False, ""),
        (15, "AT-2", True, "Now AT-2."),
        (30, "AT-2", False, ""),
    ]


def test_loop_together_does_each_step_for_all_and_shared_steps_once(load):
    script = load("""
  - for_each:
      channel: all
      together: on
      steps:
        - gas: {channel: "{channel}", to: past A1}
        - hold_s: 10
        - press: reset
        - gas: {channel: "{channel}", to: clean}
""")
    assert [(s.at_s, type(s).__name__) for s in script.steps] == [
        *[(0, "Gas")] * 3,
        (0, "Hold"),
        (10, "Press"),
        *[(10, "Gas")] * 3,
    ]


def test_loops_nest(load):
    script = load("""
  - for_each:
      input: all
      steps:
        - for_each:
            channel: [AT-1, AT-2]
            together: yes
            steps:
              - inhibit: "{channel}"
              - hold_s: 5
        - input: {tag: "{input}", active: on}
""")
    done = [
        (s.at_s, getattr(s, "channel", None) or s.tag) for s in script.steps if s.at_s == s.end_s
    ]
    assert done == [
        (0, "AT-1"),
        (0, "AT-2"),
        (5, "DI-1"),
        (5, "AT-1"),
        (5, "AT-2"),
        (10, "DI-2"),
    ]


def test_several_tags_in_one_step_are_steps_at_the_same_instant(load):
    script = load("  - inhibit: [AT-1, AT-3]\n  - uninhibit: all\n")
    assert [(s.channel, s.on) for s in script.steps] == [
        ("AT-1", True),
        ("AT-3", True),
        ("AT-1", False),
        ("AT-2", False),
        ("AT-3", False),
    ]
    assert all(isinstance(step, Inhibit) for step in script.steps)


def test_on_and_off_are_words_in_yaml_and_mean_yes_and_no(load):
    script = load("""
  - {power: off}
  - {power: on}
  - {power: true}
  - {panel_fault: Off}
  - input: {tag: DI-2, active: no}
""")
    assert [step.on for step in script.steps] == [False, True, True, False, False]


def test_expectations_have_names_of_their_own(load):
    script = load("""
  - for_each:
      channel: [AT-1, AT-2]
      steps:
        - expect: {fact: "{channel}.reading", between: [clean, A1], within_s: 5, for_s: 2}
        - expect: {name: Relay stays, fact: K1.active, is: off, within_s: 1}
""")
    first, second, third, fourth = script.steps
    assert isinstance(first, Expect)
    assert (first.id, first.between, first.value) == ("try:9 AT-1.reading", (0, 10), None)
    assert (third.id, third.between) == ("try:9 AT-2.reading", (0, 20))
    assert (second.id, second.value) == ("Relay stays", False)
    assert fourth.id == "Relay stays (2)"
    assert script.length_s == 7


def test_relay_is_seen_by_its_coil_though_the_map_does_not_show_that_it_acts(load):
    assert load("  - expect: {fact: K1.active, is: on, within_s: 1}\n").steps[0].fact == "K1.active"


def test_look_may_ask_what_the_map_does_not_show(load):
    look = load("  - look: {fact: S1.active, ask: Does it sound?}\n").steps[0]
    assert isinstance(look, Look)
    assert (look.fact, look.question) == ("S1.active", "Does it sound?")


def test_person_is_told_in_words_what_to_do(load):
    script = load("""
  - say: Mind the cable.
  - gas: {channel: AT-1, to: 27.5}
  - gas: {channel: AT-1, to: 20, over_s: 60}
  - {after_s: 70, gas: {channel: AT-1, to: 25, over_s: 630}}
  - gas: {channel: AT-2, to: 50, tau_s: 20}
  - gas: {channel: AT-1, to: clean}
  - fault: AT-1
  - drop_out: AT-2
  - return: AT-2
  - inhibit: AT-2
  - input: {tag: DI-1, active: true}
  - press: reset
  - power: off
  - panel_fault: on
  - hold_s: 60
  - expect: {fact: AT-1.A1, is: on, within_s: 5, for_s: 2}
""")
    assert [step.words for step in script.steps] == [
        "Mind the cable.",
        "Apply 27.5 %LEL CH4 to AT-1 (Pit)",
        "Lower CH4 at AT-1 (Pit) slowly from 27.5 to 20 %LEL over 60 s",
        "Raise CH4 at AT-1 (Pit) slowly from 20 to 25 %LEL over 10.5 min",
        "Apply 50 ppm CO to AT-2, rising with a time constant of 20 s",
        "Return AT-1 (Pit) to clean air",
        "Put AT-1 (Pit) in sensor fault",
        "Take the detector AT-2 off its bus",
        "Put AT-2 back on its bus",
        "Inhibit AT-2",
        "Make the stop button DI-1 (Stop at the door) active",
        "Press reset at the panel",
        "Switch the panel's supply off, battery included",
        "Make a fault of the panel itself",
        "Wait 60 s",
        "Expected: AT-1.A1 is on within 5 s, and for 2 s",
    ]


def test_each_kind_of_step_comes_from_its_key(load):
    script = load("  - say: Hello.\n  - press: mute\n  - hold_s: 3\n  - drop_out: AT-1\n")
    say, press, hold, drop = script.steps
    assert isinstance(say, Say)
    assert isinstance(press, Press)
    assert press.key == "mute"
    assert isinstance(hold, Hold)
    assert hold.end_s == 3
    assert (drop.on, drop.drop_out) == (True, True)
    assert replace(drop, drop_out=False) == Fault(
        at_s=3, place=drop.place, words=drop.words, channel="AT-1", on=True
    )


def test_input_step_names_tag_and_state(load):
    step = load("  - input: {tag: DI-1, active: on}\n").steps[0]
    assert isinstance(step, Input)
    assert (step.tag, step.on) == ("DI-1", True)


def test_steps_that_can_be_read_are_checked_beside_those_that_cannot(load):
    with pytest.raises(ScriptError) as caught:
        load("""
  - hold_s: x
  - gas: {channel: AT-999, to: 5}
  - press: knob
  - fault: NOBODY
""")
    lines = [problem.place.line for problem in caught.value.problems]
    assert lines == [6, 7, 8, 9]
