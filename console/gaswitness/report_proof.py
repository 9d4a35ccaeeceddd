"""What was shown: the coverage of the matrix, the tests with their steps and drawings, all
verdicts.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Final

from gaswitness.chart import Mark
from gaswitness.chart_svg import chart_svg
from gaswitness.matrix_picture import MARKS, NO_CELL, NO_VERDICT, legend
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
    lines,
    one_group,
    said,
    strong,
)
from gaswitness.report_chart import Event, event_charts
from gaswitness.report_data import Finding, Item, Part, Report, StepRow
from gaswitness.report_issues import Issue
from gaswitness.report_parts import PASSIVE, WAIT
from gaswitness.report_words import TONES, instant, outcome_cell, response_cell, seen_words
from gaswitness.summary import KIND_WORDS
from gaswitness.wording import OUTCOME_WORDS, duration_words, response_words
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_sitefile.site import Site

STEP_COLUMNS: Final = (
    Column("What", 2.4),
    Column("Expected", 2.6),
    Column("Seen", 3.4),
    Column("Response", 1.3),
    Column("Verdict", 1.1),
    Column("Proof", 1.0),
    Column("Initials", 0.9),
)
Places = dict[tuple[str, str], tuple[str, int]]
"""Test and step in which each side of each verdict was seen."""
MOST_EFFECTS: Final = 18
"""Columns of the matrix on one sheet."""


def coverage(report: Report, site: Site) -> Section:
    """How many of each kind, the matrix, and each side of cells and levels with the test."""
    blocks: list[Block] = [_counts(report.items), *_matrix(report.items, site)]
    where = _shown_in(report.parts)
    for kind, title in (
        (Kind.CELL, "Cells, side by side"),
        (Kind.LEVEL, "Alarm levels, side by side"),
    ):
        items = [item for item in report.items if item.kind is kind]
        if items:
            blocks.append(_sides(title, items, where))
    blocks.append(Paragraph(said(f"Marks: {legend().replace('   ', ', ')}.")))
    return Section("coverage", "Coverage", tuple(blocks), wide=True)


def _counts(items: Sequence[Item]) -> Table:
    columns = (Column("Kind", 2), *(Column(word, numbers=True) for word in OUTCOME_WORDS.values()))
    rows = []
    for kind in Kind:
        told = [item.outcome for item in items if item.kind is kind]
        if told:
            numbers = (cell(str(told.count(outcome))) for outcome in Outcome)
            rows.append((cell(KIND_WORDS[kind]), *numbers))
    told = [item.outcome for item in items]
    rows.append((cell(strong("all")), *(cell(str(told.count(outcome))) for outcome in Outcome)))
    return Table("Verdicts by kind", columns, one_group(rows))


def _matrix(items: Sequence[Item], site: Site) -> Iterator[Table]:
    outcomes = {item.name: item.outcome for item in items if item.kind is Kind.CELL}
    effects = [output for output in site.outputs if site.cells_of[output.tag]]
    causes = list(dict.fromkeys(one.cause for one in site.matrix))
    cells = {(one.cause, one.effect): one.id for one in site.matrix}
    for at in range(0, len(effects), MOST_EFFECTS):
        sheet = effects[at : at + MOST_EFFECTS]
        columns = (
            Column("Cause", 3),
            *(Column(f"{output.tag} {output.name or output.kind}") for output in sheet),
        )
        rows = [
            (cell(cause), *(_mark(cells.get((cause, one.tag)), outcomes) for one in sheet))
            for cause in causes
        ]
        caption = "Cause and effect: causes down, effects across"
        yield Table(caption, columns, one_group(rows), turned=True)


def _mark(cell_id: str | None, outcomes: Mapping[str, Outcome]) -> Cell:
    if cell_id is None:
        return cell(NO_CELL)
    outcome = outcomes.get(cell_id)
    return cell(NO_VERDICT) if outcome is None else cell(MARKS[outcome], tone=TONES[outcome])


def _shown_in(parts: Sequence[Part]) -> Places:
    """In which test or script, and in which step, each side was seen."""
    return {
        (finding.of, finding.aspect): (part.id, step.number)
        for part in parts
        for step in part.steps
        for finding in step.findings
    }


def _sides(title: str, items: Sequence[Item], where: Places) -> Table:
    """Which sides of each thing were shown, and where."""
    names = list(dict.fromkeys(one.aspect for item in items for one in item.findings))
    columns = (
        Column("", 3),
        *(Column(name) for name in names),
        Column("Verdict"),
        Column("Issue", 0.7),
    )
    rows = []
    for item in items:
        by_name = {one.aspect: one for one in item.findings}
        sides = (_side(by_name.get(name), where) for name in names)
        rows.append((cell(item.name), *sides, outcome_cell(item.outcome), cell(item.issue)))
    return Table(title, columns, one_group(rows))


def _side(finding: Finding | None, where: Places) -> Cell:
    if finding is None:
        return cell(NO_VERDICT)
    test, _ = where.get((finding.of, finding.aspect), ("", 0))
    said_in = f" {test}" if test else ""
    return cell(f"{MARKS[finding.outcome]}{said_in}", tone=TONES[finding.outcome])


def tests(report: Report, issues: Sequence[Issue]) -> Section:
    """Every test with its steps and drawings; a list of them first."""
    by_name = {issue.name: issue for issue in issues}
    planned = any(part.planned for part in report.parts)
    title = "Tests" if planned else "Scripts"
    if not report.parts:
        words = "No test or script was played: the register map alone was surveyed."
        return Section("tests", title, (Paragraph(said(words)),))
    where = _shown_in(report.parts)
    inner = (_part(part, by_name[part.issue], where) for part in report.parts)
    return Section("tests", title, (_list(report.parts), *inner), wide=True)


def part_id(part: Part) -> str:
    """What links to a test lead to."""
    return "test-" + "".join(c if c.isalnum() else "-" for c in part.id)


def _list(parts: Sequence[Part]) -> Table:
    columns = (
        Column("Test", 1.2),
        Column("Title", 3),
        Column("Verdict", 0.9),
        Column("Because", 4),
        Column("Begun", 1.6),
        Column("Took", 0.9),
        Column("Issue", 0.7),
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
    columns = (Column("Claim", 4), Column("Verdict", 1), Column("Proof", 1), Column("Where", 6))
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
    """A group for each step, waits with the step before: they are what it was waited for."""
    heads: list[str] = []
    rows: list[tuple[Cell, ...]] = []
    for step in part.steps:
        if heads and not step.words.startswith(WAIT):
            yield Group(tuple(rows), said("\n".join(heads)))
            heads, rows = [], []
        heads.append(_head(step))
        rows += _rows(step, part)
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


def verdicts(report: Report) -> Section:
    """Every verdict in full."""
    columns = (
        Column("What", 2.4),
        Column("Expected", 2.6),
        Column("Seen, and why", 4),
        Column("Response", 1.3),
        Column("Verdict", 1),
        Column("Proof", 0.9),
        Column("Issue", 0.7),
        Column("Earlier", 1.2),
    )
    groups = [
        Group(tuple(_verdict(item) for item in items), said(KIND_WORDS[kind]))
        for kind, items in ((k, list(some)) for k, some in groupby(report.items, lambda i: i.kind))
    ]
    words = (
        "Reported: the panel says so over the link. Witnessed: a person looked or listened. "
        "Earlier: what issues before made of it."
    )
    table = Table("All verdicts", columns, tuple(groups))
    return Section("verdicts", "All verdicts", (Paragraph(said(words)), table), wide=True)


def _verdict(item: Item) -> tuple[Cell, ...]:
    earlier = [
        f"{one.issue}: {OUTCOME_WORDS[one.outcome]}"
        for one in item.history
        if one.issue != item.issue
    ]
    good = item.outcome is Outcome.PROVEN
    told = (item.seen or item.because) if good else (item.because or item.seen)
    return (
        cell(item.name),
        cell(item.expected),
        cell(told),
        cell(response_words(item.response_s)),
        outcome_cell(item.outcome),
        cell(str(item.proof)),
        cell(item.issue),
        lines(*earlier),
    )
