"""What each point means, in the words of the trade: levels with their setpoints, states, behaviour
in fault. Pure; says what the site file says and judges nothing."""

from collections.abc import Mapping
from typing import Final

from gaswitness_sitefile.channel import (
    AlarmLevel,
    Channel,
    Direction,
    LevelsOnFault,
    ReadingOnFault,
)
from gaswitness_sitefile.gases import is_oxygen
from gaswitness_sitefile.matrix import Cause, Fact, facts_of
from gaswitness_sitefile.points import FLOATS, NUMERIC, Order, Point, PointType
from gaswitness_sitefile.site import InhibitActs, Site

_CHANNEL: Final[Mapping[str, str]] = {
    "over_range": "reading above the end of its range",
    "under_range": "reading below the beginning of its range",
    "comms_fault": "its detector does not answer on the bus",
    "missing": "the last discovery did not find its detector",
    "wrong_type": "the last discovery found a detector of another type",
    "test": "in test by the panel's own means",
    "calibration": "in calibration",
    "first_up": "was the first in alarm",
    "current": "current of its loop",
    "state": "state",
}
_PANEL: Final[Mapping[str, str]] = {
    "fault": "any fault of the panel, or of a channel that is not inhibited",
    "warm_up": "the panel warms up: alarm levels are off, whatever the gas",
    "unaccepted": "a level or fault has come that nobody has accepted yet",
    "inhibit": "at least one channel is inhibited: it drives nothing",
    "test": "something is in test or forced",
    "in_test": "something is in test or forced",
    "discovery_open": "a discovery of the detectors is offered",
    "discovering": "the panel discovers its detectors",
    "on_battery": "the mains have failed: the panel runs on its battery",
    "battery_low": "the battery is nearly empty",
    "restarted": "the panel has restarted by itself; until reset",
    "bus_fault": "fault of the detector bus",
    "setup_differs": "the detectors found are not those of the setup",
    "state": "stage of its life",
    "first_up": "number of the channel that was first in alarm",
    "devices_found": "detectors that the last discovery found",
    "differences": "differences that the last discovery found",
    "battery": "charge of the battery in %",
    "reset": "command: as the reset key; clears latched levels and effects whose cause is gone",
    "accept": "command: as the accept key; acknowledges, and changes no effect",
    "mute": "command: as the mute key; silences what can be muted",
}
_OUTPUT: Final[Mapping[str, str]] = {
    "active": "acts (what the panel commands; no proof that the device moved)",
    "muted": "muted",
    "forced": "forced by hand, whatever its causes",
}
_PLAIN: Final[Mapping[str, str]] = {
    "spare": "spare: ignore it, it may come to mean something",
    "bits": "flags",
    "constant": "fixed",
}


def number(value: float, digits: int = 7) -> str:
    """A number as people write it: 25, 19.5, 0.00001."""
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    return f"{value:.{digits}g}"


def fact_words(site: Site, shows: str) -> str:
    """What `shows` means on this panel."""
    subject, _, what = shows.partition(".")
    if subject in site.channel_of:
        channel = site.channel_of[subject]
        return f"{_who(subject, channel.name, channel.gas)}: {_channel_words(site, channel, what)}"
    if subject in site.output_of:
        output = site.output_of[subject]
        said = _OUTPUT.get(what, what)
        if what == "energised":
            rest = "at rest and drops to act" if output.normally_energised else "to act"
            said = f"coil is energised {rest}"
        return f"{_who(subject, output.name, str(output.kind))}: {said}"
    if subject in site.input_of:
        found = site.input_of[subject]
        return f"{_who(subject, found.name, str(found.kind))}: active"
    if subject == "panel":
        return f"Panel: {_PANEL.get(what, what.replace('_', ' '))}"
    if subject == "any":
        said = "fault" if what == "fault" else f"alarm level {what}"
        return f"Any channel: {said}, unless it is inhibited"
    if subject == "events":
        return f"Event log: {what.replace('_', ' ')}"
    if subject == "heartbeat":
        return f"Heartbeat: changes {_heartbeat(site)}"
    return _PLAIN.get(shows, shows)


def _heartbeat(site: Site) -> str:
    each = site.timing.heartbeat_s
    return "while the panel lives" if each is None else f"every {each:g} s while the panel lives"


def _who(tag: str, *said: str) -> str:
    inside = ", ".join(part for part in said if part)
    return f"{tag} ({inside})" if inside else tag


def _channel_words(site: Site, channel: Channel, what: str) -> str:
    name, _, part = what.partition(".")
    if name in channel.levels:
        level = channel.levels[name]
        if part == "setpoint":
            return f"setpoint of {name}"
        return f"alarm level {name}: {level_words(channel, level)}"
    if channel.exposure is not None and name in channel.exposure.limits:
        limit = f"{number(channel.exposure.limits[name])} {channel.unit}"
        over = "15 min" if name == "STEL" else "8 h"
        if part == "average":
            return f"average over {over}"
        return f"average over {over} has reached {limit}"
    match what:
        case "reading":
            low, high = channel.range
            return f"reading, {number(low)} to {number(high)} {channel.unit}"
        case "fault":
            after = f", {channel.fault_delay_s:g} s after it came" if channel.fault_delay_s else ""
            return f"fault of detector or signal{after}"
        case "inhibit":
            off = "; its levels show off" if site.behaviour.inhibit is InhibitActs.LEVELS else ""
            return f"inhibited: it drives no effect{off}"
    return _CHANNEL.get(what, what.replace("_", " "))


def level_words(channel: Channel, level: AlarmLevel) -> str:
    """When the level comes on, and when it goes off."""
    rising = level.direction is Direction.RISING
    back = level.setpoint + (-level.hysteresis if rising else level.hysteresis)
    sides = ("and above", "below") if rising else ("and below", "above")
    said = f"on at {number(level.setpoint)} {channel.unit} {sides[0]}"
    if level.on_delay_s:
        said += f" for {level.on_delay_s:g} s"
    if level.latching:
        return f"{said}; latches until reset"
    return f"{said}, off {sides[1]} {number(back)}"


def cause_words(site: Site, cause: Cause) -> str:
    """A short description of a cause: where and what; of joined ones and votes what alone."""
    if not isinstance(cause, Fact):
        return "; ".join(dict.fromkeys(_condition(site, fact) for fact in facts_of(cause)))
    channel = site.channel_of.get(cause.subject)
    name = "" if channel is None else channel.name
    return ", ".join(part for part in (name, _condition(site, cause)) if part)


def _condition(site: Site, fact: Fact) -> str:
    subject, what = fact.subject, fact.what
    channel = site.channel_of.get(subject)
    if channel is not None and what in channel.levels:
        level = channel.levels[what]
        sign = "\u2265" if level.direction is Direction.RISING else "\u2264"
        return f"{channel.gas} {sign} {number(level.setpoint)} {channel.unit}"
    if channel is not None:
        return f"{channel.gas} {what.replace('_', ' ')}"
    if subject in site.input_of:
        found = site.input_of[subject]
        return found.name or str(found.kind)
    if subject == "panel":
        return _PANEL.get(what, "")
    if subject == "any" and what:
        return "any channel that is not inhibited"
    return ""


def fault_words(site: Site, point: Point) -> str:
    """What the point shows while its channel is in fault; empty where a fault does not touch it."""
    channel = site.channel_of.get(point.subject)
    if channel is None:
        return ""
    if point.what == "reading":
        return _reading_in_fault(point, channel)
    if point.what in channel.levels:
        return {
            LevelsOnFault.HOLD: "holds as it was",
            LevelsOnFault.CLEAR: "goes off, though there may be gas",
            LevelsOnFault.TRIP: "comes on",
        }[channel.levels_on_fault]
    return ""


def _reading_in_fault(point: Point, channel: Channel) -> str:
    flag = f"take {channel.tag}.fault with it"
    kind = channel.on_fault
    if kind is ReadingOnFault.ZERO:
        like = "no oxygen at all" if is_oxygen(channel.gas) else "clean air"
        return f"shows 0, which looks like {like}: {flag}"
    if kind is ReadingOnFault.NAN and point.type in FLOATS:
        return "shows NaN: no value"
    if kind is not ReadingOnFault.HOLD and point.sentinel is not None:
        return f"shows raw {point.sentinel}: no value"
    return f"keeps the last good reading, and looks alive: {flag}"


def type_words(point: Point) -> str:
    """The type, with the bit or length that belongs to it."""
    if point.type is PointType.BIT_IN_WORD:
        return f"bit {point.bit} in word"
    if point.type is PointType.STRING:
        return f"string, {point.width} registers"
    return str(point.type)


def order_words(point: Point) -> str:
    """The order of bytes, where there is more than one to put in order."""
    if point.table.of_bits:
        return ""
    if point.width == 1 or point.type is PointType.STRING:
        return "low byte first" if point.order.bytes_swapped else ""
    low = "low word first" if point.order.low_word_first else "high word first"
    return f"{point.order}: {low}" + (", bytes swapped" if point.order.bytes_swapped else "")


def scale_words(point: Point) -> str:
    """From the raw number to the value; empty where they are the same."""
    if point.type not in NUMERIC or (point.scale == 1 and point.offset == 0):
        return ""
    scale = f"raw \u00d7 {number(point.scale, 15)}" if point.scale != 1 else "raw"
    if not point.offset:
        return scale
    sign = "+" if point.offset > 0 else "-"
    return f"{scale} {sign} {number(abs(point.offset), 15)}"


ORDERS: Final[Mapping[Order, str]] = {
    Order.ABCD: "high word first, high byte first in each: as the protocol sends one register",
    Order.CDAB: "low word first, high byte first in each",
    Order.BADC: "high word first, low byte first in each",
    Order.DCBA: "low word first, low byte first in each",
}
"""What the letters of the orders mean, A being the most significant byte."""
