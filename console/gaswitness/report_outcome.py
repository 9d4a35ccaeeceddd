"""The outcome of a run in words, as page one of a report has it. Pure."""

from collections.abc import Iterator, Sequence
from typing import Final

from gaswitness.plan_states import NOT_ASKED, counted, state_of
from gaswitness.report_data import IssueFacts, Item, Part
from gaswitness.report_parts import RAN_TO_ITS_END
from gaswitness.unseen_words import unseen_headline
from gaswitness.wording import OUTCOME_WORDS
from gaswitness_probe.shown_defects import ShownDefects
from gaswitness_probe.verdict import Outcome, Proof

HEADS: Final = {
    Outcome.PROVEN: "ALL PROVEN",
    Outcome.FAILED: "FAILED",
    Outcome.INCONCLUSIVE: "NOT PROVEN",
    Outcome.NOT_RUN: "NOT PROVEN",
}
REHEARSAL: Final = (
    "This was a rehearsal against a virtual panel. It tries site file and scripts against each "
    "other and proves nothing about a real panel."
)
VIRTUAL: Final = (
    "The panel says that it is a virtual one. What is shown here proves nothing about a real panel."
)


def tests_to_do(parts: Sequence[Part]) -> list[Part]:
    """The tests of the plan that somebody was asked to do."""
    return [part for part in parts if part.planned and part.how != NOT_ASKED]


def overall_outcome(
    issues: Sequence[IssueFacts], items: Sequence[Item], parts: Sequence[Part]
) -> Outcome:
    """Failed where anything failed; proven only where all things and all tests of the plan that
    were to be done are, and the record is whole."""
    outcomes = {item.outcome for item in items} | {part.outcome for part in tests_to_do(parts)}
    if Outcome.FAILED in outcomes:
        return Outcome.FAILED
    if not items:
        return Outcome.NOT_RUN
    whole = all(one.sound for one in issues)
    return Outcome.PROVEN if outcomes == {Outcome.PROVEN} and whole else Outcome.INCONCLUSIVE


def headline(outcome: Outcome, items: Sequence[Item], parts: Sequence[Part]) -> str:
    """The outcome in a sentence or, where there is a plan, two."""
    told = [item.outcome for item in items]
    counts = [f"{told.count(one)} {OUTCOME_WORDS[one]}" for one in Outcome if told.count(one)] or [
        "nothing was judged"
    ]
    things = f"{HEADS[outcome]}. Of {len(items)} things to be shown: {', '.join(counts)}."
    return " ".join((things, *_tests(parts)))


def outcome_words(
    issues: Sequence[IssueFacts],
    items: Sequence[Item],
    parts: Sequence[Part],
    map_defects: ShownDefects | None,
) -> Iterator[str]:
    """What page one says beneath the headline, a paragraph each."""
    newest = issues[-1]
    if newest.command == "rehearse":
        yield REHEARSAL
    elif newest.virtual:
        yield VIRTUAL
    yield _proof(items, parts)
    if map_defects is not None:
        where = ", see \u201cWhat could not have been seen\u201d." if map_defects.not_shown else ""
        yield unseen_headline(map_defects).removesuffix(":") + where
    if len(issues) > 1:
        yield (
            f"{len(issues)} issues: the first run and {len(issues) - 1} "
            f"retest{'s' if len(issues) > 2 else ''}. Each thing "
            "counts by the newest issue that tested it; sides of it that were not tested again "
            "count as the issue before left them."
        )
    for one in issues:
        if not one.sound:
            yield f"Issue {one.issue}: the record is not whole: {one.chain}."
        if one.ended and one.ended != RAN_TO_ITS_END:
            yield f"Issue {one.issue} ended early: {one.ended}."
        for said in one.resumed:
            yield f"Issue {one.issue} {said}."


def _tests(parts: Sequence[Part]) -> Iterator[str]:
    planned = [part for part in parts if part.planned]
    if planned:
        states = counted(state_of(part.outcome, part.how) for part in planned)
        yield f"Of {len(planned)} tests of the plan: {states}."


def _proof(items: Sequence[Item], parts: Sequence[Part]) -> str:
    proven = [item for item in items if item.outcome is Outcome.PROVEN]
    witnessed = sum(item.proof is Proof.WITNESSED for item in proven)
    looks = sum(len(step.looks) for part in parts for step in part.steps)
    said = (
        f"Two levels of proof are kept apart. {len(proven) - witnessed} of what is proven is "
        "reported: the panel says so over the wire. That is no proof that a contact closed, a "
        "valve moved or a sounder can be heard."
    )
    if witnessed:
        said += f" {witnessed} is witnessed: nothing but a person who looked or listened shows it."
    else:
        said += " Nothing rests on a witness alone."
    if looks:
        asked = "once" if looks == 1 else f"{looks} times"
        said += f" A person was asked to look or listen {asked}; the answers stand with the steps."
    return said
