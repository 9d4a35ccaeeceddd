"""What became of each test of a plan: its claims looked up among the verdicts. Pure."""

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.verdict import Aspect, Outcome, Verdict, overall
from gaswitness_scenarios.script import PlannedTest

NOT_BEGUN: Final = "not begun"
"""How a test ended that was to be done, and never came."""


@dataclass(frozen=True, slots=True)
class Claim:
    """What a test says that it shows: a verdict, or, where `aspect` is given, one side of it."""

    verdict_id: str
    aspect: str = ""

    def __str__(self) -> str:
        return f"{self.verdict_id}: {self.aspect}" if self.aspect else self.verdict_id


def claim_of(text: str) -> Claim:
    """The claim as a plan writes it: `VERDICT` or `VERDICT: ASPECT`."""
    verdict_id, _, aspect = text.partition(": ")
    return Claim(verdict_id.strip(), aspect.strip())


@dataclass(frozen=True, slots=True)
class PlayedTest:
    """A test as it was played, from `begun_s` to `ended_s` of the run. `how`: done, skipped,
    stopped, broken off, not begun; `reason` says why where it was not done."""

    id: str
    title: str
    attempt: int
    proves: tuple[str, ...]
    begun_s: float
    ended_s: float
    how: str = "done"
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ClaimOutcome:
    """A claim and what became of it. `seen`, `because`: the verdict's or the aspect's words."""

    claim: Claim
    outcome: Outcome
    expected: str = ""
    seen: str = ""
    because: str = ""
    response_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PlanOutcome:
    """A test's outcome. `beside`: what failed while it went on that it did not claim."""

    test: PlayedTest
    outcome: Outcome
    claims: tuple[ClaimOutcome, ...]
    beside: tuple[ClaimOutcome, ...] = ()

    @property
    def because(self) -> str:
        """Why it is not proven, in words; empty where it is."""
        if self.test.how != "done" and self.outcome is not Outcome.FAILED:
            return f"{self.test.how}: {self.test.reason}" if self.test.reason else self.test.how
        every = (*self.claims, *self.beside)
        told = [one for one in every if one.outcome is self.outcome] or [
            one for one in every if one.outcome is not Outcome.PROVEN
        ]
        if self.outcome is Outcome.PROVEN or not told:
            return ""
        return f"{told[0].claim}: {told[0].because or told[0].outcome}"


def never_begun(
    planned: Iterable[PlannedTest],
    played: Iterable[PlayedTest],
    chosen: Container[str] | None = None,
) -> tuple[PlayedTest, ...]:
    """The tests that were to be done (`chosen`: their ids, None for all) and never came."""
    begun = {test.id for test in played}
    return tuple(
        PlayedTest(test.id, test.title, 0, test.proves, 0.0, 0.0, NOT_BEGUN)
        for test in planned
        if test.id not in begun and (chosen is None or test.id in chosen)
    )


def outcomes_of_tests(
    tests: Sequence[PlayedTest], verdicts: Iterable[Verdict]
) -> tuple[PlanOutcome, ...]:
    """One outcome for each test, its latest attempt alone, in the order of their first attempts.

    A test is failed where a claim is, or where any side of any verdict failed at an instant at
    which it went on. It is proven where it was done and all its claims are proven.
    """
    by_id = {verdict.id: verdict for verdict in verdicts}
    latest: dict[str, PlayedTest] = {}
    for test in tests:
        held = latest.get(test.id)
        if held is None or test.attempt >= held.attempt:
            latest[test.id] = test
    return tuple(_outcome(test, by_id) for test in latest.values())


def _outcome(test: PlayedTest, by_id: Mapping[str, Verdict]) -> PlanOutcome:
    claims = tuple(claim_outcome(claim_of(text), by_id) for text in test.proves)
    claimed = {str(one.claim) for one in claims}
    beside = tuple(
        one for one in _failed_meanwhile(test, by_id.values()) if str(one.claim) not in claimed
    )
    found = [one.outcome for one in (*claims, *beside)]
    outcome = overall(found)
    if outcome is not Outcome.FAILED and Outcome.NOT_RUN in found:
        # It was to be shown, and was not: that is open, not harmless.
        outcome = Outcome.INCONCLUSIVE
    if test.how != "done" and outcome is not Outcome.FAILED:
        outcome = Outcome.NOT_RUN
    elif not found:
        # It claims nothing: that it was done, and nothing failed meanwhile, is all it can show.
        outcome = Outcome.PROVEN
    return PlanOutcome(test, outcome, claims, beside)


def claim_outcome(claim: Claim, by_id: Mapping[str, Verdict]) -> ClaimOutcome:
    """What the verdicts say of a claim; not run where none speaks of it."""
    if str(claim) in by_id:
        # The name of an expectation may look like a verdict and one of its sides.
        claim = Claim(str(claim))
    verdict = by_id.get(claim.verdict_id)
    if verdict is None:
        return ClaimOutcome(claim, Outcome.NOT_RUN, because="no verdict speaks of it")
    if not claim.aspect:
        return ClaimOutcome(
            claim,
            verdict.outcome,
            verdict.expected,
            verdict.seen,
            verdict.because,
            verdict.response_s,
        )
    for aspect in verdict.aspects:
        if aspect.name == claim.aspect:
            return _of_aspect(verdict.id, aspect)
    return ClaimOutcome(claim, Outcome.NOT_RUN, because="it was not seen to happen")


def _of_aspect(verdict_id: str, aspect: Aspect) -> ClaimOutcome:
    return ClaimOutcome(
        Claim(verdict_id, aspect.name),
        aspect.outcome,
        aspect.expected,
        aspect.seen,
        aspect.because,
        aspect.response_s,
    )


def _failed_meanwhile(test: PlayedTest, verdicts: Iterable[Verdict]) -> Iterable[ClaimOutcome]:
    for verdict in verdicts:
        for aspect in verdict.aspects:
            at_s = aspect.at_s
            if at_s is None or aspect.outcome is not Outcome.FAILED:
                continue
            if test.begun_s <= at_s < test.ended_s:
                yield _of_aspect(verdict.id, aspect)
