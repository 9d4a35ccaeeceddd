"""What each kind of point shows: from the panel's state to the bytes of the point (rule 14)."""

import math
from collections.abc import Callable

from gaswitness_simulator.cause import Reader
from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.encode import (
    raw_encoder,
    raw_limits,
    sentinel_bytes,
    text_bytes,
    value_encoder,
)
from gaswitness_simulator.event_log import Event, EventLog
from gaswitness_simulator.slot import COMMAND_KEYS
from gaswitness_simulator.state import PanelState
from gaswitness_sitefile.channel import ReadingOnFault
from gaswitness_sitefile.event_log import CODE_OF, NO_EVENT
from gaswitness_sitefile.life_facts import LIFE_NUMBERS, PANEL_STATES
from gaswitness_sitefile.mode_facts import FIRST_UP, NO_FIRST_UP
from gaswitness_sitefile.points import CHANNEL_STATES, FLOATS, Point, PointType, is_number
from gaswitness_sitefile.site import Site

Renderer = Callable[[], bytes]
HEARTBEAT_S: float = 1.0
"""How often the heartbeat changes where the site file does not say."""


class Shows:
    """Makes the renderers of points. `beats` moves the heartbeat on."""

    def __init__(self, site: Site, state: PanelState, log: EventLog | None = None) -> None:
        self._state = state
        self._log = log
        self._heartbeat_s = site.timing.heartbeat_s or HEARTBEAT_S
        self._count = 0

    def beats(self, at_s: float) -> int:
        """Heartbeats since the power came, at a refresh at `at_s`; renderers show this number."""
        since_s = max(0.0, at_s - self._state.came_s)
        self._count = math.floor(since_s / self._heartbeat_s + 1e-9)
        return self._count

    def flag(self, point: Point, shows: str) -> Reader:
        """Whether a bit is set. ValueError, naming the point, where `shows` cannot be shown."""
        if shows == "heartbeat":
            return lambda: self._count % 2 == 1
        if shows == "constant":
            on = bool(_constant(point))
            return lambda: on
        if shows == "spare" or shows in COMMAND_KEYS:
            return lambda: False
        try:
            return self._state.shown(shows)
        except ValueError as error:
            raise ValueError(f"point {point.name!r}: {error}") from error

    def renderer(self, point: Point) -> Renderer:
        """The point's bytes. ValueError, naming the point, where it cannot be shown."""
        channel = self._state.channels.get(point.subject)
        if point.table.of_bits:
            on = self.flag(point, point.shows)
            return lambda: b"\1" if on() else b"\0"
        if point.type is PointType.STRING:
            return self._text(point)
        if point.shows == "heartbeat":
            return self._heartbeat(point)
        if point.shows in ("spare", "constant"):
            fixed = b"" if point.shows == "spare" else _constant_bytes(point)
            return lambda: fixed.ljust(2 * point.width, b"\0")
        if channel is not None and point.what == "reading":
            return _reading(point, channel)
        if channel is not None and point.what == "state":
            return self._channel_state(point)
        of_panel = self._of_panel(point)
        if of_panel is not None:
            return of_panel
        encode = value_encoder(point)
        if channel is not None and point.what.endswith(".setpoint"):
            level = channel.levels.get(point.what.partition(".")[0])
            if level is None:
                raise ValueError(f"point {point.name!r}: {point.shows} is no level of the channel")
            return lambda: encode(level.setpoint)
        if channel is not None and is_number(point.what, point.subject):
            number = _channel_number(point, channel)
            return lambda: encode(number())
        flag = self.flag(point, point.shows)
        return lambda: encode(1.0 if flag() else 0.0)

    def _of_panel(self, point: Point) -> Renderer | None:
        """The panel's own numbers and states, and its log; None where it is none of these."""
        if point.subject == "events":
            return self._event(point)
        if point.subject != "panel":
            return None
        if point.what == "state":
            return self._panel_state(point)
        if point.what == FIRST_UP and point.codes:
            return self._named(point, lambda: self._state.first_up.tag or NO_FIRST_UP)
        if point.what not in (FIRST_UP, *LIFE_NUMBERS):
            return None
        encode = value_encoder(point)
        return lambda: encode(self._state.panel_number(point.what))

    def _named(self, point: Point, name: Callable[[], str]) -> Renderer:
        """An enumeration's code of what `name` says; 0 for what it does not name."""
        numbers = {said: code for code, said in point.codes.items()}
        encode = raw_encoder(point)
        return lambda: encode(numbers.get(name(), 0))

    def _event(self, point: Point) -> Renderer:
        """The log's count, or a part of an entry; 0 while there is no such entry."""
        log, (number, _, part) = self._log, point.what.partition(".")
        if log is None:
            raise ValueError(f"point {point.name!r}: this panel keeps no event log")
        encode = value_encoder(point)
        if number == "count":
            return lambda: encode(log.count % 0x10000)
        at = int(number)
        if point.codes:
            names: dict[str, Callable[[Event], str]] = {
                "code": lambda event: event.what,
                "subject": lambda event: event.subject,
            }
            said = names[part]
            return self._named(point, lambda: said(one) if (one := log.newest(at)) else NO_EVENT)
        values: dict[str, Callable[[Event], float]] = {
            "code": lambda event: CODE_OF[event.what],
            "subject": log.subject_code,
            "at_s": lambda event: event.at_s,
        }
        value = values[part]
        return lambda: encode(0.0 if (one := log.newest(at)) is None else value(one))

    def _heartbeat(self, point: Point) -> Renderer:
        low, high = raw_limits(point)
        encode = raw_encoder(point)
        return lambda: encode((self._count - low) % (high - low + 1) + low)

    def _channel_state(self, point: Point) -> Renderer:
        numbers = {name: code for code, name in point.codes.items()}
        numbers = numbers or {name: code for code, name in enumerate(CHANNEL_STATES)}
        encode, tag = raw_encoder(point), point.subject
        return lambda: encode(numbers.get(self._state.channel_state(tag, numbers.__contains__), 0))

    def _panel_state(self, point: Point) -> Renderer:
        numbers = {name: code for code, name in point.codes.items()}
        numbers = numbers or {name: code for code, name in enumerate(PANEL_STATES)}
        encode = raw_encoder(point)
        return lambda: encode(numbers.get(self._state.panel_state(), 0))

    def _text(self, point: Point) -> Renderer:
        if point.what == "state" and point.subject in self._state.channels:
            return lambda: text_bytes(point, self._state.channel_state(point.subject))
        if point.shows not in ("constant", "spare"):
            raise ValueError(f"point {point.name!r}: a string cannot show {point.shows}")
        text = text_bytes(point, "" if point.value is None else str(point.value))
        return lambda: text


def _reading(point: Point, channel: ChannelState) -> Renderer:
    encode, scanning, on_fault = value_encoder(point), channel.scanning, channel.facts.on_fault
    sentinel = sentinel_bytes(point)

    def faulty() -> bytes:
        if on_fault is ReadingOnFault.ZERO:
            return encode(0.0)
        if on_fault is ReadingOnFault.NAN and point.type in FLOATS:
            return encode(math.nan)
        if on_fault is not ReadingOnFault.HOLD and sentinel is not None:
            return sentinel
        return encode(channel.held)

    return lambda: faulty() if channel.fault else encode(channel.good_reading(scanning.now))


def _channel_number(point: Point, channel: ChannelState) -> Callable[[], float]:
    """The loop's current, or an average of exposure."""
    if point.what == "current":
        return lambda: channel.current_ma
    name = point.what.partition(".")[0]
    if channel.exposure is None or name not in channel.exposure.averages:
        raise ValueError(f"point {point.name!r}: {point.shows} is no average of the channel")
    average = channel.exposure.averages[name]
    return lambda: average.value


def _constant(point: Point) -> float:
    if point.value is None or isinstance(point.value, float):
        return point.value or 0.0
    named = [code for code, name in point.codes.items() if name == point.value]
    try:
        return float(named[0]) if named else float(point.value)
    except ValueError as error:
        raise ValueError(f"point {point.name!r}: {point.value!r} is not a number") from error


def _constant_bytes(point: Point) -> bytes:
    named = isinstance(point.value, str) and point.value in point.codes.values()
    return (raw_encoder if named else value_encoder)(point)(_constant(point))
