"""How a script writes a level of gas, and what it comes to for a channel.

27.5            in the channel's unit
clean           clean air
50 % of range   from the low end of the channel's range
over range      beyond the highest reading that the panel shows
A1              the setpoint of A1
A1 * 1.05       a factor on it; A2 - 2 and A1 + 1 in the channel's unit
past A1         beyond the setpoint by three times its tolerance, whichever way the alarm goes
short of A1     as much before it
"""

import re
from math import isfinite
from typing import Final

from gaswitness_sitefile.channel import Channel, Direction, Unit
from gaswitness_sitefile.problems import near_match

CLEAR_OF_SETPOINT: Final = 3.0
"""`past` and `short of` stand this many tolerances from the setpoint: beyond any doubt."""

_BEYOND_SHOWN: Final = 0.2
"""`over range` stands this part of the span beyond the highest shown reading."""

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_FORMS: Final = (
    "a number, clean, A1, A1*1.05, A2-2, past A1, short of A1, 50 % of range, over range"
)
_AT_LEVEL = re.compile(rf"(A\d)(?:\s*([*+-])\s*({_NUMBER}))?$")
_BESIDE_LEVEL = re.compile(r"(past|short of) (A\d)$")
_OF_RANGE = re.compile(rf"({_NUMBER}) ?% of range$")

_MOST: Final = {
    Unit.PPM: 1e6,
    Unit.PPB: 1e9,
    Unit.VOL: 100.0,
    Unit.LEL: 20_000.0,
    Unit.MG_M3: 1e7,
}
"""Bounds that only a slip of the pen passes: pure gas in ppm, ppb and %vol; in %LEL pure gas with
a lower limit of 0.5 %vol; in mg/m3 a gas of 10 kg/m3. Bounds of our own choice, no source."""


def gas_level(written: float | str, channel: Channel) -> float:
    """The level in the channel's unit.

    Raises ValueError, `what: remedy`, for a form not known, a level that the channel does not
    have, or gas that there cannot be.
    """
    level = _number(written, channel) if isinstance(written, str) else float(written)
    most = _MOST[channel.unit]
    if not isfinite(level) or not 0 <= level <= most:
        raise ValueError(
            f"{level:g} {channel.unit} of {channel.gas} cannot be: "
            f"write a level from 0 to {most:g} {channel.unit}"
        )
    return level


def _number(text: str, channel: Channel) -> float:
    words = " ".join(text.split())
    if re.fullmatch(_NUMBER, words):
        return float(words)
    if words == "clean":
        return channel.clean_reading
    if words == "over range":
        return channel.shown_limits[1] + _BEYOND_SHOWN * channel.span
    if found := _OF_RANGE.match(words):
        return channel.range[0] + float(found[1]) / 100 * channel.span
    if found := _BESIDE_LEVEL.match(words):
        return _beside(found[2], channel, past=found[1] == "past")
    if found := _AT_LEVEL.match(words):
        return _moved(_setpoint(found[1], channel), found[2], found[3])
    near = near_match(words, ("clean", "over range", "past A1", "short of A1"))
    ask = f"did you mean {near}? " if near else ""
    raise ValueError(f"'{words[:60]}' is not a level of gas: {ask}write {_FORMS}")


def _setpoint(name: str, channel: Channel) -> float:
    if name in channel.levels:
        return channel.levels[name].setpoint
    have = ", ".join(channel.levels) or "none"
    raise ValueError(f"{channel.tag} has no alarm level {name}: its levels are {have}")


def _beside(name: str, channel: Channel, *, past: bool) -> float:
    setpoint = _setpoint(name, channel)
    distance = CLEAR_OF_SETPOINT * channel.level_tolerance(name)
    rising = channel.levels[name].direction is Direction.RISING
    return setpoint + distance if rising == past else setpoint - distance


def _moved(setpoint: float, operator: str | None, by: str | None) -> float:
    match operator:
        case "*":
            return setpoint * float(by or 1)
        case "+":
            return setpoint + float(by or 0)
        case "-":
            return setpoint - float(by or 0)
        case _:
            return setpoint
