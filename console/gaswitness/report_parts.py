"""The tests of a plan, or the scripts of a run without a plan, each with its steps, what was seen
in them, and who signed. From the record's entries.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

from gaswitness.plan_states import NOT_ASKED
from gaswitness.report_data import Finding, Look, Part, Signed, StepRow
from gaswitness.report_issues import Issue
from gaswitness.report_items import finding_of, findings_in, whole_finding
from gaswitness.wording import OUTCOME_WORDS
from gaswitness_probe.evidence_read import Entry
from gaswitness_probe.verdict import Kind, Outcome, Verdict, overall
from gaswitness_scenarios.kept_run import KeptRun
from gaswitness_scenarios.kept_tests import played_tests
from gaswitness_scenarios.plan_outcome import (
    ClaimOutcome,
    PlanOutcome,
    PlayedTest,
    never_begun,
    outcomes_of_tests,
)

IN_STEPS: Final = frozenset(
    {Kind.READING, Kind.FLAG, Kind.LEVEL, Kind.CELL, Kind.OUTPUT, Kind.EXPECTATION}
)
"""Verdicts that steps bring about. What a survey says of points has no step; it stands with them.
"""
LAST: Final = 1 << 62
JUST_S: Final = 1e-6
DONE: Final = "done"
RAN_TO_ITS_END: Final = "it ran to its end"
WAIT: Final = "Wait "
PASSIVE: Final = (WAIT, "Expected: ", "Look: ", "Test ")
"""Steps that do nothing to the panel: what happens then belongs to what was done before."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A test or script as it was played: the entries from `first` to `last` are its own."""

    test: PlayedTest
    moves: tuple[str, ...]
    first: int
    last: int
    planned: bool = True


def parts_of(issues: Sequence[Issue]) -> tuple[Part, ...]:
    """Every test by the newest issue that did it, in the order in which they first came."""
    told: dict[str, list[Part]] = {}
    for issue in issues:
        for part in _parts(issue):
            told.setdefault(part.id, []).append(part)
    played = [_newest(parts) for parts in told.values()]
    return (*played, *_not_begun(issues, told.keys()))


def _not_begun(issues: Sequence[Issue], begun: Collection[str]) -> Iterator[Part]:
    """Tests of the newest plan that no issue began; whether one of them was asked to is told."""
    newest = issues[-1]
    if all(_whole(issue) for issue in issues):
        return
    planned = {part.test.id: part.test for script in newest.run.scripts for part in script.tests}
    asked = {test_id for issue in issues for test_id in _asked(issue)}
    for test in never_begun((one for key, one in planned.items() if key not in begun), ()):
        told = test if test.id in asked else replace(test, how=NOT_ASKED)
        yield from _parts_of(newest, [_Stretch(told, planned[test.id].moves, LAST, LAST)])


def _asked(issue: Issue) -> Collection[str]:
    """Ids of the tests that the issue's run was asked to do."""
    chosen = issue.run.facts.options.get("tests", "")
    if chosen:
        return chosen.split(",")
    return [part.test.id for script in issue.run.scripts for part in script.tests]


def _whole(issue: Issue) -> bool:
    """Whether every test of the plan was begun, or was never asked for, as the record ends."""
    run = issue.run
    ended = run.end is not None and run.end.body.get("why") == RAN_TO_ITS_END
    return ended and not run.facts.options.get("tests")


def _newest(parts: Sequence[Part]) -> Part:
    """Of one test's parts, an issue each, the newest that was done or failed, others told."""
    told = [one for one in parts if one.how == DONE or one.outcome is Outcome.FAILED] or parts
    newest = told[-1]
    others = [_told(one) for one in parts if one is not newest]
    return replace(newest, attempts=(*others, *newest.attempts))


def _told(part: Part) -> str:
    words = OUTCOME_WORDS[part.outcome]
    why = f", {part.because}" if part.because else ""
    return f"issue {part.issue}: {words}{why}"


def _parts(issue: Issue) -> Iterator[Part]:
    stretches = list(_tests(issue.run))
    if not stretches:
        stretches = list(_scripts(issue))
    yield from _parts_of(issue, stretches)


def _parts_of(issue: Issue, stretches: Sequence[_Stretch]) -> Iterator[Part]:
    outcomes = outcomes_of_tests([one.test for one in stretches], issue.run.verdicts)
    by_id: dict[str, list[_Stretch]] = {}
    for one in stretches:
        by_id.setdefault(one.test.id, []).append(one)
    for outcome in outcomes:
        attempts = by_id[outcome.test.id]
        counts = next(one for one in reversed(attempts) if one.test == outcome.test)
        earlier = [one for one in attempts if one is not counts]
        yield _part(issue, counts, outcome, earlier)


def _tests(run: KeptRun) -> Iterator[_Stretch]:
    """Tests as played; the entries until the next one began are a test's own."""
    begins = run.of("test")
    ends = {(one.body["id"], one.body["attempt"]): one.seq for one in run.of("test_end")}
    following = [*(entry.seq - 1 for entry in begins[1:]), LAST][: len(begins)]
    for test, entry, until in zip(played_tests(run.tests), begins, following, strict=True):
        last = ends.get((test.id, test.attempt), until)
        yield _Stretch(test, tuple(entry.body["moves"]), entry.seq, last)


def _scripts(issue: Issue) -> Iterator[_Stretch]:
    """Scripts as played, each until the next began."""
    run = issue.run
    begins: list[tuple[Entry, str, str]] = []
    for entry in run.remarks:
        word, _, rest = str(entry.body["text"]).partition(" ")
        name, colon, title = rest.partition(": ")
        if word == "script" and colon:
            begins.append((entry, name, title))
    until_s = run.span_s[1]
    for at, (entry, name, title) in enumerate(begins):
        next_one = begins[at + 1][0] if at + 1 < len(begins) else None
        ended_s = until_s if next_one is None else next_one.at_s
        last = LAST if next_one is None else next_one.seq - 1
        test = PlayedTest(name, title or name, 1, (), entry.at_s, ended_s)
        yield _Stretch(test, (), entry.seq, last, planned=False)


def _part(
    issue: Issue, stretch: _Stretch, outcome: PlanOutcome, earlier: Sequence[_Stretch]
) -> Part:
    test, by_id = stretch.test, {one.id: one for one in issue.run.verdicts}
    findings = sorted(
        (
            one
            for one in findings_in(issue.run.verdicts, IN_STEPS)
            if one.at_s is not None and test.begun_s <= one.at_s < test.ended_s
        ),
        key=lambda one: one.at_s or 0.0,
    )
    found = outcome.outcome
    because = outcome.because
    if not stretch.planned and found is not Outcome.FAILED and findings:
        # A script claims nothing: it is as good as what was seen while it played.
        found = overall([one.outcome for one in findings])
        because = next((one.because for one in findings if one.outcome is found), "")
    if found is Outcome.PROVEN:
        because = ""
    return Part(
        id=test.id,
        title=test.title,
        planned=stretch.planned,
        issue=issue.name,
        attempt=test.attempt,
        how=test.how,
        reason=test.reason,
        outcome=found,
        because=because,
        begun_s=test.begun_s,
        ended_s=test.ended_s,
        begun_utc=issue.utc(test.begun_s),
        moves=stretch.moves,
        claims=tuple(_claim(one, by_id) for one in outcome.claims),
        beside=tuple(_claim(one, by_id) for one in outcome.beside),
        steps=tuple(_steps(issue, stretch, findings)),
        signed=tuple(_signed(issue, test)),
        remarks=tuple(_remarks(issue, test.id)),
        attempts=tuple(
            f"issue {issue.name}, attempt {one.test.attempt}: {one.test.how}"
            + (f", {one.test.reason}" if one.test.reason else "")
            for one in earlier
        ),
    )


def _claim(told: ClaimOutcome, by_id: dict[str, Verdict]) -> Finding:
    claim, verdict = told.claim, by_id.get(told.claim.verdict_id)
    if verdict is not None and not claim.aspect:
        return whole_finding(verdict)
    if verdict is not None:
        for aspect in verdict.aspects:
            if aspect.name == claim.aspect:
                return finding_of(verdict, aspect)
    none = Verdict(claim.verdict_id, Kind.CELL, told.outcome, because=told.because)
    return replace(whole_finding(none), aspect=claim.aspect)


def _signed(issue: Issue, test: PlayedTest) -> Iterator[Signed]:
    for entry in issue.run.of("initials"):
        body = entry.body
        if body["test"] == test.id and body["attempt"] == test.attempt:
            yield Signed(body["role"], body["name"], body["initials"], _utc(body.get("at_utc", "")))


def _utc(said: str) -> str:
    """ISO 8601 as the record has it, in the form of all instants here; what is none, as it is."""
    try:
        moment = datetime.fromisoformat(said)
    except ValueError:
        return said
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%SZ") if moment.tzinfo else said


def _remarks(issue: Issue, test_id: str) -> Iterator[str]:
    for entry in issue.run.remarks:
        if entry.body.get("about") == test_id:
            by = entry.body.get("by", "")
            yield f"{entry.at_s:.1f} s: {entry.body['text']}" + (f" ({by})" if by else "")


def _steps(issue: Issue, stretch: _Stretch, findings: Sequence[Finding]) -> Iterator[StepRow]:
    """The steps, each with what was seen from it until the next."""
    run = issue.run
    entries = [one for one in run.of("step") if stretch.first <= one.seq <= stretch.last]
    of_step = _by_step(entries, findings)
    looks = [one for one in run.of("looked") if stretch.first <= one.seq <= stretch.last]
    expectations = [one for one in run.of("expected") if stretch.first <= one.seq <= stretch.last]
    by_id = {verdict.id: verdict for verdict in run.verdicts}
    left_out = _left_out(issue, stretch)
    for at, entry in enumerate(entries):
        until = entries[at + 1].seq if at + 1 < len(entries) else stretch.last + 1
        place = str(entry.body["place"])
        asked = (f"expectation/{e.body['id']}" for e in expectations if entry.seq < e.seq < until)
        own = [whole_finding(by_id[one]) for one in asked if one in by_id]
        yield StepRow(
            number=entry.body["number"],
            at_s=entry.at_s,
            at_utc=issue.utc(entry.at_s),
            words=entry.body["words"],
            place=place.replace("\\", "/").rpartition("/")[2],
            left_out=left_out.get(entry.body["number"], ""),
            looks=tuple(Look(**one.body) for one in looks if entry.seq < one.seq < until),
            findings=(*own, *of_step.get(at, ())),
        )


def _by_step(entries: Sequence[Entry], findings: Sequence[Finding]) -> dict[int, list[Finding]]:
    """What was seen, by the place of the last step before it that did something."""
    acting = [at for at, one in enumerate(entries) if not one.body["words"].startswith(PASSIVE)]
    begins = [entries[at].at_s for at in acting]
    found: dict[int, list[Finding]] = {}
    for one in findings:
        before = bisect_right(begins, (one.at_s or 0.0) + JUST_S) - 1
        found.setdefault(acting[before] if before >= 0 else 0, []).append(one)
    return found


def _left_out(issue: Issue, stretch: _Stretch) -> dict[int, str]:
    """Why steps were left out, by their number, as remarks tell it."""
    found = {}
    for entry in issue.run.remarks:
        text = str(entry.body["text"])
        if text.startswith("step ") and stretch.first <= entry.seq <= stretch.last:
            head, parted, why = text.partition(" was left out: ")
            number = head.split()[1] if parted else ""
            if number.isdecimal():
                found[int(number)] = why
    return found
