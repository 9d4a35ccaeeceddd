"""The points list with a worked example for each point: request, response, and the way from bytes
to value. From the exchanges of the record.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final

from gaswitness.report_data import Item, PointRow, Worked
from gaswitness.report_frame import asked_in, marked_hex, place_in, raw_of
from gaswitness.report_issues import Issue
from gaswitness.report_worked import worked_out
from gaswitness_probe.decode import decode
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.history import PointHistory, Run, Value
from gaswitness_probe.poll_record import Row, Runs
from gaswitness_sitefile.points import Access, Point, reference
from gaswitness_sitefile.site import Site

AROUND: Final = 5
"""Bytes shown on either side of a point's; the record has the whole frame."""


def point_rows(issue: Issue, items: Mapping[str, Item]) -> tuple[PointRow, ...]:
    """All points of the site, as the newest issue saw them."""
    examples = _examples(issue)
    return tuple(
        _row(point, items.get(f"point/{point.name}"), examples.get(point.name))
        for point in issue.site.points
    )


def _row(point: Point, item: Item | None, worked: Worked | None) -> PointRow:
    why_not = ""
    if worked is None:
        only_written = point.access is Access.WRITE
        why_not = "it can only be written" if only_written else "nothing in this record shows it"
    return PointRow(
        name=point.name,
        table=str(point.table),
        address=point.address,
        reference=reference(point.table, point.address),
        type=str(point.type),
        order=str(point.order),
        shows=point.shows,
        scale=point.scale,
        offset=point.offset,
        unit=point.unit,
        access=str(point.access),
        outcome=None if item is None else item.outcome,
        issue="" if item is None else item.issue,
        worked=worked,
        why_not=why_not,
    )


def _examples(issue: Issue) -> dict[str, Worked]:
    """An example for each point that any exchange shows: of a telling value where polling saw one,
    else the first."""
    site, rtu = issue.site, issue.rtu
    found: dict[str, Worked] = {}
    histories = issue.expected.view.histories
    for point in site.points:
        history = histories.get(point.name)
        exchange = None if history is None else _telling(issue, point, history)
        if exchange is not None:
            found[point.name] = worked(point, exchange, rtu=rtu)
    missing = [p for p in site.points if p.name not in found and p.access is not Access.WRITE]
    for exchange in issue.wire if missing else ():
        asked = asked_in(exchange.request, rtu=rtu) if exchange.ok else None
        for point in [p for p in missing if asked is not None and asked.holds(p)]:
            found[point.name] = worked(point, exchange, rtu=rtu)
            missing.remove(point)
        if not missing:
            break
    return found


def _telling(issue: Issue, point: Point, history: PointHistory) -> Exchange | None:
    """The exchange that showed the point's most telling value first."""
    rows = history.runs.rows() if isinstance(history.runs, Runs) else map(_as_row, history.runs)
    best = max(rows, key=lambda row: _tells(row[-1]), default=None)
    if best is None:
        return None
    asked_s, answered_s = best[:2]
    wire = issue.wire
    for place in range(wire.since(answered_s), len(wire)):
        exchange = wire[place]
        if exchange.received_s > answered_s:
            return None
        asked = asked_in(exchange.request, rtu=issue.rtu)
        if exchange.sent_s == asked_s and exchange.ok and asked is not None and asked.holds(point):
            return exchange
    return None


def _as_row(run: Run) -> Row:
    first, last = run.first, run.last
    return first.asked_s, first.answered_s, last.asked_s, last.answered_s, run.value


def _tells(value: Value) -> float:
    """How much a value shows of its decoding: zero and nothing show least."""
    if value is None:
        return -1.0
    if isinstance(value, str):
        return float(value != "normal")
    number = abs(float(value))
    return number if math.isfinite(number) else 0.0


def worked(point: Point, exchange: Exchange, *, rtu: bool) -> Worked:
    """The point in that exchange, worked out. The exchange must be a good one that asks for it."""
    asked = asked_in(exchange.request, rtu=rtu)
    if asked is None or not asked.holds(point):
        raise ValueError(f"the exchange does not ask for {point.name}")
    raw = raw_of(point, exchange, asked, rtu=rtu)
    first, count = place_in(asked, point, rtu=rtu)
    head = f"byte {first + 1}" if count == 1 else f"bytes {first + 1} to {first + count}"
    bit = f", bit {(point.address - asked.address) % 8}" if asked.table.of_bits else ""
    where = f"{asked} asked for; {point.name} is in {head} of the response{bit}"
    return Worked(
        at_s=exchange.received_s,
        request=marked_hex(exchange.request, []),
        response=marked_hex(exchange.response, [(first, count)], around=AROUND),
        steps=(where, *worked_out(point, raw)),
        value=value_words(point, decode(point, raw)),
    )


def value_words(point: Point, value: Value, decimals: int | None = None) -> str:
    """A decoded value with its unit, to so many decimals; without, to nine digits."""
    if value is None:
        return "no value"
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, str):
        return value or "empty"
    if point.bits:
        return f"0x{int(value):04X}"
    unit = f" {point.unit}" if point.unit else ""
    rounded = value if decimals is None else round(float(value), decimals) + 0.0
    return f"{rounded:.9g}{unit}"


def points_showing(site: Site, facts: Sequence[str]) -> tuple[Point, ...]:
    """The readable points that show any of the facts or readings, in the list's order."""
    wanted = set(facts)
    return tuple(
        point
        for point in site.points
        if point.access is not Access.WRITE
        and (point.shows in wanted or not wanted.isdisjoint(shows for _, shows in point.facts()))
    )
