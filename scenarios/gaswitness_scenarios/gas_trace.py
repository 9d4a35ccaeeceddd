"""Recorded gas: a CSV file with the columns time_s and level, read and checked with places."""

import csv
from math import isfinite
from pathlib import Path

from gaswitness_scenarios.gas_profile import Recorded
from gaswitness_sitefile.document import decoded
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem, one_of
from gaswitness_sitefile.source_file import SourceFile, read_source

COLUMNS = ("time_s", "level")
Row = tuple[int, list[str]]
"""A line's number, and its cells."""


def read_trace(path: Path, name: str, asked_at: Place) -> tuple[Recorded, SourceFile]:
    """Read a trace; `name` is as the script writes it, in `asked_at`.

    A semicolon separates where the header has one, and then a decimal comma may stand. Raises
    SiteFileError with every bad row.
    """
    source = read_source(path, name, "recorded trace", asked_at)
    text = decoded(source.content, str(path), "recorded trace")
    delimiter = ";" if ";" in text.partition("\n")[0] else ","
    reader = csv.reader(text.splitlines(), delimiter=delimiter)
    rows = [
        (reader.line_num, [cell.strip() for cell in cells])
        for cells in reader
        if any(cell.strip() for cell in cells)
    ]
    if len(rows) < 2:
        raise SiteFileError(
            [
                Problem(
                    Place(str(path), 1, 1),
                    "the trace has no rows",
                    "write a header time_s,level and rows beneath it",
                )
            ]
        )
    columns = _columns(rows[0], str(path))
    times, levels, problems = _points(rows[1:], columns, str(path), comma=delimiter == ";")
    if problems:
        raise SiteFileError(problems)
    return Recorded(source.name, tuple(times), tuple(levels)), source


def _columns(header: Row, file: str) -> tuple[int, int]:
    line, cells = header
    problems = [
        Problem(Place(file, line, at + 1), f"column '{cell}' is not known", one_of(cell, COLUMNS))
        for at, cell in enumerate(cells)
        if cell not in COLUMNS
    ]
    problems += [
        Problem(Place(file, line, 1), f"the column {name} is missing", "write time_s,level on top")
        for name in COLUMNS
        if name not in cells
    ]
    if problems:
        raise SiteFileError(problems)
    return cells.index("time_s"), cells.index("level")


def _points(
    rows: list[Row], columns: tuple[int, int], file: str, *, comma: bool
) -> tuple[list[float], list[float], list[Problem]]:
    times: list[float] = []
    levels: list[float] = []
    problems: list[Problem] = []
    for line, cells in rows:
        found: list[float] = []
        for name, at in zip(COLUMNS, columns, strict=True):
            text = cells[at] if at < len(cells) else ""
            number = _number(text.replace(",", ".") if comma else text)
            if number is None:
                what = f"{name} '{text[:40]}' is not a number" if text else f"{name} is missing"
                problems.append(Problem(Place(file, line, at + 1), what, "write a number"))
            else:
                found.append(number)
        if len(found) < len(COLUMNS):
            continue
        if found[0] < 0 or (times and found[0] <= times[-1]):
            problems.append(
                Problem(
                    Place(file, line, columns[0] + 1),
                    f"time_s {found[0]:g} does not come after the row above",
                    "write times that rise from 0 or later",
                )
            )
            continue
        times.append(found[0])
        levels.append(found[1])
    return times, levels, problems


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if isfinite(number) else None
