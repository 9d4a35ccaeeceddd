import pytest

from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_scenarios.plan_outcome import (
    Claim,
    PlayedTest,
    claim_of,
    never_begun,
    outcomes_of_tests,
)
from gaswitness_scenarios.script import PlannedTest

VOTE = "cell/2oo3(AT-1.A2, AT-2.A2, AT-3.A2) > K1"
RISES = "cell/AT-1.A2 > K3: rises"


def played(test_id="T-1", attempt=1, proves=(RISES,), span=(10.0, 50.0), how="done", reason=""):
    return PlayedTest(test_id, "title", attempt, proves, *span, how, reason)


def cell(*aspects, name="AT-1.A2 > K3"):
    outcomes = [aspect.outcome for aspect in aspects]
    worst = Outcome.FAILED if Outcome.FAILED in outcomes else Outcome.PROVEN
    return Verdict(f"cell/{name}", Kind.CELL, worst, because="whole", aspects=tuple(aspects))


def aspect(name="rises", outcome=Outcome.PROVEN, at_s=20.0):
    return Aspect(name, outcome, because=f"{name} {outcome}", at_s=at_s)


def outcome_of(tests, *verdicts):
    (found,) = outcomes_of_tests(tests, verdicts)
    return found


@pytest.mark.parametrize(
    ("text", "verdict_id", "aspect"),
    [
        (RISES, "cell/AT-1.A2 > K3", "rises"),
        (
            "cell/2oo3(AT-1.A2, AT-2.A2, AT-3.A2) > K1",
            "cell/2oo3(AT-1.A2, AT-2.A2, AT-3.A2) > K1",
            "",
        ),
        ("level/AT-1.A1", "level/AT-1.A1", ""),
    ],
)
def test_a_claim_names_a_verdict_or_one_side_of_it(text, verdict_id, aspect):
    assert claim_of(text) == Claim(verdict_id, aspect)
    assert str(claim_of(text)) == text


def test_a_test_is_proven_where_all_it_claims_is():
    found = outcome_of([played()], cell(aspect()))
    assert found.outcome is Outcome.PROVEN
    assert found.because == ""
    assert found.claims[0].because == "rises proven"


def test_what_was_not_seen_leaves_it_open():
    both = played(proves=(RISES, "cell/AT-1.A2 > K3: latches"))
    found = outcome_of([both], cell(aspect()))
    assert found.outcome is Outcome.INCONCLUSIVE
    assert found.because == "cell/AT-1.A2 > K3: latches: it was not seen to happen"
    alone = outcome_of([played(proves=("level/AT-9.A1",))], cell(aspect()))
    assert alone.outcome is Outcome.INCONCLUSIVE
    assert "no verdict speaks of it" in alone.because


def test_a_failure_while_it_went_on_fails_it_though_it_claims_something_else():
    other = cell(aspect("releases", Outcome.FAILED, at_s=30.0), name="AT-2.A1 > K9")
    found = outcome_of([played()], cell(aspect()), other)
    assert found.outcome is Outcome.FAILED
    assert [str(one.claim) for one in found.beside] == ["cell/AT-2.A1 > K9: releases"]
    for at_s in (9.9, 50.0):
        later = cell(aspect("releases", Outcome.FAILED, at_s=at_s), name="AT-2.A1 > K9")
        assert outcome_of([played()], cell(aspect()), later).outcome is Outcome.PROVEN


def test_a_test_that_was_not_done_is_not_run_whatever_others_have_proven():
    found = outcome_of([played(how="skipped", reason="no gas")], cell(aspect()))
    assert found.outcome is Outcome.NOT_RUN
    assert found.because == "skipped: no gas"
    broken = outcome_of([played(how="broken off")], cell(aspect("rises", Outcome.FAILED)))
    assert broken.outcome is Outcome.FAILED


def test_the_latest_attempt_counts():
    first = played(span=(0.0, 5.0), how="broken off")
    found = outcome_of([first, played(attempt=2)], cell(aspect()))
    assert found.test.attempt == 2
    assert found.outcome is Outcome.PROVEN


def test_a_test_that_claims_nothing_is_proven_by_being_done():
    assert outcome_of([played(proves=())], cell(aspect())).outcome is Outcome.PROVEN
    failed = cell(aspect("rises", Outcome.FAILED))
    assert outcome_of([played(proves=())], failed).outcome is Outcome.FAILED


def test_an_expectation_may_have_a_colon_in_its_name():
    name = "expectation/K1 stays off: all in fault"
    verdict = Verdict(name, Kind.EXPECTATION, Outcome.PROVEN)
    assert outcome_of([played(proves=(name,))], verdict).outcome is Outcome.PROVEN


def test_what_was_to_be_done_and_never_came_is_told():
    planned = [
        PlannedTest(
            at_s=0.0, place="p", words="", id=name, title=f"of {name}", proves=(RISES,), moves=()
        )
        for name in ("T-1", "T-2", "T-3")
    ]
    left = never_begun(planned, [played("T-1")])
    assert [(one.id, one.title, one.attempt, one.how) for one in left] == [
        ("T-2", "of T-2", 0, "not begun"),
        ("T-3", "of T-3", 0, "not begun"),
    ]
    assert [one.id for one in never_begun(planned, [played("T-1")], {"T-1", "T-3"})] == ["T-3"]
    found = outcome_of(left[:1], cell(aspect()))
    assert (found.outcome, found.because) == (Outcome.NOT_RUN, "not begun")
