"""Under which other reading of its registers an implausible point would make sense. Pure: hints for
people, never grounds for a pass."""

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Final

from gaswitness_probe.decode import decode
from gaswitness_probe.facts import within_type
from gaswitness_probe.survey_value import (
    is_tiny,
    limits,
    reading_of,
    wanted_number,
    wire_tolerance,
)
from gaswitness_sitefile.points import NUMERIC, WIDTHS, Order, Point, PointType, Table
from gaswitness_sitefile.site import Site

Image = Mapping[tuple[Table, int], int]
"""What was read of each address."""

LEAST_PART: Final = 1e-4
"""Part of the span that a reading must reach to say anything about the order."""

Sensible = Callable[[Point, float], bool]


def hints(site: Site, point: Point, image: Image) -> tuple[str, ...]:
    """Other orders, types, places and scales under which the point would show what it should."""
    if point.type not in NUMERIC:
        return _text_hints(point, image)
    sensible = _sensible(site, point)
    if sensible is None:
        return ()
    found = [
        f"{decoded:.6g} with order {variant.order.value}"
        for variant in _other_orders(point)
        if (decoded := _number(variant, image)) is not None and sensible(variant, decoded)
    ]
    found += [
        f"{decoded:.6g} as {variant.type.value}"
        for variant in _other_types(point)
        if (decoded := _number(variant, image)) is not None and sensible(variant, decoded)
    ]
    for shift in (-1, 1):
        if point.address + shift < 0:
            continue
        variant = point.model_copy(update={"address": point.address + shift})
        decoded = _number(variant, image)
        if decoded is not None and sensible(variant, decoded):
            found.append(f"{decoded:.6g} at address {variant.address}, shifted by {shift:+d}")
    return (*found, *_scale_hints(site, point, image))


def _text_hints(point: Point, image: Image) -> tuple[str, ...]:
    if point.type is not PointType.STRING:
        return ()
    swapped = Order.ABCD if point.order.bytes_swapped else Order.BADC
    variant = point.model_copy(update={"order": swapped})
    raw = registers(variant, image)
    text = None if raw is None else decode(variant, raw)
    if text is None or (point.value is not None and text != str(point.value).rstrip()):
        return ()
    return (f"{text!r} with order {swapped.value}",)


def _sensible(site: Site, point: Point) -> Sensible | None:
    wanted = wanted_number(site, point)
    if wanted is not None:
        goal = within_type(point, wanted)
        return lambda variant, found: abs(found - goal) <= wire_tolerance(variant, goal)
    low, high = limits(site, point)
    if math.isinf(low) or math.isinf(high):
        return None
    channel = reading_of(site, point)
    least = LEAST_PART * (high - low)

    def within(variant: Point, found: float) -> bool:
        if channel is not None and is_tiny(variant, found, channel):
            return False
        return low <= found <= high and abs(found) >= least

    return within


def _other_orders(point: Point) -> Iterator[Point]:
    orders = list(Order) if point.width > 1 else [Order.ABCD, Order.BADC]
    for order in orders:
        same = point.width == 1 and order.bytes_swapped == point.order.bytes_swapped
        if order is not point.order and not same:
            yield point.model_copy(update={"order": order})


def _other_types(point: Point) -> Iterator[Point]:
    for kind in sorted(NUMERIC, key=lambda kind: kind.value):
        if kind is not point.type and WIDTHS[kind] == point.width:
            yield point.model_copy(update={"type": kind})


def _scale_hints(site: Site, point: Point, image: Image) -> Iterator[str]:
    wanted = wanted_number(site, point)
    value = _number(point, image)
    if not wanted or not value or value / wanted <= 0:
        return
    power = round(math.log10(value / wanted))
    if power and math.isclose(value, wanted * 10.0**power, rel_tol=0.01):
        yield f"{wanted:.6g} with a scale of {point.scale / 10.0**power:.6g}"


def registers(point: Point, image: Image) -> tuple[int, ...] | None:
    """What was read at the point's addresses; None where some were not."""
    found = [image.get((point.table, at)) for at in range(point.address, point.end)]
    whole = tuple(word for word in found if word is not None)
    return whole if len(whole) == len(found) else None


def _number(point: Point, image: Image) -> float | None:
    raw = registers(point, image)
    value = None if raw is None else decode(point, raw)
    if isinstance(value, str) or value is None or not math.isfinite(value):
        return None
    return float(value)
