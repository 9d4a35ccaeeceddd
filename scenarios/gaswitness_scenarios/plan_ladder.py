"""How gas takes a channel from one alarm level to the next: steps outward from clean air.

Amounts of gas, in the channel's unit; no times.
"""

from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Final

from gaswitness_scenarios.gas_level import CLEAR_OF_SETPOINT
from gaswitness_sitefile.channel import AlarmLevel, Channel, Direction

_PART_OF_WAY: Final = 0.4
"""Where two levels lie near each other: so much of the way between them."""

_CLEAR_OF_DOUBT: Final = 1.2
"""So much of the doubt beyond the tolerance, a coarse register still says on which side it is."""

_DIGITS: Final = (3, 4, 5)
"""Significant digits of an amount: three, or more where these would take it too far off."""

_PART_OF_EDGE: Final = 0.2
"""Rounding may take an amount so far off, as a part of its distance from the edge."""

_SAME: Final = 1e-6
"""Amounts that differ by so little of their last digit are the same."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One level on the way out. `short` and `past`: gas on either side of its setpoint.

    `inside`: gas between setpoint and clearing point, None where there is no room for it; `back`:
    gas past the clearing point. `on`: the levels that are on at `past`.
    """

    name: str
    level: AlarmLevel
    short: float
    past: float
    inside: float | None
    back: float
    on: tuple[str, ...]


def ladders(channel: Channel, doubt: float) -> tuple[tuple[Rung, ...], ...]:
    """The channel's levels by direction, each direction outward from clean air.

    `doubt`: how far a shown reading may stand from the one that the panel judges.
    """
    found = []
    for direction in (Direction.RISING, Direction.FALLING):
        named = [(n, one) for n, one in channel.levels.items() if one.direction is direction]
        sign = 1.0 if direction is Direction.RISING else -1.0
        named.sort(key=lambda pair: sign * pair[1].setpoint)
        reachable = [p for p in named if sign * (p[1].setpoint - channel.clean_reading) > 0]
        rungs = tuple(_rungs(channel, reachable, sign, doubt))
        if rungs:
            found.append(rungs)
    # the way that the first level lies comes first
    return tuple(sorted(found, key=lambda rungs: rungs[0].name))


def _rungs(
    channel: Channel, named: list[tuple[str, AlarmLevel]], sign: float, doubt: float
) -> list[Rung]:
    rungs = []
    for at, (name, level) in enumerate(named):
        tolerance = channel.level_tolerance(name)
        clear = max(CLEAR_OF_SETPOINT * tolerance, tolerance + _CLEAR_OF_DOUBT * doubt)
        before = named[at - 1][1].setpoint if at else channel.clean_reading
        room = _PART_OF_WAY * abs(level.setpoint - before)
        short = level.setpoint - sign * min(clear, room)
        further = clear
        if at + 1 < len(named):
            further = min(clear, _PART_OF_WAY * abs(named[at + 1][1].setpoint - level.setpoint))
        past = level.setpoint + sign * further
        if past < 0:
            past = 0.0
        clears_at = level.setpoint - sign * level.hysteresis
        inside = None
        if level.hysteresis / 2 > doubt:
            inside = level.setpoint - sign * level.hysteresis / 2
        beyond = max(level.hysteresis / 2, 2 * doubt, 0.2 * channel.level_tolerance(name))
        back = clears_at - sign * beyond
        if sign * (back - channel.clean_reading) < 0:
            back = channel.clean_reading
        on = tuple(name for name, _ in named[: at + 1])
        rungs.append(
            Rung(
                name,
                level,
                plain_beyond(short, level.setpoint, channel.clean_reading),
                plain_beyond(past, level.setpoint),
                None if inside is None else plain_between(inside, level.setpoint, clears_at),
                plain_beyond(back, clears_at, channel.clean_reading),
                on,
            )
        )
    return rungs


def plain_beyond(amount: float, edge: float, end: float | None = None) -> float:
    """The amount in so few digits that a hand can set it, no nearer to the edge than it was, and
    not beyond `end`."""
    if amount in (edge, end):
        return amount
    up = amount > edge
    for digits in _DIGITS:
        step = 10.0 ** (floor(log10(abs(amount))) + 1 - digits) if amount else 1.0
        count = amount / step
        rounded = round((ceil(count - _SAME) if up else floor(count + _SAME)) * step, 9)
        past_end = end is not None and (rounded > end if up else rounded < end)
        if abs(rounded - amount) <= _PART_OF_EDGE * abs(amount - edge) and not past_end:
            return rounded
    return amount


def plain_between(amount: float, one: float, other: float) -> float:
    """The amount in few digits, about as far from both edges as it was."""
    room = min(abs(amount - one), abs(amount - other))
    for digits in _DIGITS:
        rounded = float(f"{amount:.{digits}g}")
        if abs(rounded - amount) <= _PART_OF_EDGE * room:
            return rounded
    return amount


def stages(rungs: tuple[tuple[Rung, ...], ...]) -> tuple[Rung, ...]:
    """All rungs in the order in which a test comes to them."""
    return tuple(rung for ladder in rungs for rung in ladder)
