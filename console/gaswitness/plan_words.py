"""What is said of a plan in words: at its head, and at a terminal. No layout."""

import textwrap
from collections.abc import Iterable, Iterator

from gaswitness.cautions import IN_SHORT
from gaswitness_scenarios.plan import Plan
from gaswitness_scenarios.plan_report import PlanFigures, open_by_reason
from gaswitness_scenarios.plan_wanted import Want

MOST_NAMED = 6
"""Cells named for one reason."""


def minutes(seconds: float) -> str:
    """In whole minutes, or hours and minutes."""
    whole = round(seconds / 60)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"


def about_plan(plan: Plan, found: PlanFigures) -> str:
    """The words at the head of the script."""
    lines = [
        f"Written by gaswitness plan from the matrix and points list of {plan.site.panel.tag}.",
        f"{found.tests} tests, {minutes(found.length_s)} at the panel, {found.applications} gas "
        f"applications, {minutes(found.gas_s)} of gas time.",
        "Every test begins and ends with a panel at rest: leave out, move or add as you need.",
        f"Caution: {IN_SHORT}",
    ]
    return "\n".join(part for line in lines for part in textwrap.wrap(line, 96))


def cost_words(found: PlanFigures) -> Iterator[str]:
    """Tests, steps, applications, hours, and what the gas time is measured against."""
    yield (
        f"{found.tests} tests, {found.steps} steps, {found.claims} claims. Expected "
        f"{minutes(found.length_s)} at the panel, a person's hands and walks aside."
    )
    yield f"{found.applications} gas applications, {minutes(found.gas_s)} of gas time."
    if found.bound_s:
        yield (
            f"No plan can have less than {minutes(found.bound_s)} ({found.bound_words}): this one "
            f"has {found.gas_s / found.bound_s:.1f} times that."
        )
    if found.gas_s and found.naive_s:
        yield (
            f"Each kind of each cell alone, one after the other: {minutes(found.naive_s)} of gas "
            f"time and {found.naive_applications} applications, "
            f"{found.naive_s / found.gas_s:.0f} times as much."
        )


def open_words(found: PlanFigures) -> Iterator[str]:
    """What is not planned, and why."""
    for why, wants in open_by_reason(found.open).items():
        yield f"not planned, {_named(wants)}: {why}"


def _named(wants: Iterable[Want]) -> str:
    by_cell: dict[str, list[str]] = {}
    for want in wants:
        by_cell.setdefault(want.cell.id, []).append(want.kind)
    named = [f"{cell} ({' '.join(kinds)})" for cell, kinds in by_cell.items()]
    more = len(named) - MOST_NAMED
    return ", ".join(named[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def conclusion(found: PlanFigures) -> str:
    """The last line."""
    if found.open:
        return (
            f"{found.shown} OF {len(found.wants)} KINDS OF CELLS ARE PLANNED: "
            f"{len(found.open)} ARE NOT"
        )
    return f"EVERY KIND OF EVERY CELL IS PLANNED: {found.shown}"
