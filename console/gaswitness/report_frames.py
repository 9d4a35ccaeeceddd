"""Raw frames for whatever failed: the exchanges around the instant of each failure that show the
points it speaks of, those bytes marked.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from gaswitness.report_data import Finding, FrameRow, Frames, Item
from gaswitness.report_frame import Asked, asked_in, bytes_of, in_hex, marked_hex, place_in, raw_of
from gaswitness.report_issues import Issue
from gaswitness.report_points import points_showing, value_words
from gaswitness_probe.decode import decode, decode_bits
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.facts import fact_sources, reading_points
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_sitefile.matrix import facts_of, parse_cause
from gaswitness_sitefile.points import Access, Point
from gaswitness_sitefile.site import Site

BEFORE: Final = 2
AFTER: Final = 4
"""Exchanges shown on either side of the instant, of each request that shows the points."""
FAR_S: Final = 30.0
"""No exchange further off than this is shown."""
MOST_POINTS: Final = 8
MOST_EXAMPLES: Final = 6


def frames_of(issues: Sequence[Issue], items: Sequence[Item]) -> tuple[Frames, ...]:
    """Frames for every side that failed, of things whose newest verdict is failed."""
    by_name = {issue.name: issue for issue in issues}
    return tuple(
        _frames(by_name[item.issue], item, one)
        for item in items
        if item.outcome is Outcome.FAILED
        for one in item.findings
        if one.outcome is Outcome.FAILED
    )


def _frames(issue: Issue, item: Item, finding: Finding) -> Frames:
    points = points_of(issue.site, item)
    if item.kind is Kind.LINK:
        rows, remark = (
            tuple(_problems(issue)),
            "exchanges whose answer did not keep to the protocol",
        )
    elif finding.at_s is None:
        at_s = _first_asked(issue, points)
        rows = () if at_s is None else tuple(_around(issue, points, at_s))
        remark = "the verdict names no instant: these are the first exchanges that show the points"
    else:
        rows, remark = tuple(_around(issue, points, finding.at_s)), ""
    return Frames(
        of=finding.name,
        issue=issue.name,
        at_s=finding.at_s,
        because=finding.because or finding.seen,
        rows=rows,
        remark=remark if rows else "no exchange of this record shows the points",
    )


def points_of(site: Site, item: Item) -> tuple[Point, ...]:
    """The readable points that tell of the thing."""
    name = item.name
    match item.kind:
        case Kind.POINT:
            return tuple(point for point in site.points if point.name == name)
        case Kind.READING:
            return reading_points(site, name)[:MOST_POINTS]
        case Kind.LEVEL:
            tag = name.partition(".")[0]
            return (*_sources(site, [name]), *reading_points(site, tag)[:1])
        case Kind.CELL:
            cause, _, effect = name.rpartition(" > ")
            facts = [str(fact) for fact in facts_of(parse_cause(cause))]
            return _sources(site, [*facts, f"{effect}.active"])
        case Kind.OUTPUT:
            return _sources(site, [f"{name}.active"])
        case Kind.FLAG:
            return _sources(site, [name])
    return ()


def _sources(site: Site, facts: Sequence[str]) -> tuple[Point, ...]:
    sources = fact_sources(site)
    points = [one.point for fact in facts for one in sources.get(fact, ())[:1]]
    missing = [fact for fact in facts if fact not in sources]
    found = dict.fromkeys(point.name for point in (*points, *points_showing(site, missing)))
    by_name = {point.name: point for point in site.points if point.access is not Access.WRITE}
    return tuple(by_name[name] for name in list(found)[:MOST_POINTS] if name in by_name)


def _first_asked(issue: Issue, points: Sequence[Point]) -> float | None:
    for exchange in issue.wire:
        asked = asked_in(exchange.request, rtu=issue.rtu) if exchange.ok else None
        if asked is not None and any(asked.holds(point) for point in points):
            return exchange.sent_s
    return None


def _around(issue: Issue, points: Sequence[Point], at_s: float) -> Iterator[FrameRow]:
    """For each point some exchanges before and after the instant, in order of time, each once."""
    wire = issue.wire
    middle = wire.since(at_s)
    chosen: set[int] = set()
    for point in points:
        back = _showing(issue, point, range(middle - 1, -1, -1), at_s)
        onward = _showing(issue, point, range(middle, len(wire)), at_s)
        chosen |= {at for at, _ in zip(back, range(BEFORE), strict=False)}
        chosen |= {at for at, _ in zip(onward, range(AFTER), strict=False)}
    for at in sorted(chosen):
        yield _row(wire[at], points, rtu=issue.rtu)


def _showing(issue: Issue, point: Point, places: range, at_s: float) -> Iterator[int]:
    for at in places:
        exchange = issue.wire[at]
        if abs(exchange.received_s - at_s) > FAR_S:
            return
        asked = asked_in(exchange.request, rtu=issue.rtu)
        if asked is not None and asked.holds(point):
            yield at


def _row(exchange: Exchange, points: Sequence[Point], *, rtu: bool) -> FrameRow:
    asked = asked_in(exchange.request, rtu=rtu)
    held = [point for point in points if asked is not None and asked.holds(point)]
    good = exchange.ok and asked is not None
    places = _apart([place_in(asked, one, rtu=rtu) for one in held]) if good and asked else []
    values = [_value(one, exchange, asked, rtu=rtu) for one in held] if good and asked else []
    return FrameRow(
        sent_s=exchange.sent_s,
        received_s=exchange.received_s,
        asked=str(asked) if asked is not None else "no read of a table",
        request=marked_hex(exchange.request, []),
        response=marked_hex(exchange.response, places),
        values=tuple(values) if values or exchange.ok else (exchange.words,),
    )


def _value(point: Point, exchange: Exchange, asked: Asked, *, rtu: bool) -> str:
    raw = raw_of(point, exchange, asked, rtu=rtu)
    data = in_hex(bytes_of(point, exchange, asked, rtu=rtu))
    value = decode(point, raw)
    on = [shows for shows, yes in decode_bits(point, raw).items() if yes] if point.bits else []
    bits = f", on: {', '.join(on) or 'nothing'}" if point.bits else ""
    return f"{point.name}: {value_words(point, value)}{bits} [{data}]"


def _apart(places: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """The places without repeats: several bits may share a byte or register."""
    kept: list[tuple[int, int]] = []
    for first, count in sorted(set(places)):
        if not kept or first >= kept[-1][0] + kept[-1][1]:
            kept.append((first, count))
    return kept


def _problems(issue: Issue) -> Iterator[FrameRow]:
    for exchange, _ in zip(issue.wire.unsound(), range(MOST_EXAMPLES), strict=False):
        yield _row(exchange, (), rtu=issue.rtu)
