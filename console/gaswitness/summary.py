"""The summary of a run at a terminal: what matters most last, readable at 80 columns and in a pipe.

Pure but for the printing at the end. Colour only repeats what a word or a letter says.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Final

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gaswitness.about import AboutRun
from gaswitness.cautions import IN_SHORT
from gaswitness.matrix_picture import MARKS, legend, matrix_picture
from gaswitness.plan_states import counted, state_of
from gaswitness.plan_tests import HEADING, plan_lines
from gaswitness.unseen_words import unseen_headline, unseen_kinds, unseen_tail
from gaswitness.wording import (
    OUTCOME_WORDS,
    counts,
    counts_words,
    duration_words,
    response_words,
    shown,
)
from gaswitness_probe.shown_defects import ShownDefects
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome
from gaswitness_sitefile.site import Site

STYLES: Final = {
    Outcome.PROVEN: "green",
    Outcome.FAILED: "bold red",
    Outcome.INCONCLUSIVE: "yellow",
    Outcome.NOT_RUN: "dim",
}
KIND_WORDS: Final = {
    Kind.LINK: "link",
    Kind.POINT: "points",
    Kind.READING: "readings",
    Kind.FLAG: "flags",
    Kind.LEVEL: "alarm levels",
    Kind.CELL: "cells of the matrix",
    Kind.OUTPUT: "outputs",
    Kind.EXPECTATION: "own expectations",
}
MOST_NOT_RUN: Final = 12
DEEDS: Final = {"rehearse": "Rehearsal", "witness": "Witness run", "survey": "Survey"}


def print_summary(
    console: Console,
    verdicts: Sequence[Verdict],
    about: AboutRun,
    site: Site,
    map_defects: ShownDefects | None = None,
    tests: Sequence[PlanOutcome] = (),
) -> None:
    """Print it, `console.width` columns wide; in a pipe without blanks at the ends of lines."""
    with console.capture() as captured:
        for part in summary(verdicts, about, site, map_defects, tests, width=console.width):
            console.print(part)
    text = captured.get()
    console.file.write(text if console.is_terminal else re.sub(r" +$", "", text, flags=re.M))
    console.file.flush()


def summary(
    verdicts: Sequence[Verdict],
    about: AboutRun,
    site: Site,
    map_defects: ShownDefects | None = None,
    tests: Sequence[PlanOutcome] = (),
    *,
    width: int,
) -> Iterator[RenderableType]:
    """The parts of the summary, in order: what matters most last, where the eye is.

    `map_defects`: those that the run would have shown; None where nothing was played. `tests`:
    what became of those of a plan.
    """
    yield Text(_headline(about), style="bold")
    yield from _lists(verdicts, width)
    yield from _matrix(verdicts, site, width)
    yield Text(f"\n{legend()}")
    yield from _responses(verdicts, site)
    yield from _not_run(verdicts)
    yield from _unseen(map_defects)
    for outcome, title in (
        (Outcome.INCONCLUSIVE, "Inconclusive, and what would settle it"),
        (Outcome.FAILED, "Failed"),
    ):
        yield from _particulars(verdicts, outcome, title)
    yield from _plan(tests)
    yield from _remarks(about)
    yield Text("")
    yield _counts_table(verdicts)
    yield Text(f"\nCaution: {IN_SHORT}", style="dim")
    yield Text(f"\n{conclusion(verdicts, about, tests)}", style="bold")


def _headline(about: AboutRun) -> str:
    low, high = about.span_s
    parts = [f"{DEEDS.get(about.command, about.command)} of {about.panel} over {about.link}"]
    if about.scripts:
        parts.append(f"{len(about.scripts)} script{'s' if len(about.scripts) > 1 else ''}")
    parts.append(f"{duration_words(high - low)} of panel time")
    if about.seed is not None:
        parts.append(f"seed {about.seed}")
    return shown(", ".join(parts))


def _table(*headings: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for at, heading in enumerate(headings):
        table.add_column(heading, justify="left" if at == 0 else "right", no_wrap=at > 0)
    return table


def _counts_table(verdicts: Sequence[Verdict]) -> RenderableType:
    table = _table("", *OUTCOME_WORDS.values())
    for kind in Kind:
        of_kind = [verdict for verdict in verdicts if verdict.kind is kind]
        if of_kind:
            table.add_row(KIND_WORDS[kind], *_numbers(of_kind))
    table.add_row("all", *_numbers(verdicts))
    return Padding(table, (0, 0, 0, 2))


def _numbers(verdicts: Sequence[Verdict]) -> list[Text]:
    return [
        Text(str(number), style=STYLES[outcome] if number else "")
        for outcome, number in counts(verdicts).items()
    ]


def _lists(verdicts: Sequence[Verdict], width: int) -> Iterator[RenderableType]:
    for kind in Kind:
        of_kind = [verdict for verdict in verdicts if verdict.kind is kind]
        if of_kind and kind is not Kind.CELL:
            yield Text(f"\n{KIND_WORDS[kind].capitalize()}", style="bold")
            yield _marked(of_kind, width)


def _marked(verdicts: Sequence[Verdict], width: int) -> RenderableType:
    """Every verdict with its mark, down the columns as in a directory."""
    names = [shown(verdict.id.removeprefix(f"{verdict.kind}/")) for verdict in verdicts]
    column = max(len(name) for name in names) + 4
    columns = max(1, (width - 2) // column)
    rows = -(-len(names) // columns)
    text = Text()
    for row in range(rows):
        text.append(" ")
        for at in range(row, len(names), rows):
            outcome = verdicts[at].outcome
            text.append(f" {MARKS[outcome]}", style=STYLES[outcome])
            text.append(
                f" {names[at]:<{column - 3}}" if at + rows < len(names) else f" {names[at]}"
            )
        text.append("\n" if row + 1 < rows else "")
    return text


def _cells(verdicts: Sequence[Verdict]) -> dict[str, Verdict]:
    prefix = f"{Kind.CELL}/"
    return {v.id.removeprefix(prefix): v for v in verdicts if v.kind is Kind.CELL}


def _matrix(verdicts: Sequence[Verdict], site: Site, width: int) -> Iterator[RenderableType]:
    of_cells = _cells(verdicts)
    picture = matrix_picture(site, {name: v.outcome for name, v in of_cells.items()}, width)
    if of_cells and picture:
        yield Text("\nCause and effect: causes down, effects across", style="bold")
        yield Text(picture, no_wrap=True)


def _responses(verdicts: Sequence[Verdict], site: Site) -> Iterator[RenderableType]:
    of_cells = _cells(verdicts)
    rows = [
        (cell.id, response_words(of_cells[cell.id].response_s), cell.on_delay_s + cell.response_s)
        for cell in site.matrix
        if cell.id in of_cells and of_cells[cell.id].response_s is not None
    ]
    if not rows:
        return
    table = _table("", "measured", "at most")
    for name, measured, at_most_s in rows:
        table.add_row(Text(name), measured, f"{at_most_s:g} s")
    yield Text("\nResponse, from cause to effect", style="bold")
    yield Padding(table, (0, 0, 0, 2))


def _particulars(
    verdicts: Sequence[Verdict], outcome: Outcome, title: str
) -> Iterator[RenderableType]:
    found = [verdict for verdict in verdicts if verdict.outcome is outcome]
    if not found:
        return
    yield Text(f"\n{title}", style=STYLES[outcome])
    for verdict in found:
        yield Group(Text(f"  {shown(verdict.id)}", style="bold"), _reasons(verdict, outcome))


def _reasons(verdict: Verdict, outcome: Outcome) -> RenderableType:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    response = response_words(verdict.response_s)
    lines = [
        ("expected", verdict.expected),
        ("seen", verdict.seen),
        ("response", response),
        ("because", verdict.because),
    ]
    said = {verdict.because}
    for aspect in verdict.aspects:
        words = _aspect_words(aspect)
        if aspect.outcome is outcome and words not in said:
            lines.append((aspect.name, words))
            said.add(words)
    for name, words in lines:
        if words:
            grid.add_row(Text(name), Text(shown(words)))
    return Padding(grid, (0, 0, 0, 4))


def _aspect_words(aspect: Aspect) -> str:
    return aspect.because or aspect.seen or aspect.expected


def _not_run(verdicts: Sequence[Verdict]) -> Iterator[RenderableType]:
    found = [verdict for verdict in verdicts if verdict.outcome is Outcome.NOT_RUN]
    if not found:
        return
    yield Text("\nNot run", style="bold")
    if len(found) > MOST_NOT_RUN:
        words = f"{len(found)}, marked {MARKS[Outcome.NOT_RUN]} above: nothing called for them"
        yield Padding(Text(words), (0, 0, 0, 2))
        return
    for verdict in found:
        because = f": {verdict.because}" if verdict.because else ""
        yield Padding(Text(shown(f"{verdict.id}{because}")), (0, 0, 0, 2))


def _unseen(map_defects: ShownDefects | None) -> Iterator[RenderableType]:
    if map_defects is None:
        return
    yield Text("\nWhat this run could not have seen", style="bold")
    yield Padding(Text(unseen_headline(map_defects)), (0, 0, 0, 2))
    for words in unseen_kinds(map_defects):
        yield Padding(Text(words), (0, 0, 0, 4))
    tail = unseen_tail(map_defects)
    if tail:
        yield Padding(Text(tail), (0, 0, 0, 2))


def _plan(tests: Sequence[PlanOutcome]) -> Iterator[RenderableType]:
    if tests:
        yield Text(f"\n{HEADING}", style="bold")
        for line in plan_lines(tests):
            yield Padding(Text(line), (0, 0, 0, 2))


def _remarks(about: AboutRun) -> Iterator[RenderableType]:
    remarks = [f"stopped early: {about.stopped}"] if about.stopped else []
    remarks += about.remarks
    if remarks:
        yield Text("\nRemarks", style="bold")
        yield Padding(Text(shown("\n".join(remarks))), (0, 0, 0, 2))


def conclusion(
    verdicts: Sequence[Verdict], about: AboutRun, tests: Sequence[PlanOutcome] = ()
) -> str:
    """The outcome in one line. `tests`: those of the plan; all is proven only where they are."""
    number = counts(verdicts)
    left = sum(test.outcome is not Outcome.PROVEN for test in tests)
    states = counted(state_of(one.outcome, one.test.how) for one in tests)
    of_plan = f"; of {len(tests)} tests of the plan {states}" if left else ""
    if number[Outcome.FAILED]:
        return f"FAILED: {counts_words(verdicts)}{of_plan}"
    unsettled = number[Outcome.INCONCLUSIVE] or number[Outcome.NOT_RUN]
    if unsettled or left or not verdicts or about.stopped:
        return f"NOT PROVEN: {counts_words(verdicts)}{of_plan}"
    return f"ALL PROVEN, as {_proofs(verdicts)}: {len(verdicts)} of {len(verdicts)}"


def _proofs(verdicts: Sequence[Verdict]) -> str:
    witnessed = sum(verdict.proof == "witnessed" for verdict in verdicts)
    if not witnessed:
        return "the panel reports it"
    return f"the panel reports it, and a person witnessed {witnessed}"
