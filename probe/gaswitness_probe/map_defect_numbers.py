"""Map defects of numbers: order of words and bytes, scale, sign, kind of number, torn words."""

from collections.abc import Iterator
from functools import partial
from math import inf, isfinite
from typing import Final

from gaswitness_probe.decode import ordered, unscaled
from gaswitness_probe.map_defect import MapDefect, Raw, altered, names_of
from gaswitness_probe.map_defect_words import as_bcd, held_at_zero, registers, scaled, widened
from gaswitness_sitefile.channel import ReadingOnFault
from gaswitness_sitefile.points import FLOATS, Order, Point, PointType
from gaswitness_sitefile.site import Site


def number_defects(site: Site, numbers: list[Point]) -> Iterator[MapDefect]:
    """Of each number, and where it may be of all at once."""
    yield from _orders(numbers)
    yield from _of_readings(site, numbers)
    yield from _scales(numbers)
    yield from _kinds_of_number(site, numbers)
    yield from _torn(numbers)


def _orders(numbers: list[Point]) -> Iterator[MapDefect]:
    turns = {
        "words in the other order": Order.CDAB,
        "bytes in the other order": Order.BADC,
        "words and bytes in the other order": Order.DCBA,
    }
    for kind, order in turns.items():
        there = [one for one in numbers if one.width > 1 or order is Order.BADC]
        shown = altered(partial(_in_order, order))
        for place, points in _each_and_all(there):
            yield MapDefect(
                kind,
                place,
                names_of(points),
                shown,
                "it stood only at values that read the same either way, such as 0",
                "settle it at a value whose words and bytes differ",
            )


def _in_order(order: Order, _point: Point, raw: Raw) -> Raw:
    return ordered(order, raw)


def _each_and_all(points: list[Point]) -> Iterator[tuple[str, list[Point]]]:
    if len(points) > 1:
        yield "all numbers", points
    for point in points:
        yield point.name, [point]


def _scales(numbers: list[Point]) -> Iterator[MapDefect]:
    for factor, words in ((10.0, "ten times too great"), (0.1, "ten times too small")):
        shown = altered(partial(scaled, factor))
        for place, points in _each_and_all([one for one in numbers if one.shows != "constant"]):
            yield MapDefect(
                f"scale {words}",
                place,
                names_of(points),
                shown,
                "it never stood clear of zero while it was looked at",
                "settle it at a value well above its tolerance",
            )


def _of_readings(site: Site, numbers: list[Point]) -> Iterator[MapDefect]:
    for point in numbers:
        channel = site.channel_of.get(point.subject)
        if channel is None or point.what != "reading":
            continue
        below = channel.shown_limits[0]
        lowest = unscaled(point, registers(point, below))
        if lowest is None or lowest >= 0 or below >= 0:
            same = "the point shows no reading below 0"
        elif below >= -channel.reading_tolerance:
            same = (
                f"it shows no reading under {below:g} {channel.unit}, and from there 0 is within "
                f"its tolerance of {channel.reading_tolerance:g} {channel.unit}"
            )
        else:
            same = ""
        yield MapDefect(
            "negative readings shown as 0",
            point.name,
            frozenset({point.name}),
            altered(held_at_zero),
            f"its reading was never settled below 0 by more than {channel.reading_tolerance:g} "
            f"{channel.unit}",
            "bring the reading below zero, by a zero drift or a loop current",
            same,
        )


def _kinds_of_number(site: Site, numbers: list[Point]) -> Iterator[MapDefect]:
    for point in numbers:
        if point.type in FLOATS or point.shows == "constant":
            continue
        low, high = _counts(site, point)
        yield from _signs(point, low, high)
        if point.type in (PointType.BCD16, PointType.BCD32):
            continue
        yield MapDefect(
            "decimal digits (BCD) in place of a binary number",
            point.name,
            frozenset({point.name}),
            altered(as_bcd),
            "it stood only at values that read the same in both, from 0 to 9 counts",
            "settle it at a value above 9 counts",
            "" if high > 9 or low < 0 else "it never shows more than 9 counts",
        )
        if point.width == 1:
            yield MapDefect(
                "32 bits in place of 16",
                point.name,
                frozenset({point.name}),
                altered(widened),
                "it stood only at 0",
                "settle it at a value other than 0",
            )


def _counts(site: Site, point: Point) -> tuple[float, float]:
    """Lowest and highest count that the register of a good panel ever holds."""
    if not point.scale:
        return 0.0, 0.0
    ends = [(limit - point.offset) / point.scale for limit in _limits(site, point)]
    low, high = (round(end) if isfinite(end) else end for end in sorted(ends))
    return low, high


def _limits(site: Site, point: Point) -> tuple[float, float]:
    """Lowest and highest value, in the point's unit: its own limits, and those of what it shows. A
    setpoint is the one stated, a reading goes no further than the channel shows it."""
    low = -inf if point.low is None else point.low
    high = inf if point.high is None else point.high
    channel = site.channel_of.get(point.subject)
    if channel is None:
        return low, high
    if point.what == "reading":
        lowest, highest = channel.shown_limits
        if channel.on_fault is ReadingOnFault.ZERO:
            lowest, highest = min(lowest, 0.0), max(highest, 0.0)
        return max(low, lowest), min(high, highest)
    name, _, what = point.what.partition(".")
    if what == "setpoint" and name in channel.levels:
        low = high = channel.levels[name].setpoint
    return low, high


_SIGNED: Final = (PointType.INT16, PointType.INT32, PointType.INT64)
_UNSIGNED: Final = (PointType.UINT16, PointType.UINT32, PointType.UINT64)


def _signs(point: Point, low: float, high: float) -> Iterator[MapDefect]:
    """An integer put with a sign where it has none, or without where it has one."""
    top = 2 ** (16 * point.width - 1) - 1
    if point.type in _SIGNED:
        kind, shown, same = "unsigned in place of signed", altered(held_at_zero), low >= 0
        unseen, remedy = "it never stood below 0", "bring it below zero"
    elif point.type in _UNSIGNED:
        low = max(low, 0)
        kind, same = "signed in place of unsigned", high <= top
        shown = altered(partial(_held_at, top))
        unseen, remedy = f"it never stood above {top} counts", f"bring it above {top} counts"
    else:
        return
    yield MapDefect(
        kind,
        point.name,
        frozenset({point.name}),
        shown,
        unseen,
        remedy,
        _same_bits(low, high) if same else "",
    )


def _same_bits(low: float, high: float) -> str:
    if low == high:
        return f"at {low:.0f} counts, where it always stands, both are the same bits"
    return f"from {low:.0f} to {high:.0f} counts both are the same bits"


def _held_at(top: int, point: Point, raw: Raw) -> Raw:
    number = unscaled(point, raw)
    if not isinstance(number, int) or number <= top:
        return raw
    return registers(point, top * point.scale + point.offset)


def _torn(numbers: list[Point]) -> Iterator[MapDefect]:
    for point in numbers:
        if point.width > 1 and point.shows != "constant" and not point.what.endswith("setpoint"):
            yield MapDefect(
                "words of one value from two instants (torn)",
                point.name,
                frozenset({point.name}),
                lambda held, one: held.raw(one),
                "it shows only in a sample that falls within the tear, and one such sample is no "
                "proof",
                "read it many times while the value moves past a change of its high word",
            )
