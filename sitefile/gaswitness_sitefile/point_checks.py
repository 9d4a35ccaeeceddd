"""Checks that a row of the points list agrees with itself and with the channels it speaks of."""

from collections.abc import Iterator
from typing import Final

from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.event_log import EVENTS, NO_EVENT
from gaswitness_sitefile.fact_checks import shown_fault
from gaswitness_sitefile.life_facts import PANEL_STATES
from gaswitness_sitefile.mode_facts import FIRST_UP, NO_FIRST_UP, is_first_up_number
from gaswitness_sitefile.points import (
    CHANNEL_STATES,
    COMMANDS,
    FLOATS,
    NUMERIC,
    Access,
    Point,
    PointType,
    Table,
    is_number,
)
from gaswitness_sitefile.problems import Problem, an, one_of

INTEGER_LIMITS: Final = {
    PointType.INT16: (-(2**15), 2**15 - 1),
    PointType.UINT16: (0, 2**16 - 1),
    PointType.INT32: (-(2**31), 2**31 - 1),
    PointType.UINT32: (0, 2**32 - 1),
    PointType.INT64: (-(2**63), 2**63 - 1),
    PointType.UINT64: (0, 2**64 - 1),
    PointType.BCD16: (0, 9999),
    PointType.BCD32: (0, 99_999_999),
    PointType.ENUMERATION: (0, 2**16 - 1),
}
"""Lowest and highest raw value of each type that holds integers (V1.1b3 clause 4.2; two's
complement)."""

_ONE_BIT: Final = (PointType.BIT, PointType.BIT_IN_WORD)
_COMMAND_TYPES: Final = (*_ONE_BIT, PointType.UINT16, PointType.INT16, PointType.ENUMERATION)
_TEXTLESS: Final = (*NUMERIC, *_ONE_BIT)

Found = tuple[str, str, str]
"""The field at fault, what is wrong, the remedy."""


def point_checks(draft: Draft) -> Iterator[Problem]:
    """Every disagreement in the points list."""
    units = {channel.tag: channel.unit for channel in draft.channels.good.values()}
    for index, point in draft.points.good.items():
        found = [*_type(point), *_fields(point), *_limits(point), *_access(point)]
        found += _shows(draft, point)
        found += _unit(point, units.get(point.subject))
        for field, what, remedy in found:
            name, _, key = field.partition(".")
            loc = (name, int(key)) if key else (name,)
            yield Problem(draft.points.at(index, *loc), f"{point.name}: {what}", remedy)


def _type(point: Point) -> Iterator[Found]:
    if point.table.of_bits and point.type is not PointType.BIT:
        remedy = "write type: bit, or a register table"
        yield "type", f"{an(point.table)} holds one bit, not {an(point.type)}", remedy
    if not point.table.of_bits and point.type is PointType.BIT:
        remedy = "write type: 'bit in word' and bit: 0 to 15, or a table of bits"
        yield "type", f"{an(point.table)} is a word, not a bit", remedy
    if point.end - 1 > 0xFFFF:
        what = f"address {point.address} and the {point.width} it takes go past 65535"
        yield "address", what, "correct the address or the type"
    if point.scale == 0:
        yield "scale", "scale 0 makes every reading the same", "write the value of one count"


def _fields(point: Point) -> Iterator[Found]:
    needed = {
        "bit": (PointType.BIT_IN_WORD, point.bit is not None, "bit: 0 to 15, 0 the lowest"),
        "length": (PointType.STRING, point.length is not None, "length: and count of registers"),
        "codes": (PointType.ENUMERATION, bool(point.codes), "codes: {0: normal, 1: A1}"),
        "bits": (PointType.BIT_FIELD, bool(point.bits), "bits: {0: AT-101.A1, 1: AT-101.fault}"),
    }
    for field, (kind, given, remedy) in needed.items():
        if point.type is kind and not given:
            yield field, f"{an(kind)} needs {field}", f"write {remedy}"
        if point.type is not kind and given:
            what = f"{field} belongs to {an(kind)}, but the type is {point.type}"
            yield field, what, f"take {field} out, or write type: {kind}"
    for number in point.bits:
        if not 0 <= number <= 15:
            yield f"bits.{number}", f"a register has no bit {number}", "write 0 to 15"
    for number in point.codes:
        if not 0 <= number <= 0xFFFF:
            yield f"codes.{number}", f"a register cannot hold code {number}", "write 0 to 65535"
    yield from _value(point)


def _value(point: Point) -> Iterator[Found]:
    if point.shows == "constant" and point.value is None:
        yield "value", "a constant needs its value", "write value: and what the register holds"
    if point.value is None:
        return
    if point.shows not in ("constant", *COMMANDS):
        remedy = "take value out, or write shows: constant"
        yield "value", f"value belongs to a constant, but it shows {point.shows}", remedy
    if point.type is PointType.ENUMERATION and isinstance(point.value, str):
        if point.value not in point.codes.values():
            what = f"value {point.value!r} is none of the codes"
            yield "value", what, one_of(point.value, point.codes.values())
    elif point.type in _TEXTLESS and isinstance(point.value, str):
        remedy = "write a number, or type: string"
        yield "value", f"{an(point.type)} holds a number, found {point.value!r}", remedy
    if point.type is PointType.STRING:
        text = str(point.value)
        if not text.isascii():
            yield "value", f"a string is ASCII, found {text!r}", "write it without such letters"
        if point.length is not None and len(text) > 2 * point.length:
            what = f"{point.length} registers hold {2 * point.length} characters, not {len(text)}"
            yield "value", what, "write a longer length, or shorter text"


def _limits(point: Point) -> Iterator[Found]:
    if point.low is not None and point.high is not None and point.low > point.high:
        yield "low", f"low {point.low:g} is above high {point.high:g}", "exchange them"
    if point.sentinel is None:
        return
    if point.type not in NUMERIC:
        remedy = "take sentinel out, or write a numeric type"
        yield "sentinel", f"{an(point.type)} has no raw value for a sentinel", remedy
    elif point.type not in FLOATS:
        low, high = INTEGER_LIMITS[point.type]
        if not low <= point.sentinel <= high:
            what = f"sentinel {point.sentinel} is outside {point.type}, {low} to {high}"
            yield "sentinel", what, _signed(point.sentinel, low, high)


def _signed(raw: int, low: int, high: int) -> str:
    folded = raw - 2 * (high + 1)
    if low < 0 and raw > high and low <= folded:
        return f"the same bits are {folded} as a signed number: write that"
    return f"write a raw value from {low} to {high}"


def _access(point: Point) -> Iterator[Found]:
    if point.access is not Access.READ and not point.table.writable:
        remedy = f"write access: r, or table: {Table.HOLDING}"
        yield "access", f"{an(point.table)} cannot be written", remedy
    if point.shows in COMMANDS:
        if point.access is Access.READ:
            what = f"a command ({point.shows}) must be writable"
            yield "access", what, "write access: w or rw, on a coil or holding register"
        if point.type not in _COMMAND_TYPES:
            yield "type", f"a command cannot be {an(point.type)}", one_of("", _COMMAND_TYPES)


def _shows(draft: Draft, point: Point) -> Iterator[Found]:
    if (point.shows == "bits") != (point.type is PointType.BIT_FIELD):
        yield (
            "shows",
            f"{an(point.type)} shows {point.shows}",
            ("write shows: bits where, and only where, the type is a bit field"),
        )
        return
    for number, shows in point.facts():
        field = "shows" if number is None else f"bits.{number}"
        fault = shown_fault(draft, shows)
        if fault:
            yield field, *fault
        elif number is None:
            if point.table.of_bits == (point.type is PointType.BIT):
                yield from _fits(point)
        elif not _yes_or_no(shows) and shows != "spare":
            what = f"bit {number} cannot show {shows}, which is no yes or no"
            yield field, what, "name a fact such as AT-101.A1 or K1.active"
    yield from _named_numbers(draft, point)
    if point.what == "state":
        of_panel = point.subject == "panel"
        whose = "panel" if of_panel else "channel"
        states: tuple[str, ...] = PANEL_STATES if of_panel else CHANNEL_STATES
        for number, state in point.codes.items():
            if state not in states:
                what = f"code {number}: {state!r} is no state of a {whose}"
                yield f"codes.{number}", what, one_of(state, states)


def _named_numbers(draft: Draft, point: Point) -> Iterator[Found]:
    """Whether codes of the first channel, or of an entry of the log, name what there can be."""
    if not _may_be_named(point) or not point.codes:
        return
    tags = [tag for one in (draft.inputs, draft.outputs) for tag in one.names("tag")]
    channels = draft.channels.names("tag")
    if point.what == FIRST_UP:
        known = [NO_FIRST_UP, *channels]
    elif point.what.endswith(".code"):
        known = [NO_EVENT, *EVENTS]
    else:
        known = ["panel", *channels, *tags]
    for number, name in point.codes.items():
        if name not in known:
            what = f"code {number}: {name!r} is nothing that {point.shows} can say"
            yield f"codes.{number}", what, one_of(name, known)


def _may_be_named(point: Point) -> bool:
    """Whether it is a number for which an enumeration will do."""
    if is_first_up_number(point.subject, point.what):
        return True
    return point.subject == "events" and point.what.endswith((".code", ".subject"))


def _yes_or_no(shows: str) -> bool:
    subject, _, aspect = shows.partition(".")
    if shows in COMMANDS or not aspect:
        return subject == "heartbeat"
    return aspect != "state" and not is_number(aspect, subject)


def _fits(point: Point) -> Iterator[Found]:
    """Whether the point's type can hold what it shows."""
    kind, shows = point.type, point.shows
    if is_number(point.what, point.subject):
        if kind not in NUMERIC and not (kind is PointType.ENUMERATION and _may_be_named(point)):
            yield (
                "type",
                f"{an(point.what)} is a number, not {an(kind)}",
                one_of("", sorted(NUMERIC)),
            )
    elif point.what == "state":
        if kind is not PointType.ENUMERATION:
            yield (
                "type",
                f"a state needs codes, not {an(kind)}",
                "write type: enumeration and codes",
            )
    elif shows == "heartbeat":
        if kind not in (*_ONE_BIT, *NUMERIC):
            yield "type", f"a heartbeat is a bit or a number, not {an(kind)}", "write type: uint16"
    elif point.what and shows not in COMMANDS and kind not in _ONE_BIT:
        remedy = "write bit, or 'bit in word' with bit: 0 where a word holds 0 or 1"
        yield "type", f"{shows} is yes or no, not {an(kind)}", remedy


def _unit(point: Point, unit: str | None) -> Iterator[Found]:
    unit = "mA" if point.what == "current" else unit
    is_measure = is_number(point.what, point.subject)
    if unit is not None and is_measure and point.unit not in ("", unit):
        what = f"unit {point.unit!r} is not that of {point.subject}, {unit}"
        yield "unit", what, f"write {unit}, and the scale that goes with it"
