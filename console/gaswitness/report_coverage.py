"""What was shown, at a glance: verdicts by kind, the matrix, each side of cells and levels, and
every verdict in full.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Final

from gaswitness.matrix_picture import MARKS, NO_CELL, NO_VERDICT, legend
from gaswitness.report_blocks import (
    Block,
    Cell,
    Column,
    Group,
    Paragraph,
    Section,
    Table,
    cell,
    lines,
    one_group,
    said,
    strong,
)
from gaswitness.report_data import Finding, Item, Part, Report
from gaswitness.report_words import TONES, outcome_cell
from gaswitness.summary import KIND_WORDS
from gaswitness.wording import OUTCOME_WORDS, response_words
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_sitefile.site import Site

Places = dict[tuple[str, str], tuple[str, int]]
"""Test and step in which each side of each verdict was seen."""
MOST_EFFECTS: Final = 26
"""Columns of the matrix on one sheet."""


def coverage(report: Report, site: Site) -> Section:
    """How many of each kind, the matrix, and each side of cells and levels with the test."""
    blocks: list[Block] = [_counts(report.items), *_matrix(report.items, site)]
    where = shown_in(report.parts)
    for kind, title in (
        (Kind.CELL, "Cell"),
        (Kind.LEVEL, "Alarm level"),
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
            if any((cause, one.tag) in cells for one in sheet)
        ]
        caption = "Cause and effect: causes down, effects across"
        yield Table(caption, columns, one_group(rows), turned=True)


def _mark(cell_id: str | None, outcomes: Mapping[str, Outcome]) -> Cell:
    if cell_id is None:
        return cell(NO_CELL)
    outcome = outcomes.get(cell_id)
    return cell(NO_VERDICT) if outcome is None else cell(MARKS[outcome], tone=TONES[outcome])


def shown_in(parts: Sequence[Part]) -> Places:
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
        Column(title, 3),
        *(Column(name) for name in names),
        Column("Verdict", 1.2),
        Column("Issue", 0.7),
    )
    rows = []
    for item in items:
        by_name = {one.aspect: one for one in item.findings}
        sides = (_side(by_name.get(name), where) for name in names)
        rows.append((cell(item.name), *sides, outcome_cell(item.outcome), cell(item.issue)))
    return Table(f"{title}s, and each side of them", columns, one_group(rows))


def _side(finding: Finding | None, where: Places) -> Cell:
    if finding is None:
        return cell(NO_VERDICT)
    test, _ = where.get((finding.of, finding.aspect), ("", 0))
    said_in = f" {test}" if test else ""
    return cell(f"{MARKS[finding.outcome]}{said_in}", tone=TONES[finding.outcome])


def verdicts(report: Report) -> Section:
    """Every verdict in full."""
    columns = (
        Column("What", 2.4),
        Column("Expected", 2.6),
        Column("Seen, and why", 4),
        Column("Response", 1.3),
        Column("Verdict", 1.3),
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
    table = Table("Every verdict in full", columns, tuple(groups))
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
