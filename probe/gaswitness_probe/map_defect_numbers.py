"""Map defects of numbers: order of words and bytes, scale, sign, kind of number, torn words."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from gaswitness_probe.decode import ordered, unscaled
from gaswitness_probe.map_defect import MapDefect, Raw, altered, names_of
from gaswitness_probe.map_defect_words import as_bcd, held_at_zero, registers, scaled, widened
from gaswitness_sitefile.points import FLOATS, Order, Point, PointType
from gaswitness_sitefile.site import Site


def number_defects(site: Site, numbers: list[Point]) -> Iterator[MapDefect]:
    """Of each number, and where it may be of all at once."""
    yield from _orders(numbers)
    yield from _of_readings(site, numbers)
    yield from _scales(numbers)
    yield from _kinds_of_number(numbers)
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
        negative = lowest is not None and lowest < 0 and below < 0
        yield MapDefect(
            "negative readings shown as 0",
            point.name,
            frozenset({point.name}),
            altered(held_at_zero),
            f"its reading was never settled below 0 by more than {channel.reading_tolerance:g} "
            f"{channel.unit}",
            "bring the reading below zero, by a zero drift or a loop current",
            "" if negative else "the point shows no reading below 0",
        )


def _kinds_of_number(numbers: list[Point]) -> Iterator[MapDefect]:
    for point in numbers:
        if point.type in FLOATS or point.shows == "constant":
            continue
        low, high = _counts(point)
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


def _counts(point: Point) -> tuple[float, float]:
    """Lowest and highest count in the register, from the point's own limits."""
    ends = [
        (limit - point.offset) / point.scale if point.scale else 0.0
        for limit in (point.low, point.high)
        if limit is not None
    ]
    return (min(ends), max(ends)) if len(ends) == 2 else (float("-inf"), float("inf"))


_SIGNED: Final = (PointType.INT16, PointType.INT32, PointType.INT64)
_UNSIGNED: Final = (PointType.UINT16, PointType.UINT32, PointType.UINT64)


def _signs(point: Point, low: float, high: float) -> Iterator[MapDefect]:
    """An integer put with a sign where it has none, or without where it has one."""
    top = 2 ** (16 * point.width - 1) - 1
    if point.type in _SIGNED:
        kind, shown, same = "unsigned in place of signed", altered(held_at_zero), low >= 0
        unseen, remedy = "it never stood below 0", "bring it below zero"
    elif point.type in _UNSIGNED:
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
        f"from {low:g} to {high:g} counts both are the same bits" if same else "",
    )


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
