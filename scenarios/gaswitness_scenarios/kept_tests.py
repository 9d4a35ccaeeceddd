"""The tests of a plan as a record keeps them, each attempt with how it ended."""

from collections.abc import Sequence
from dataclasses import replace

from gaswitness_probe.evidence_read import Entry
from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.kept_run import KeptRun
from gaswitness_scenarios.plan_outcome import PlanOutcome, PlayedTest, outcomes_of_tests


def played_tests(entries: Sequence[Entry]) -> tuple[PlayedTest, ...]:
    """Every attempt, from the entries `test` and `test_end` in their order. One without an end is
    broken off, at the instant at which it began."""
    found: list[PlayedTest] = []
    for entry in entries:
        body = entry.body
        if entry.kind == "test":
            found.append(
                PlayedTest(
                    body["id"],
                    body["title"],
                    body["attempt"],
                    tuple(body["proves"]),
                    body["begun_s"],
                    body["begun_s"],
                    "broken off",
                )
            )
        elif entry.kind == "test_end" and found:
            found[-1] = replace(
                found[-1], ended_s=body["ended_s"], how=body["how"], reason=body["reason"]
            )
    return tuple(found)


def kept_outcomes(kept: KeptRun) -> tuple[PlanOutcome, ...]:
    """What became of each test of the plan, by the verdicts of the record."""
    return outcomes_of_tests(played_tests(kept.tests), kept.verdicts)


def to_retest(kept: KeptRun) -> tuple[str, ...]:
    """Ids of the tests that are not proven, those never begun included, in the plan's order."""
    proven = {one.test.id for one in kept_outcomes(kept) if one.outcome is Outcome.PROVEN}
    asked = {test_id for test_id in kept.facts.options.get("tests", "").split(",") if test_id}
    planned = [part.test.id for script in kept.scripts for part in script.tests]
    return tuple(one for one in planned if one not in proven and (not asked or one in asked))
