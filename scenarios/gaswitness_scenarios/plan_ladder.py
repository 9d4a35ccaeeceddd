"""How gas takes a channel from one alarm level to the next: steps outward from clean air.

Amounts of gas, in the channel's unit; no times.
"""

from dataclasses import dataclass
from typing import Final

from gaswitness_scenarios.gas_level import CLEAR_OF_SETPOINT
from gaswitness_sitefile.channel import AlarmLevel, Channel, Direction

_PART_OF_WAY: Final = 0.4
"""Where two levels lie near each other: so much of the way between them."""

_CLEAR_OF_DOUBT: Final = 1.2
"""So much of the doubt beyond the tolerance, a coarse register still says on which side it is."""


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
        rungs.append(Rung(name, level, short, past, inside, back, on))
    return rungs


def stages(rungs: tuple[tuple[Rung, ...], ...]) -> tuple[Rung, ...]:
    """All rungs in the order in which a test comes to them."""
    return tuple(rung for ladder in rungs for rung in ladder)
