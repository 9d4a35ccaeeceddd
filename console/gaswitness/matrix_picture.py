"""The cause-and-effect matrix as a picture of verdicts in plain text: causes down, effects across.

Pure. Marks are letters, so that the picture means the same without colour.
"""

import textwrap
from collections.abc import Mapping, Sequence
from typing import Final

from gaswitness_probe.verdict import Outcome
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.site import Site

MARKS: Final = {
    Outcome.PROVEN: "P",
    Outcome.FAILED: "F",
    Outcome.INCONCLUSIVE: "?",
    Outcome.NOT_RUN: "o",
}
NO_CELL: Final = "."
NO_VERDICT: Final = "-"
WIDEST_CAUSE: Final = 34
NARROWEST_CAUSE: Final = 22


def matrix_picture(site: Site, outcome_of: Mapping[str, Outcome], width: int = 80) -> str:
    """The picture, no line wider than `width` columns; empty for a site without a matrix.

    `outcome_of` has the outcomes by cell id. Too many effects for one sheet go on further ones.
    """
    if not site.matrix:
        return ""
    effects = [out.tag for out in site.outputs if site.cells_of[out.tag]]
    causes = list(dict.fromkeys(cell.cause for cell in site.matrix))
    column = max(2, len(str(len(effects)))) + 1
    longest = min(max(len(cause) for cause in causes), WIDEST_CAUSE)
    cause_width = min(longest, max(NARROWEST_CAUSE, width - 2 - column * len(effects)))
    at_once = max(1, (width - 2 - cause_width) // column)
    cells = {(cell.cause, cell.effect): cell for cell in site.matrix}
    numbered = [(str(n), effect) for n, effect in enumerate(effects, 1)]
    sheets = [
        _sheet(causes, numbered[at : at + at_once], cells, outcome_of, (cause_width, column))
        for at in range(0, len(numbered), at_once)
    ]
    return "\n\n".join([*sheets, _effects(site, numbered, width)])


def legend() -> str:
    """What the marks mean."""
    return "P proven   F failed   ? inconclusive   o not run   - no verdict   . no cell"


def _sheet(
    causes: Sequence[str],
    effects: Sequence[tuple[str, str]],
    cells: Mapping[tuple[str, str], Cell],
    outcome_of: Mapping[str, Outcome],
    widths: tuple[int, int],
) -> str:
    cause_width, column = widths
    lines = [" " * (cause_width + 2) + "".join(number.rjust(column) for number, _ in effects)]
    for cause in causes:
        if not any((cause, effect) in cells for _, effect in effects):
            continue
        marks = [_mark(cells.get((cause, effect)), outcome_of) for _, effect in effects]
        label, *more = textwrap.wrap(cause, cause_width, break_on_hyphens=False)
        lines.append(f"  {label:<{cause_width}}" + "".join(mark.rjust(column) for mark in marks))
        lines += [f"    {rest}" for rest in more]
    return "\n".join(line.rstrip() for line in lines)


def _mark(cell: Cell | None, outcome_of: Mapping[str, Outcome]) -> str:
    if cell is None:
        return NO_CELL
    outcome = outcome_of.get(cell.id)
    return NO_VERDICT if outcome is None else MARKS[outcome]


def _effects(site: Site, numbered: Sequence[tuple[str, str]], width: int) -> str:
    widest = len(numbered[-1][0])
    lines = []
    for number, tag in numbered:
        output = site.output_of[tag]
        text = f"{number:>{widest}}  {tag}  {output.name or output.kind}"
        lines += textwrap.wrap(
            text, width, initial_indent="  ", subsequent_indent=" " * (widest + 4)
        )
    return "\n".join(lines)
