"""Tests of a run, or its scripts: verdict, claims, drawings, and each step with what was seen."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from gaswitness.chart import Mark
from gaswitness.chart_svg import chart_svg
from gaswitness.report_blocks import (
    Block,
    Cell,
    Column,
    Facts,
    Figure,
    Group,
    Items,
    Paragraph,
    Section,
    Table,
    Text,
    cell,
    one_group,
    said,
    strong,
)
from gaswitness.report_chart import Event, event_charts
from gaswitness.report_coverage import Places, shown_in
from gaswitness.report_data import Finding, Part, Report, StepRow
from gaswitness.report_issues import Issue
from gaswitness.report_parts import PASSIVE, WAIT
from gaswitness.report_words import instant, outcome_cell, response_cell, seen_words
from gaswitness.wording import OUTCOME_WORDS, duration_words
from gaswitness_probe.verdict import Outcome

MOST_TOGETHER: Final = 12
"""Steps told in one head."""
STEP_COLUMNS: Final = (
    Column("What", 2.4),
    Column("Expected", 2.6),
    Column("Seen", 3.4),
    Column("Response", 1.3),
    Column("Verdict", 1.4),
    Column("Proof", 1.3),
    Column("Initials", 0.9),
)


def tests(report: Report, issues: Sequence[Issue]) -> Section:
    """Every test with its steps and drawings; a list of them first."""
    by_name = {issue.name: issue for issue in issues}
    planned = any(part.planned for part in report.parts)
    title = "Tests" if planned else "Scripts"
    if not report.parts:
        words = "No test or script was played: the register map alone was surveyed."
        return Section("tests", title, (Paragraph(said(words)),))
    where = shown_in(report.parts)
    inner = (_part(part, by_name[part.issue], where) for part in report.parts)
    return Section("tests", title, (_list(report.parts), *inner), wide=True)


def part_id(part: Part) -> str:
    """What links to a test lead to."""
    return "test-" + "".join(c if c.isalnum() else "-" for c in part.id)


def _list(parts: Sequence[Part]) -> Table:
    columns = (
        Column("Test", 1.2),
        Column("Title", 3),
        Column("Verdict", 1.3),
        Column("Because", 3.6),
        Column("Begun", 1.6),
        Column("Took", 1.3),
        Column("Issue", 0.8),
        Column("Initials", 0.9),
    )
    rows = [
        (
            cell(part.id),
            cell(part.title),
            outcome_cell(part.outcome),
            cell(part.because),
            cell(part.begun_utc or instant(part.begun_s)),
            cell(duration_words(part.ended_s - part.begun_s)),
            cell(part.issue),
            cell(part.initials),
        )
        for part in parts
    ]
    return Table("All of them", columns, one_group(rows))


def _part(part: Part, issue: Issue, where: Places) -> Section:
    blocks: list[Block] = [Facts(tuple(_part_facts(part)))]
    if part.claims or part.beside:
        blocks.append(_claims(part, where))
    blocks += _drawings(part, issue)
    if part.steps:
        steps = Table(f"Steps of {part.id}", STEP_COLUMNS, tuple(_step_groups(part)))
        blocks.append(steps)
    if part.remarks:
        blocks.append(Items(tuple(map(said, part.remarks))))
    return Section(
        part_id(part),
        f"{part.id} {part.title}" if part.planned else _titled(part),
        tuple(blocks),
        new_page=True,
    )


def _titled(part: Part) -> str:
    return part.title if part.title == part.id else f"{part.id}: {part.title}"


def _part_facts(part: Part) -> Iterator[tuple[str, Text]]:
    because = f": {part.because}" if part.because else ""
    yield "Verdict", said(strong(OUTCOME_WORDS[part.outcome]), because)
    attempt = f", attempt {part.attempt}" if part.attempt > 1 else ""
    how = (
        f"; {part.how}: {part.reason}"
        if part.reason
        else ""
        if part.how == "done"
        else f"; {part.how}"
    )
    when = f"{part.begun_s:.1f} s to {part.ended_s:.1f} s of the run"
    date = f", from {part.begun_utc}" if part.begun_utc else ""
    yield "Played", said(f"issue {part.issue}{attempt}, {when}{date}{how}")
    if part.moves:
        yield "Moves", said(", ".join(part.moves))
    for one in part.signed:
        at = f", {one.at_utc}" if one.at_utc else ""
        yield one.role.capitalize(), said(f"{one.name}, initials ", strong(one.initials), at)
    for told in part.attempts:
        yield "Before", said(told)


def _claims(part: Part, where: Places) -> Table:
    """What the test is to show, and where that was seen, which may have been in another test."""
    columns = (Column("Claim", 4), Column("Verdict", 1.3), Column("Proof", 1.1), Column("Where", 6))
    own = {(one.of, one.aspect): step.number for step in part.steps for one in step.findings}
    places = {**where, **{key: (part.id, step) for key, step in own.items()}}
    groups = [Group(tuple(_claim(one, part, places) for one in part.claims))]
    if part.beside:
        head = said("Not claimed, but failed while the test went on")
        groups.append(Group(tuple(_claim(one, part, places) for one in part.beside), head))
    return Table(f"What {part.id} is to show", columns, tuple(groups))


def _claim(one: Finding, part: Part, places: Places) -> tuple[Cell, ...]:
    test, step = places.get((one.of, one.aspect), ("", 0))
    place = "" if not test else f"step {step}" if test == part.id else f"in {test}, step {step}"
    seen = "" if test == part.id and one.outcome is Outcome.PROVEN else seen_words(one)
    told = ": ".join(words for words in (place, seen) if words) or "by the run as a whole"
    return cell(one.name), outcome_cell(one.outcome), cell(str(one.proof)), cell(told)


def _step_groups(part: Part) -> Iterator[Group]:
    """A group for each step in which something was seen, the waits after it with it; steps in which
    nothing was stand together."""
    heads: list[str] = []
    rows: list[tuple[Cell, ...]] = []
    for step in part.steps:
        own = list(_rows(step, part))
        waits = step.words.startswith(WAIT) and not own
        if heads and not waits and (rows or own or len(heads) >= MOST_TOGETHER):
            yield Group(tuple(rows), said("\n".join(heads)))
            heads, rows = [], []
        heads.append(_head(step))
        rows += own
    if heads:
        yield Group(tuple(rows), said("\n".join(heads)))


def _head(step: StepRow) -> str:
    when = f"{step.at_s:.1f} s" + (f", {step.at_utc}" if step.at_utc else "")
    left = f" LEFT OUT: {step.left_out}" if step.left_out else ""
    return f"{step.number}. {step.words}{left} ({when}, {step.place})"


def _rows(step: StepRow, part: Part) -> Iterator[tuple[Cell, ...]]:
    for one in step.findings:
        yield (
            cell(one.name),
            cell(one.expected),
            cell(seen_words(one)),
            response_cell(one),
            outcome_cell(one.outcome),
            cell(str(one.proof)),
            cell(part.initials),
        )
    for look in step.looks:
        answer = "a person saw it so" if look.value else "a person saw it not so"
        asked = f"asked at {look.asked_s:.1f} s, answered at {look.answered_s:.1f} s"
        yield (
            cell(look.fact),
            cell("a person looks or listens"),
            cell(f"{answer}; {asked}"),
            cell(),
            cell("seen"),
            cell("witnessed"),
            cell(part.initials),
        )


def _drawings(part: Part, issue: Issue) -> Iterator[Figure]:
    view = issue.expected.view
    if not view.histories or part.ended_s <= part.begun_s:
        return
    marks = tuple(_marks(part.steps))
    event = Event(f"{part.id} {part.title}", part.begun_s, part.ended_s, marks, part.moves)
    for number, chart in enumerate(event_charts(issue.expected, event), 1):
        prefix = f"{part_id(part)}-{number}"
        yield Figure(chart_svg(chart, prefix=prefix), f"{chart.title}: as seen", chart.summary)


def _marks(steps: Sequence[StepRow]) -> Iterator[Mark]:
    """One mark an instant at which something was done, by the number of its first step."""
    telling = [step for step in steps if step.looks or not step.words.startswith(PASSIVE)]
    for at_s, some in groupby(telling, key=lambda step: step.at_s):
        told = list(some)
        yield Mark(at_s, told[0].number, tuple(step.words for step in told))
