import asyncio
import io
from pathlib import Path

import pytest

from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.driver import StoppedError
from gaswitness_scenarios.driver_person import PersonDriver
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.person import TerminalPerson
from gaswitness_scenarios.script import Input
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_sitefile.load import load_site


class ScriptedPerson:
    """Answers with the next of the lines, each after its delay."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.shown = []

    def show(self, text):
        self.shown.append(text)

    async def answer(self, prompt):
        self.shown.append(prompt)
        delay_s, line = self.answers.pop(0)
        await asyncio.sleep(delay_s)
        return line


def played(script, person, heard):
    async def play():
        clock = LoopClock()
        await PersonDriver(person).play(script, clock, heard)
        return clock.now()

    return run_virtual(play())


def test_instants_run_from_prompt_to_key_and_later_steps_keep_their_distance(short_script, heard):
    person = ScriptedPerson((5.0, ""), (1.0, "y"), (0.5, ""))
    end_s = played(short_script, person, heard)
    # Gas asked for at 1 s, confirmed at 6 s: all later steps come 5 s later; the question takes 1 s
    # more, the key 0.5 s.
    assert heard.done_s == [
        (1, 0.0, 0.0),
        (2, 1.0, 6.0),
        (3, 9.0, 10.0),
        (4, 11.0, 11.0),
        (5, 12.0, 12.5),
    ]
    assert heard.looked == {3: True}
    assert end_s == 16.5


def test_the_person_is_told_what_to_do_and_how_far_the_script_is(short_script, heard):
    person = ScriptedPerson((0.0, ""), (0.0, "n"), (0.0, ""))
    played(short_script, person, heard)
    shown = "\n".join(person.shown)
    assert "Step 2 of 5: Apply 30 to AT-1" in shown
    assert "Does K1 act?" in shown
    assert "next, in 3 s: Does K1 act?" in shown
    assert heard.looked == {3: False}


def test_a_step_left_out_has_a_reason(short_script, heard):
    person = ScriptedPerson((0, "s"), (0, ""), (0, "no gas left"), (0, "s too dark"), (0, ""))
    played(short_script, person, heard)
    assert heard.skips == {2: "no gas left", 3: "too dark"}
    assert [number for number, _, _ in heard.done_s] == [1, 4, 5]


def test_a_stop_ends_the_script_with_what_the_person_said(short_script, heard):
    person = ScriptedPerson((0, ""), (0, "q fire drill"))
    with pytest.raises(StoppedError, match="stopped by the person at step 3: fire drill"):
        played(short_script, person, heard)
    assert [number for number, _, _ in heard.done_s] == [1, 2]


def test_a_note_goes_to_the_record_and_the_step_is_asked_again(short_script, heard):
    person = ScriptedPerson((0, "n flow 0.5 l/min"), (0, ""), (0, "y"), (0, ""))
    played(short_script, person, heard)
    assert heard.remarks == ["flow 0.5 l/min"]
    assert len(heard.done_s) == 5


def test_a_key_that_means_nothing_is_said_and_asked_again(short_script, heard):
    person = ScriptedPerson((0, "x"), (0, ""), (0, ""), (0, "y"), (0, ""))
    played(short_script, person, heard)
    assert sum("none of the keys" in line for line in person.shown) == 2


def test_the_end_of_the_input_stops_the_run(short_script, heard):
    with pytest.raises(StoppedError, match="the input ended at step 2"):
        played(short_script, ScriptedPerson((0, None)), heard)


async def test_a_person_at_real_streams_plays_a_script(short_script, heard):
    out = io.StringIO()
    person = TerminalPerson(io.StringIO("\ny\n\n"), out)
    await PersonDriver(person).play(short_script, LoopClock(speed=100.0), heard)
    assert [number for number, _, _ in heard.done_s] == [1, 2, 3, 4, 5]
    assert "Step 5 of 5: Press reset" in out.getvalue()


PLAN = """
gaswitness_script: 1
title: Two tests
steps:
  - test: {id: T-1, title: one}
  - gas: {channel: AT-1, to: 30}
  - hold_s: 5
  - look: {fact: K1.active, ask: Does K1 act?}
  - expect: {name: K1 acts, fact: K1.active, is: on, within_s: 5}
  - test: {id: T-2, title: two}
  - drift: {channel: AT-1, zero: -6}
  - expect: {name: below zero, fact: AT-1.reading, between: [-7, -5], within_s: 5}
  - test: {id: T-3, title: three}
  - expect: {name: K1 rests, fact: K1.active, is: off, within_s: 5}
"""


def test_what_is_expected_of_a_step_that_a_test_left_out_is_not_judged(tmp_path, heard):
    """Common practice, no source: what was not done to a panel cannot fail it."""
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    script = load_script(path, load_site(Path(__file__).parent / "a_site.yaml").site)
    person = ScriptedPerson((0, "s no gas"), (0, "s too dark"))

    async def play():
        driver, clock = PersonDriver(person), LoopClock()
        for part in script.tests:
            await driver.play(script, clock, heard, part)

    run_virtual(play())
    assert heard.skips == {
        2: "no gas",
        4: "too dark",
        5: "step 2 before it was left out",
        7: "done to virtual panels only",
        8: "step 7 before it was left out",
    }
    assert 10 in [number for number, _, _ in heard.done_s]


def test_the_keys_fit_eighty_columns_and_are_told_when_asked(short_script, heard):
    person = ScriptedPerson((0, "?"), (0, ""), (0, "?"), (0, "y"), (0, ""))
    played(short_script, person, heard)
    prompts = [line for line in person.shown if "? = more keys" in line]
    assert len(prompts) == 5
    assert max(map(len, prompts)) <= 72  # room for an answer
    assert sum("n WORDS" in line for line in person.shown) == 2


CONTACT = """
gaswitness_script: 1
title: A contact
steps:
  - input: {tag: DI-1, active: on}
  - press: reset
"""


@pytest.mark.parametrize(
    ("shown_from_s", "answers", "done"),
    [
        # Pressed for another step, 1 s on: doubted, and asked again; done at the second key.
        (60.0, [(1.0, ""), (10.0, ""), (1.0, "")], (1, 0.0, 16.0)),
        # The panel shows it a moment after the key: done when the key was pressed.
        (3.0, [(1.0, ""), (1.0, "")], (1, 0.0, 1.0)),
        # Nothing can show it.
        (None, [(1.0, ""), (1.0, "")], (1, 0.0, 1.0)),
    ],
)
def test_a_key_that_the_panel_belies_is_asked_once_more(
    tmp_path, heard, shown_from_s, answers, done
):
    path = tmp_path / "contact.yaml"
    path.write_text(CONTACT)
    script = load_script(path, load_site(Path(__file__).parent / "a_site.yaml").site)
    person = ScriptedPerson(*answers)

    async def play():
        clock = LoopClock()

        def shown(step):
            if shown_from_s is None or not isinstance(step, Input):
                return None
            return clock.now() >= shown_from_s

        await PersonDriver(person, shown).play(script, clock, heard)

    run_virtual(play())
    assert heard.done_s[0] == pytest.approx(done, abs=0.3)
    assert not person.answers
    doubts = [line for line in person.shown if "does not show it" in line]
    assert len(doubts) == (len(answers) > 2)
