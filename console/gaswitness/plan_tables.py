"""A plan at a terminal: what it takes, its tests, what it covers, what it cannot show.

Layout only. Readable at 80 columns and in a pipe.
"""

import re
from collections.abc import Iterator
from pathlib import Path

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gaswitness.cautions import IN_SHORT
from gaswitness.paragraphs import paragraphs, plain_table, titled
from gaswitness.plan_coverage import coverage_picture
from gaswitness.plan_words import conclusion, cost_words, open_words
from gaswitness_scenarios.plan import Plan
from gaswitness_scenarios.plan_report import PlanFigures


def print_plan(console: Console, plan: Plan, found: PlanFigures, out: Path | None) -> None:
    """Print it, `console.width` columns wide; in a pipe without blanks at the ends of lines."""
    with console.capture() as captured:
        for part in _parts(console, plan, found, out):
            console.print(part)
    text = captured.get()
    console.file.write(text if console.is_terminal else re.sub(r" +$", "", text, flags=re.M))
    console.file.flush()


def _parts(
    console: Console, plan: Plan, found: PlanFigures, out: Path | None
) -> Iterator[RenderableType]:
    yield Text(f"Plan of the test of {plan.site.panel.tag}", style="bold")
    yield Padding(paragraphs(cost_words(found)), (1, 0, 0, 2))
    yield from titled("Tests", _tests(plan))
    picture = coverage_picture(plan.site, found.wants, min(console.width, 100))
    if picture:
        yield from titled("Coverage", Text(picture, no_wrap=True))
    notes = [*open_words(found), *found.unprovable]
    if notes:
        yield from titled("Notes", paragraphs(notes))
    yield Text(f"\nCaution: {IN_SHORT}", style="dim")
    if out is None:
        yield Text("\nNothing was written: -o FILE.yaml writes the plan as a script.")
    else:
        yield Text(f"\nWritten to {out}: edit it, then gaswitness rehearse SITE --script {out}")
    yield Text(f"\n{conclusion(found)}", style="bold")


def _tests(plan: Plan) -> Table:
    table = plain_table("test", "what", "min", "gas min", "gas on", left=2)
    for test in plan.tests:
        table.add_row(
            test.id,
            test.title,
            f"{test.length_s / 60:.1f}",
            f"{test.gas_s / 60:.1f}" if test.gas_s else "",
            str(test.applications) if test.applications else "",
        )
    return table
