"""People who look at what the panel reports: a good panel is never failed by who sees right, every
look that tells fails a panel that does otherwise, and a record with a no is judged the same again.
"""

import pytest
import small_run as small
from memory_run import rehearsed
from random_machine import machine

from gaswitness_probe.applied import Looked
from gaswitness_probe.judge import judge
from gaswitness_probe.verdict import Outcome, Proof
from gaswitness_scenarios import play
from gaswitness_scenarios.kept_run import read_run
from gaswitness_scenarios.script import Look
from gaswitness_scenarios.verify_run import State, verify_run

NUMBERS = range(500, 560)
ACTING, AT_REST = "witnessed acting", "witnessed at rest"


def looked_at_often(number):
    """The machine, with a look at every output in each of its rests."""
    found = machine(number)
    steps = []
    for step in found.steps:
        steps.append(step)
        if "hold_s" in step:
            looks = [f"{output['tag']}.active" for output in found.site["outputs"]]
            steps += [{"look": {"fact": fact, "ask": "Does it act?"}} for fact in looks]
    return found.but(steps=steps)


def witnessed(verdicts):
    return {
        (verdict.id, aspect.name): aspect.outcome
        for verdict in verdicts
        for aspect in verdict.aspects
        if aspect.name in (ACTING, AT_REST)
    }


@pytest.fixture(scope="module")
def runs():
    found = [rehearsed(looked_at_often(number)) for number in NUMBERS]
    return [run for run in found if run is not None]


def test_no_look_fails_a_good_panel(runs):
    sides = [witnessed(run.verdicts()) for run in runs]
    assert Outcome.FAILED not in {one for found in sides for one in found.values()}
    for name in (ACTING, AT_REST):
        assert sum(key[1] == name for found in sides for key in found) >= 20


def test_every_look_that_tells_fails_what_does_otherwise(runs):
    for run in runs:
        shown = run.histories
        right = witnessed(run.verdicts())
        opposite = [
            Looked(one.fact, not one.value, one.asked_s, one.answered_s)
            for one in run.record.looked
        ]
        verdicts = judge(run.site, shown, run.record.applied, opposite, span=run.span_s)
        outputs = {key for key in right if key[0].startswith("output/")}
        wrong = witnessed(verdicts)
        assert {key for key in outputs if wrong.get(key) is not Outcome.FAILED} == set()


def test_a_no_is_kept_and_judged_the_same_again(tmp_path, monkeypatch):
    """The contact of K1 is stuck: its coil is driven, and reported, and nothing moves."""

    def stuck(step, *arguments):
        seen = do_step(step, *arguments)
        return False if isinstance(step, Look) and step.fact == "K1.active" else seen

    do_step = play.do_step
    monkeypatch.setattr(play, "do_step", stuck)
    sound = "  - {look: {fact: S1.active, ask: Does it sound?}}\n"
    contact = "  - {look: {fact: K1.active, ask: Is the contact closed?}}\n"
    monkeypatch.setattr(small, "SCRIPT", small.SCRIPT.replace(sound, sound + contact))
    small.small_run(tmp_path)
    kept = {one.id: one for one in read_run(tmp_path / "run.sqlite").verdicts}
    for name in ("output/K1", "cell/AT-1.A1 > K1"):
        assert (kept[name].outcome, kept[name].proof) == (Outcome.FAILED, Proof.WITNESSED)
        assert kept[name].because == (
            "a person saw K1 off while AT-1.A1 demanded it on, though the panel reports it on"
        )
    report = verify_run(tmp_path / "run.sqlite")
    assert {check.state for check in report.checks} == {State.STANDS}
