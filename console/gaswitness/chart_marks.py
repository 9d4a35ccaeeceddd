"""The numbers of what happened, above a chart, and the list that tells what they stand for."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness import svg
from gaswitness.chart import Mark
from gaswitness.chart_frame import EDGE, INK, LEFT, ROW, SMALL, WIDTH, Frame
from gaswitness.chart_scale import time_text

LANE: Final = 20.0
ROUND: Final = 9.0
MOST_LANES: Final = 3
COLUMNS: Final = 2
WHEN: Final = 100.0
"""Room in a row of the list for number and time."""


@dataclass(slots=True)
class _Badge:
    """Marks too close to each other for a number each."""

    first: Mark
    last: Mark
    left: float
    lane: int = 0

    @property
    def text(self) -> str:
        alone = self.first.number == self.last.number
        return str(self.first.number) if alone else f"{self.first.number}\u2013{self.last.number}"

    @property
    def right(self) -> float:
        return self.left + max(2 * ROUND, svg.width_of(self.text, SMALL) + 8)


def draw_marks(marks: Sequence[Mark], frame: Frame, top: float) -> tuple[list[str], float]:
    """Numbers from `top` down, and how high they are together. Lines to them are not drawn here."""
    badges = _badges(marks, frame)
    shapes = []
    for badge in badges:
        y = top + badge.lane * LANE
        wide = badge.right - badge.left
        shapes.append(
            svg.rect(
                badge.left, y, wide, 2 * ROUND, rx=ROUND, fill="#ffffff", stroke=INK, stroke_width=1
            )
        )
        middle = badge.left + wide / 2
        shapes.append(svg.text(middle, y + 13, badge.text, SMALL, text_anchor="middle"))
    lanes = 1 + max((badge.lane for badge in badges), default=-1)
    return shapes, lanes * LANE


def _badges(marks: Sequence[Mark], frame: Frame) -> list[_Badge]:
    """One badge a mark; where all lanes are taken, the mark joins the badge before it."""
    badges: list[_Badge] = []
    free = [LEFT - 60.0] * MOST_LANES
    for mark in marks:
        badge = _Badge(mark, mark, frame.x(mark.at_s))
        badge.left -= (badge.right - badge.left) / 2
        lane = next((n for n in range(MOST_LANES) if badge.left >= free[n] + 2), None)
        if lane is None:
            badge = badges[-1]
            badge.last = mark
            lane = badge.lane
        else:
            badge.lane = lane
            badges.append(badge)
        free[lane] = badge.right
    return badges


def draw_list(marks: Sequence[Mark], top: float) -> tuple[list[str], float]:
    """What each number stands for, in columns, and how high the list is."""
    column = (WIDTH - 2 * EDGE) / COLUMNS
    rows = [row for mark in marks for row in _rows(mark, column - WHEN - 12)]
    if not rows:
        return [], 0.0
    half = -(-len(rows) // COLUMNS)
    while half < len(rows) and not rows[half][0]:
        half += 1  # no mark's text goes on in the next column
    shapes = [svg.text(EDGE, top + 12, "What happened", 12, font_weight="bold")]
    for at, (number, when, said) in enumerate(rows):
        x = EDGE + column * (at // half)
        y = top + 14 + ROW * (at % half + 1)
        if number:
            shapes.append(svg.text(x + 24, y, number, SMALL, text_anchor="end", font_weight="bold"))
            shapes.append(svg.text(x + WHEN - 8, y, when, SMALL, text_anchor="end"))
        shapes.append(svg.text(x + WHEN, y, said, SMALL))
    return shapes, 20 + ROW * half


def _rows(mark: Mark, width: float) -> list[tuple[str, str, str]]:
    most = int(width / (SMALL * svg.CHARACTER))
    lines = [row for said in mark.lines for row in textwrap.wrap(said, most) or [""]]
    when = time_text(mark.at_s, tenths=True)
    return [(str(mark.number), when, lines[0]), *(("", "", one) for one in lines[1:])]
