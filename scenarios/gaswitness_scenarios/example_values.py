"""Values that each point of a map may show, as they stand in its registers: made by the panel's
encoder, read back by the probe's decoder, so that neither can be wrong alone.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from gaswitness_probe.decode import decode, decode_bits, is_sentinel, unscaled
from gaswitness_probe.history import Value
from gaswitness_scenarios.rest_panel import RestPanel, Words
from gaswitness_simulator.encode import (
    LARGEST_FLOAT32,
    on_wire,
    raw_encoder,
    raw_limits,
    sentinel_bytes,
    text_bytes,
    value_encoder,
)
from gaswitness_sitefile.channel import Channel, ReadingOnFault
from gaswitness_sitefile.points import FLOATS, NUMERIC, Point, PointType
from gaswitness_sitefile.site import Site

AT_REST: Final = "at rest"
UNEVEN: Final = 0.3217
"""A share of the range at which every byte of a float differs, so that its order shows."""
LEAST_FLOAT32: Final = 2.0**-126
"""The least normal binary32 (IEEE 754-2019 clause 3.4)."""
HELD: Final = "beyond the type: held at its end"
LIKE_SENTINEL: Final = "reads as the sentinel"


@dataclass(frozen=True, slots=True)
class ExampleValue:
    """`case`: when. `words`: what the point's addresses hold, first address first. `value`: what a
    client must make of it; None is no value. `remark`: what spoils the value, if anything does."""

    case: str
    words: Words
    value: Value
    remark: str = ""

    def data(self, point: Point) -> bytes:
        """The bytes as they go over the wire; for one bit the byte that an answer has alone."""
        if point.table.of_bits:
            return bytes(self.words)
        return b"".join(word.to_bytes(2, "big") for word in self.words)


def example_values(site: Site, point: Point, rest: RestPanel) -> tuple[ExampleValue, ...]:
    """Examples of the point: what tells right decoding from wrong, and what it shows at rest.

    Raises ValueError where encoder and decoder do not agree.
    """
    found = list(_others(site, point))
    for rested in _at_rest(point, rest):
        same = next((at for at, one in enumerate(found) if one.words == rested.words), None)
        if same is None:
            found.insert(0, rested)
        else:
            found[same] = replace(found[same], case=f"{found[same].case}, as {AT_REST}")
    return tuple(found)


def _at_rest(point: Point, rest: RestPanel) -> Iterator[ExampleValue]:
    words = None if point.shows == "heartbeat" else rest.read_point(point)
    if words is not None:
        if point.type is PointType.BIT_IN_WORD:
            mask = 1 << _wire_bit(point, point.bit or 0)
            words = (words[0] & mask,)
        yield ExampleValue(AT_REST, words, decode(point, words))


def _others(site: Site, point: Point) -> Iterator[ExampleValue]:
    if point.type is PointType.BIT:
        yield from (_read_back(point, f"{on}", (on,), value=bool(on)) for on in (0, 1))
    elif point.type is PointType.BIT_IN_WORD:
        yield from _one_bit(point)
    elif point.type is PointType.BIT_FIELD:
        yield from _bit_field(point)
    elif point.type is PointType.ENUMERATION:
        encode = raw_encoder(point)
        for code, name in point.codes.items():
            yield _read_back(point, f"code {code}", _words(encode(code)), value=name)
    elif point.type is PointType.STRING:
        if point.value is None:
            yield _read_back(point, "a text", _words(text_bytes(point, "ABC")), value="ABC")
    elif point.type in NUMERIC:
        yield from _numbers(site, point)


def _words(data: bytes) -> Words:
    return tuple(int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2))


def _wire_bit(point: Point, bit: int) -> int:
    return bit ^ 8 if point.order.bytes_swapped else bit


def _one_bit(point: Point) -> Iterator[ExampleValue]:
    for on in (0, 1):
        word = _words(on_wire(point, (on << (point.bit or 0)).to_bytes(2, "big")))
        yield _read_back(point, f"{on}, the register's other bits 0", word, value=bool(on))


def _bit_field(point: Point) -> Iterator[ExampleValue]:
    for bit, shows in sorted(point.bits.items()):
        words = _words(on_wire(point, (1 << bit).to_bytes(2, "big")))
        only = {name: other == bit for other, name in point.bits.items()}
        if decode_bits(point, words) != only:
            raise ValueError(f"point {point.name}: bit {bit} does not read back")
        yield _read_back(point, f"only bit {bit}, {shows}", words, value=1 << bit)


def _numbers(site: Site, point: Point) -> Iterator[ExampleValue]:
    if point.shows == "heartbeat":
        yield from _heartbeat(point)
        return
    encode = value_encoder(point)
    for case, value in _cases(site, point):
        words = _words(encode(value))
        remark = _spoilt(point, value, words)
        if case.startswith("under-range") and remark == HELD:
            continue
        yield _number(point, case, words, value, remark)
    channel = site.channel_of.get(point.subject)
    if channel is not None and point.what == "reading":
        yield _in_fault(point, channel, encode)


def _heartbeat(point: Point) -> Iterator[ExampleValue]:
    low, high = raw_limits(point)
    encode = raw_encoder(point)
    first = max(low, 0)
    cases = (("a count", first), ("the next", first + 1), ("the last", high), ("after it", low))
    for case, raw in cases:
        words = _words(encode(raw))
        yield ExampleValue(case, words, decode(point, words))


def _cases(site: Site, point: Point) -> Iterator[tuple[str, float]]:
    """(when, value in the point's unit) of what numbers the point may show."""
    channel = site.channel_of.get(point.subject)
    if channel is None:
        yield from (("least", each) for each in (point.low,) if each is not None)
        yield from (("most", each) for each in (point.high,) if each is not None)
        if point.shows not in ("constant", "spare"):
            yield from (("nought", 0.0), ("one", 1.0))
    elif point.what == "reading":
        yield from _readings(channel)
    elif point.what == "current":
        yield from (("zero of the loop", 4.0), ("half", 12.0), ("span of the loop", 20.0))
        yield from (("over-range", 20.5), ("in fault", channel.fail_ma))
    elif point.what.endswith(".setpoint"):
        level = channel.levels.get(point.what.partition(".")[0])
        yield from (("as set", each.setpoint) for each in (level,) if each is not None)
    elif point.what.endswith(".average") and channel.exposure is not None:
        limits = channel.exposure.limits
        name = point.what.partition(".")[0]
        yield from (("at the limit", limits[name]) for name in (name,) if name in limits)


def _readings(channel: Channel) -> Iterator[tuple[str, float]]:
    low, high = channel.range
    bottom, top = channel.shown_limits
    yield "in clean air", channel.clean_reading
    for name, level in channel.levels.items():
        yield f"at {name}", level.setpoint
    yield "in between", low + UNEVEN * channel.span
    yield "end of range", high
    if top > high:
        yield "over-range", top
    if bottom < low:
        yield "under-range" + (" (negative)" if bottom < 0 else ""), bottom


def _in_fault(point: Point, channel: Channel, encode: Callable[[float], bytes]) -> ExampleValue:
    sentinel = sentinel_bytes(point)
    kind = channel.on_fault
    if kind is ReadingOnFault.ZERO:
        return _number(point, "in fault: zero", _words(encode(0.0)), 0.0, "")
    if kind is ReadingOnFault.NAN and point.type in FLOATS:
        return _read_back(point, "in fault: NaN", _words(encode(math.nan)), value=None)
    if kind is not ReadingOnFault.HOLD and sentinel is not None:
        return _read_back(point, "in fault: sentinel", _words(sentinel), value=None)
    value = channel.clean_reading
    words = _words(encode(value))
    case = "in fault: the last good reading, here clean air"
    return _number(point, case, words, value, _spoilt(point, value, words))


def _spoilt(point: Point, value: float, words: Words) -> str:
    """Why the value cannot read back as it is; empty where it can."""
    raw = unscaled(point, words)
    if raw is not None and is_sentinel(point, raw):
        return LIKE_SENTINEL
    wanted = (value - point.offset) / point.scale
    if point.type in FLOATS:
        normal = LEAST_FLOAT32 <= abs(wanted) <= LARGEST_FLOAT32
        return "" if point.type is PointType.FLOAT64 or normal or not wanted else HELD
    low, high = raw_limits(point)
    return "" if low - 0.5 <= wanted <= high + 0.5 else HELD


def _number(point: Point, case: str, words: Words, value: float, remark: str) -> ExampleValue:
    got = decode(point, words)
    if not remark and not _close(point, got, value):
        raise ValueError(f"point {point.name}: {value:g} reads back as {got!r}")
    return ExampleValue(case, words, got, remark)


def _close(point: Point, got: Value, value: float) -> bool:
    """Within half a count of the point, or the rounding of its float."""
    if not isinstance(got, int | float):
        return False
    step = 0.0 if point.type in FLOATS else abs(point.scale) / 2
    fine = 2.0**-23 if point.type is PointType.FLOAT32 else 2.0**-50
    return abs(got - value) <= step + fine * max(abs(value), abs(point.offset), abs(point.scale))


def _read_back(point: Point, case: str, words: Words, *, value: Value) -> ExampleValue:
    got = decode(point, words)
    if got != value:
        raise ValueError(f"point {point.name}: {value!r} reads back as {got!r}")
    return ExampleValue(case, words, got)
