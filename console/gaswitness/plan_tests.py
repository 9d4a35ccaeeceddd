"""What became of the tests of a plan, in lines for a terminal. Pure."""

from collections.abc import Iterator, Sequence
from textwrap import shorten

from gaswitness.wording import OUTCOME_WORDS, shown
from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.plan_outcome import PlanOutcome

LONGEST_REASON = 300
HEADING = "Tests of the plan"


def plan_lines(tests: Sequence[PlanOutcome]) -> Iterator[str]:
    """How many tests are proven, then each that is not, with what keeps it from it."""
    proven = sum(one.outcome is Outcome.PROVEN for one in tests)
    claims = sum(len(one.claims) for one in tests)
    yield f"{proven} of {len(tests)} proven, with {claims} claims in all"
    for one in tests:
        if one.outcome is Outcome.PROVEN:
            continue
        attempt = f", attempt {one.test.attempt}" if one.test.attempt > 1 else ""
        because = shorten(one.because, LONGEST_REASON, placeholder=" ...")
        yield shown(
            f"{one.test.id} {OUTCOME_WORDS[one.outcome]}{attempt}: {one.test.title}. {because}"
        )
