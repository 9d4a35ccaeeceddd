"""Gas by which a channel's reading cannot be taken for another's, nor for itself read wrongly.

Each channel gets amounts that no other register would show when two are swapped, that come out
otherwise with another order of bytes or words, and that tell a scale ten times too large.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final

from gaswitness_probe.decode import decode
from gaswitness_probe.facts import reading_points, resolution
from gaswitness_simulator.encode import value_encoder
from gaswitness_sitefile.channel import Channel, Direction
from gaswitness_sitefile.points import Order, Point
from gaswitness_sitefile.site import Site

LOWEST_PART: Final = 0.14
HIGHEST_PART: Final = 0.96
"""Between these parts of the span."""

APART: Final = 1.3
"""Two readings that must not be mistaken lie so many tolerances and margins apart."""

_CLEAR_OF_SETPOINT: Final = 1.5
_FINEST: Final = 24


@dataclass(frozen=True, slots=True)
class Signature:
    """Gas for one channel, one amount for each settled reading, in its unit."""

    tag: str
    amounts: tuple[float, ...]


def signatures(site: Site, plateaus: int = 2) -> dict[str, Signature]:
    """For each channel, amounts by which it is told from every other one at some plateau; at the
    first of them it is in alarm, where it has a level that can be.
    """
    chosen: list[tuple[_Sight, tuple[float, ...]]] = []
    found: dict[str, Signature] = {}
    for number, channel in enumerate(site.channels):
        sight = _Sight(site, channel)
        candidates = sight.amounts()
        alarming = [one for one in candidates if sight.alarms(one)] or candidates
        best: tuple[float, ...] = ()
        for amounts in _codes(candidates, plateaus, number):
            if amounts[0] not in alarming:
                continue
            best = best or amounts
            if all(_told_apart(sight, amounts, *other) for other in chosen):
                best = amounts
                break
        chosen.append((sight, best))
        found[channel.tag] = Signature(channel.tag, best)
    return found


def _codes(amounts: list[float], plateaus: int, number: int) -> Iterator[tuple[float, ...]]:
    """Tuples of amounts, all different within, begun elsewhere for each channel."""
    count = len(amounts)
    if count < plateaus:
        yield tuple((amounts * plateaus)[:plateaus])
        return
    for turn in range(count * (count - 1)):
        shift = turn // count + 1
        first = (number + turn) % count
        code = tuple(amounts[(first + shift * at) % count] for at in range(plateaus))
        if len(set(code)) == plateaus:
            yield code


class _Sight:
    """How a channel's registers show gas."""

    def __init__(self, site: Site, channel: Channel) -> None:
        self.channel = channel
        self.points = reading_points(site, channel.tag)
        grain = max((resolution(p) for p in self.points), default=0.0)
        self.need = APART * (channel.reading_tolerance + channel.noise + 2 * grain)
        self._raw: dict[tuple[str, float], tuple[int, ...]] = {}

    def amounts(self) -> list[float]:
        """Amounts over the span, tolerances apart, the ends first, each read only one way."""
        channel = self.channel
        low = channel.range[0]
        steps = max(2, min(_FINEST, int((HIGHEST_PART - LOWEST_PART) * channel.span / self.need)))
        parts = [LOWEST_PART + (HIGHEST_PART - LOWEST_PART) * at / steps for at in range(steps + 1)]
        found = [_plain(low + part * channel.span, channel.span) for part in parts]
        clear = [one for one in found if one >= 0 and self._clear(one) and self._one_way(one)]
        clear = clear or [one for one in found if one >= 0]
        half = (len(clear) + 1) // 2
        return [one for pair in _zipped(clear[half:][::-1], clear[:half]) for one in pair]

    def alarms(self, amount: float) -> bool:
        """Whether a level of the channel is on at the amount."""
        return any(
            amount >= level.setpoint
            if level.direction is Direction.RISING
            else amount <= level.setpoint
            for level in self.channel.levels.values()
        )

    def _clear(self, amount: float) -> bool:
        """Not so near a setpoint or its clearing point that nobody can say what the level does."""
        for name, level in self.channel.levels.items():
            margin = _CLEAR_OF_SETPOINT * self.channel.level_tolerance(name)
            low = level.setpoint - level.hysteresis - margin
            high = level.setpoint + level.hysteresis + margin
            if low < amount < high:
                return False
        return True

    def _one_way(self, amount: float) -> bool:
        for point in self.points:
            raw = self.raw(point, amount)
            for order in Order:
                other = point.model_copy(update={"order": order})
                if order is not point.order and point.width > 1 and self.near(other, raw, amount):
                    return False
        return True

    def near(self, point: Point, raw: tuple[int, ...], amount: float) -> bool:
        """Whether the registers, read as the point says, pass for the amount."""
        value = decode(point, raw)
        if not isinstance(value, int | float) or not isfinite(value):
            return False
        return abs(value - amount) < self.need

    def raw(self, point: Point, amount: float) -> tuple[int, ...]:
        """The registers that show the amount."""
        key = (point.name, amount)
        if key not in self._raw:
            data = value_encoder(point)(amount)
            self._raw[key] = tuple(
                int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2)
            )
        return self._raw[key]


def _told_apart(
    one: _Sight, amounts: tuple[float, ...], other: _Sight, others: tuple[float, ...]
) -> bool:
    """Whether the two channels' registers, swapped, would be seen at some plateau of each."""
    pairs = list(zip(amounts, others, strict=True))
    mine = any(not _passes(one, other, a, b) for a, b in pairs)
    return mine and any(not _passes(other, one, b, a) for a, b in pairs)


def _passes(mine: _Sight, theirs: _Sight, amount: float, other: float) -> bool:
    """Whether a register of `mine` that holds what `theirs` shows would pass for the amount."""
    if not mine.points or not theirs.points:
        return False
    point, source = mine.points[0], theirs.points[0]
    return source.width == point.width and mine.near(point, theirs.raw(source, other), amount)


def _plain(value: float, span: float) -> float:
    """A number that people can read: three digits of the span."""
    digits = 0
    while span * 10**digits < 200 and digits < 6:
        digits += 1
    return round(value, digits)


def _zipped(first: Sequence[float], second: Sequence[float]) -> Iterator[tuple[float, ...]]:
    for at in range(max(len(first), len(second))):
        yield tuple(row[at] for row in (first, second) if at < len(row))
