"""Map defects of status: numbering and sense of bits, faults not told, codes of states."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from gaswitness_probe.decode import ordered
from gaswitness_probe.map_defect import (
    FIELDS,
    Held,
    MapDefect,
    Raw,
    Shown,
    altered,
    bit_put,
    names_of,
)
from gaswitness_probe.map_defect_words import bytes_turned, mirrored, registers
from gaswitness_sitefile.channel import Direction
from gaswitness_sitefile.points import NUMERIC, Point, PointType
from gaswitness_sitefile.site import Site


def status_defects(site: Site, points: list[Point]) -> Iterator[MapDefect]:
    """Of words of bits, single bits, faults and states."""
    yield from _bit_words(points)
    yield from _bits(points)
    yield from _in_fault(site, points)
    yield from _states(site, points)


def _bit_words(points: list[Point]) -> Iterator[MapDefect]:
    turns: dict[str, Callable[[int], int]] = {
        "bits numbered from the other end": mirrored,
        "bytes of the bits exchanged": bytes_turned,
        "bits numbered from 1": lambda word: word << 1 & 0xFFFF,
        "bits inverted": lambda word: word ^ 0xFFFF,
    }
    fields = [point for point in points if point.type in FIELDS and not point.table.of_bits]
    for place in dict.fromkeys((point.table, point.address) for point in fields):
        there = [point for point in fields if (point.table, point.address) == place]
        names = ", ".join(point.name for point in there[:2]) + (" ..." if len(there) > 2 else "")
        for kind, turn in turns.items():
            yield MapDefect(
                kind,
                names,
                names_of(there),
                altered(partial(_turned, turn)),
                "no bit of it was ever required to be on or off while another stood otherwise",
                "make each of its bits come on alone",
            )


def _turned(turn: Callable[[int], int], _point: Point, raw: Raw) -> Raw:
    return (turn(raw[0]),)


def _bits(points: list[Point]) -> Iterator[MapDefect]:
    bits = [point for point in points if point.type is PointType.BIT]
    shown = altered(lambda _point, raw: (1 - raw[0],))
    for table in dict.fromkeys(point.table for point in bits):
        there = [point for point in bits if point.table is table]
        yield MapDefect("bits inverted", f"{table}s", names_of(there), shown, _NOT_MADE, _MAKE)
    for point in bits:
        names = frozenset({point.name})
        yield MapDefect("bit inverted", point.name, names, shown, _NOT_MADE, _MAKE)


_NOT_MADE: Final = "nothing done here made it come on or go off"
_MAKE: Final = "make what it shows come and go"


def _in_fault(site: Site, points: list[Point]) -> Iterator[MapDefect]:
    for channel in site.channels:
        flags = [p for p in points if any(s == f"{channel.tag}.fault" for _, s in p.facts())]
        if flags:
            yield MapDefect(
                "fault not flagged",
                channel.tag,
                names_of(flags),
                _without_fault(channel.tag),
                f"{channel.tag} was never put in fault for long enough",
                f"make a fault of {channel.tag}",
            )
        for point in points:
            if point.shows == f"{channel.tag}.reading" and point.type in NUMERIC:
                yield MapDefect(
                    "fault shown as a reading of 0",
                    point.name,
                    frozenset({point.name}),
                    _zero_in_fault,
                    f"{channel.tag} was never in fault while its reading was looked at",
                    f"make a fault of {channel.tag}, with gas at the detector",
                    "in fault it is to show 0" if channel.on_fault == "zero" else "",
                )


def _without_fault(tag: str) -> Shown:
    def shown(held: Held, point: Point) -> Raw | None:
        raw = held.raw(point)
        if raw is None or point.type is PointType.BIT_FIELD:
            bit = next((b for b, shows in point.bits.items() if shows == f"{tag}.fault"), 0)
            return raw and ordered(point.order, (ordered(point.order, raw)[0] & ~(1 << bit),))
        return bit_put(point, raw, on=False)

    return shown


def _zero_in_fault(held: Held, point: Point) -> Raw | None:
    return registers(point, 0.0) if held.faulty(point.subject) else held.raw(point)


def _states(site: Site, points: list[Point]) -> Iterator[MapDefect]:
    for point in points:
        if point.type is not PointType.ENUMERATION:
            continue
        for code, state in sorted(point.codes.items()):
            yield MapDefect(
                f"state {state} under another code",
                point.name,
                frozenset({point.name}),
                altered(partial(_recoded, code)),
                f"it was never settled in the state {state}",
                f"bring {point.subject} to the state {state}",
                _never_shown(site, point, state),
            )


def _never_shown(site: Site, point: Point, state: str) -> str:
    """Why the panel never shows the state: an alarm level that outranks it is on by then."""
    channel = site.channel_of.get(point.subject)
    if channel is None or state not in ("over_range", "under_range"):
        return ""
    low, high = channel.shown_limits
    for name, level in channel.levels.items():
        rising = level.direction is Direction.RISING
        if rising is (state == "over_range") and low < level.setpoint < high:
            return f"{channel.tag}.{name} is on by then, and is shown before it"
    return ""


def _recoded(code: int, point: Point, raw: Raw) -> Raw:
    register = ordered(point.order, raw)[0]
    return ordered(point.order, (register + 1 & 0xFFFF,)) if register == code else raw
