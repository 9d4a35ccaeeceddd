"""The course of a plan, with a driver and people that do as a test says; no panel."""

from pathlib import Path

import pytest

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.driver import LeftOutError, StoppedError
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_scenarios.plan_outcome import PlanOutcome
from gaswitness_scenarios.plan_run import PlanCourse
from gaswitness_scenarios.script import PlannedTest
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site
PLAN = """
gaswitness_script: 1
title: Three tests
steps:
  - say: Before all.
  - test: {id: T-1, title: one}
  - gas: {channel: AT-1, to: past A1}
  - hold_s: 30
  - gas: {channel: AT-1, to: clean}
  - hold_s: 30
  - test: {id: T-2, title: two}
  - fault: AT-1
  - hold_s: 10
  - fault_clear: AT-1
  - test: {id: T-3, title: three}
  - hold_s: 5
"""


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    return load_script(path, SITE)


class Bench:
    """Drives, attends and listens. `trouble`: an error for an attempt of a test, halfway."""

    by_portions = True

    def __init__(self, live=False, **trouble):
        self.said = []
        self.entries = []
        self.judges_live = live
        self.trouble = trouble
        self.reasons = {}
        self.again = set()
        self.unrest = ()
        self.notes = PlanNotes(lambda kind, body, at_s: self.entries.append((kind, body)))

    async def play(self, script, clock, told, portion=None):
        for number, step in enumerate(portion.steps, portion.first):
            if isinstance(step, PlannedTest):
                self.notes.begun(step, number, clock.now())
            else:
                self.notes.standing.append(step)
            self.said.append(step.words)
            current = self.notes.going_on
            if current is not None and number == portion.first + 1:
                error = self.trouble.pop(f"{current.id}/{current.attempt}".replace("-", "_"), None)
                if error is not None:
                    raise error
        await clock.sleep_until(clock.now() + portion.length_s)

    async def restore(self, steps, clock, told):
        self.said += [f"rest: {step.words}" for step in steps]

    def write_to(self, notes, remark):
        pass

    async def before(self, part, number, of):
        return self.reasons.get(part.test.id, "")

    async def after(self, part, outcome):
        self.said.append(f"after {part.test.id}: {outcome and outcome.outcome}")
        again = part.test.id in self.again
        self.again.discard(part.test.id)
        return again

    def remark(self, text, at_s):
        self.said.append(f"remark: {text}")


def run(plan, bench, **more):
    async def live(test):
        return PlanOutcome(test, Outcome.PROVEN, ())

    async def whole():
        course = PlanCourse(
            SITE,
            plan,
            bench,
            LoopClock(),
            bench,
            bench.notes,
            bench,
            live,
            lambda: bench.unrest,
            5.0,
            **more,
        )
        await course.play()

    run_virtual(whole())
    return bench.said


def ends(bench):
    return [
        (body["id"], body["attempt"], body["how"])
        for kind, body in bench.entries
        if kind == "test_end"
    ]


def test_tests_are_played_in_order_after_what_comes_before_all(plan):
    bench = Bench()
    said = run(plan, bench)
    assert said[:2] == ["Before all.", "Test T-1: one"]
    assert ends(bench) == [("T-1", 1, "done"), ("T-2", 1, "done"), ("T-3", 1, "done")]
    (first, *_) = [body for kind, body in bench.entries if kind == "test_end"]
    assert first["ended_s"] == 60.0


def test_a_test_left_out_is_not_begun_and_the_record_says_why(plan):
    bench = Bench()
    bench.reasons["T-2"] = "no cabinet key"
    said = run(plan, bench)
    assert "Put AT-1 (Pit) in sensor fault" not in said
    assert ("T-2", 1, "skipped") in ends(bench)
    assert [b["reason"] for k, b in bench.entries if k == "test_end"] == ["", "no cabinet key", ""]


def test_a_test_may_be_done_again(plan):
    bench = Bench(live=True)
    bench.again.add("T-1")
    said = run(plan, bench)
    assert ends(bench)[:2] == [("T-1", 1, "done"), ("T-1", 2, "done")]
    assert said.count("after T-1: proven") == 2
    assert [body["live"] for kind, body in bench.entries if kind == "test_live"] == ["proven"] * 4


def test_a_test_that_is_left_halfway_is_undone_and_the_rest_goes_on(plan):
    bench = Bench(T_2_1=None)
    bench.trouble = {"T_2/1": LeftOutError("the lamp fell off")}
    said = run(plan, bench)
    at = said.index("rest: Mend the sensor fault of AT-1 (Pit)")
    assert said[at + 1 : at + 3] == [
        "rest: Press reset at the panel",
        "rest: Press accept at the panel",
    ]
    assert ends(bench) == [("T-1", 1, "done"), ("T-2", 1, "skipped"), ("T-3", 1, "done")]
    assert "after T-2: None" in said


def test_readings_that_do_not_come_back_are_told_and_waited_for_no_longer(plan):
    bench = Bench()
    bench.trouble = {"T_1/1": LeftOutError("no more gas")}
    bench.unrest = ("AT-1 reads 12 %LEL",)
    said = run(plan, bench)
    assert "remark: the panel has not come to rest: AT-1 reads 12 %LEL" in said
    assert ends(bench)[-1] == ("T-3", 1, "done")


def test_a_stop_ends_the_run_and_says_what_still_stands(plan):
    bench = Bench()
    bench.trouble = {"T_1/1": StoppedError("lunch")}
    with pytest.raises(StoppedError):
        run(plan, bench)
    assert ends(bench) == [("T-1", 1, "stopped")]
    assert any("Return AT-1 (Pit) to clean air; then reset" in one for one in bench.said)


def test_a_resumed_run_first_brings_the_panel_to_rest_and_leaves_out_what_is_done(plan):
    bench = Bench()
    bench.notes.standing.append(plan.steps[2])
    said = run(plan, bench, resumed=True, finished=frozenset({"T-1"}))
    assert said[0] == "rest: Return AT-1 (Pit) to clean air"
    assert "Before all." not in said
    assert ends(bench) == [("T-2", 1, "done"), ("T-3", 1, "done")]


def test_only_chosen_tests_are_played(plan):
    bench = Bench()
    run(plan, bench, chosen=frozenset({"T-3"}))
    assert ends(bench) == [("T-3", 1, "done")]
