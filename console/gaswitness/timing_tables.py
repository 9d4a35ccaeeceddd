"""What polling takes and what it can prove, at a terminal: requests, age, cells, conclusion last.

Layout only; words come from `timing_words`. Readable at 80 columns and in a pipe.
"""

import re
from collections.abc import Iterable, Iterator

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gaswitness.cautions import TIMING
from gaswitness.paragraphs import paragraphs, plain_table, titled
from gaswitness.timing_words import (
    allowance_words,
    conclusion,
    cycle_words,
    dwell_words,
    measured_words,
    milliseconds,
    other_words,
    seconds,
    sure_at_words,
)
from gaswitness_probe.provable import Chance, Provable, Provables
from gaswitness_probe.timing import PollTimes, Request
from gaswitness_scenarios.measure import Measured, Spread
from gaswitness_sitefile.link_address import LinkAddress


def print_timing(
    console: Console, found: Provables, link: LinkAddress | None, measured: Measured | None
) -> None:
    """Print it, `console.width` columns wide; in a pipe without blanks at the ends of lines."""
    with console.capture() as captured:
        for part in _parts(found, link, measured):
            console.print(part)
    text = captured.get()
    console.file.write(text if console.is_terminal else re.sub(r" +$", "", text, flags=re.M))
    console.file.flush()


def _parts(
    found: Provables, link: LinkAddress | None, measured: Measured | None
) -> Iterator[RenderableType]:
    times = found.times
    over = "a network" if link is None else str(link)
    yield Text(f"Polling {times.site.panel.tag} over {over}", style="bold")
    yield from titled("Requests", _requests(times))
    yield from _below([cycle_words(times), allowance_words(times, link), dwell_words(times)])
    if measured is not None:
        yield from titled("Measured, in milliseconds", _measured(measured))
        yield from _below(measured_words(measured))
    yield from titled("Age of a reading when it is seen, in seconds", _age(times))
    yield from titled("What can be proven of responses, in seconds", _weighed(found))
    others = other_words(found)
    if others:
        yield from titled("Notes", paragraphs(others))
    yield Text(f"\nCaution: {TIMING}", style="dim")
    yield Text(f"\n{conclusion(found)}", style="bold")


def _below(lines: Iterable[str]) -> Iterator[RenderableType]:
    yield Padding(paragraphs(line for line in lines if line), (1, 0, 0, 2))


def _place(request: Request) -> tuple[str, str]:
    block = request.block
    last = block.end - 1
    return block.table.value, f"{block.address}" + (f" to {last}" if block.count > 1 else "")


def _requests(times: PollTimes) -> Table:
    table = plain_table("table", "addresses", "points", "bytes", "ms", "every s", "apart s", left=2)
    for one in times.requests:
        table.add_row(
            *_place(one),
            str(len(one.block.points)),
            f"{one.request_bytes}+{one.answer_bytes}",
            milliseconds(one.took_s),
            f"{one.period_s:g}",
            seconds(one.apart_s),
        )
    return table


def _measured(measured: Measured) -> Table:
    table = plain_table(
        "table", "addresses", "computed", "least", "middle", "most", "failed", left=2
    )
    for one in measured.requests:
        failed = str(one.failed) if one.failed else ""
        computed = milliseconds(one.computed.took_s)
        table.add_row(*_place(one.computed), computed, *_spread(one.took), failed)
    whole = milliseconds(measured.computed_cycle_s)
    table.add_row("the whole cycle", "", whole, *_spread(measured.cycle), "")
    return table


def _spread(spread: Spread | None) -> tuple[str, str, str]:
    if spread is None:
        return "-", "-", "-"
    ends = (spread.least_s, spread.median_s, spread.most_s)
    least, middle, most = (milliseconds(each) for each in ends)
    return least, middle, most


def _age(times: PollTimes) -> Table:
    """The parts of the age, for the readings that are read least often."""
    table = plain_table("", "best", "typical", "worst")
    timing = times.site.timing
    read = [r for r in times.requests if any(p.what == "reading" for p in r.block.points)]
    oldest = max(read or times.requests, key=lambda one: one.age.worst_s)
    waits = (
        ("detectors are scanned", timing.scan_s),
        ("registers are refreshed", timing.refresh_s),
        ("the next poll comes", oldest.apart_s),
    )
    for name, each_s in waits:
        table.add_row(f"until {name}", seconds(0.0), seconds(each_s / 2), seconds(each_s))
    took = seconds(oldest.took_s)
    table.add_row("request and answer", seconds(oldest.age.best_s), took, took)
    age = oldest.age
    table.add_row("in all", *(seconds(each) for each in (age.best_s, age.typical_s, age.worst_s)))
    return table


def _weighed(found: Provables) -> Table:
    table = plain_table("cell or level", "doubt", "window", "proven", "sure if polled every")
    for one in (*found.cells, *found.levels):
        table.add_row(*_row(one), style="" if one.chance is Chance.SURE else "bold")
    if not table.row_count:
        table.add_row("none", "", "", "", "")
    return table


def _row(one: Provable) -> tuple[str, ...]:
    doubt = "-" if one.doubt_s == float("inf") else f"{one.doubt_s:.2f}"
    return one.id, doubt, f"{one.window_s:g}", one.chance.value, sure_at_words(one)
