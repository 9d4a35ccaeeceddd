"""What the runs could not have seen: defects of the map that nothing in any of them shows."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from gaswitness.report_blocks import (
    Block,
    Cell,
    Column,
    Paragraph,
    Section,
    Table,
    cell,
    one_group,
    said,
)
from gaswitness.report_data import Report
from gaswitness.report_issues import Issue
from gaswitness.unseen_words import unseen_headline
from gaswitness_probe.shown_defects import NotShown, ShownDefects, shown_defects

TITLE: Final = "What could not have been seen"
MOST_PLACES: Final = 6
COLUMNS: Final = (Column("Defect", 2.4), Column("Number", 1, numbers=True), Column("Where", 3))


def unseen_of(issues: Sequence[Issue]) -> ShownDefects | None:
    """Over all issues: what one of them shows is shown. None where nothing was played.

    Why a defect of the newest site file was not shown is said by the oldest issue that knows it,
    which played the most.
    """
    played = (one for one in issues if one.run.scripts and one.run.of("polling"))
    found = [shown_defects(issue.expected) for issue in played]
    if not found:
        return None
    newest = found[-1]
    shown = dict.fromkeys(key for one in found for key in one.shown)
    why = {_key(one): one for each in reversed(found) for one in each.not_shown}
    known = (*newest.shown, *map(_key, newest.not_shown))
    return ShownDefects(
        tuple(key for key in known if key in shown),
        tuple(why[key] for key in map(_key, newest.not_shown) if key not in shown),
        newest.alike,
    )


def _key(one: NotShown) -> tuple[str, str]:
    return one.kind, one.place


def unseen(report: Report) -> Section:
    """Every defect that would not have been failed, by kind; those that nothing tells apart."""
    found = report.map_defects
    if found is None:
        words = "Nothing was played: what the survey of the map cannot see was not weighed."
        return Section("unseen", TITLE, (Paragraph(said(words)),))
    blocks: list[Block] = [Paragraph(said(unseen_headline(found)))]
    if found.not_shown:
        reasons = (Column("Why it was not shown", 3), Column("What shows it", 3))
        rows = [
            _row(same, _of_each(same, one.because), _of_each(same, one.remedy))
            for same, one in _by_kind(found.not_shown)
        ]
        blocks.append(Table("Not shown to be absent", (*COLUMNS, *reasons), one_group(rows)))
    if found.alike:
        reason = Column("Why nothing tells it from a good panel", 6)
        rows = [_row(same, one.because) for same, one in _by_kind(found.alike)]
        blocks.append(Table("What no test can tell", (*COLUMNS, reason), one_group(rows)))
    return Section("unseen", TITLE, tuple(blocks), wide=True)


def _by_kind(told: Sequence[NotShown]) -> Iterator[tuple[list[NotShown], NotShown]]:
    """Those that say the same, together, and the first of them: the most first."""
    ordered = sorted(told, key=_alike)
    groups = [list(some) for _, some in groupby(ordered, key=_alike)]
    for same in sorted(groups, key=lambda some: -len(some)):
        yield same, same[0]


def _alike(one: NotShown) -> tuple[str, str, str]:
    """What it says, but for the place that it speaks of."""
    return one.kind, _placeless(one, one.because), _placeless(one, one.remedy)


def _placeless(one: NotShown, words: str) -> str:
    """The words with `each` where they name the place or what it belongs to."""
    return words.replace(one.place, "each").replace(one.place.split(" ")[0], "each")


def _of_each(same: Sequence[NotShown], words: str) -> str:
    return _placeless(same[0], words) if len(same) > 1 else words


def _row(same: Sequence[NotShown], *words: str) -> tuple[Cell, ...]:
    places = [one.place for one in same[:MOST_PLACES]]
    if len(same) > MOST_PLACES:
        places.append(f"and {len(same) - MOST_PLACES} more, in report.json")
    number = cell(str(len(same)))
    return cell(same[0].kind), number, cell(", ".join(places)), *map(cell, words)
