"""Link faults of when and in what pieces an answer goes out, and of its connection's end. Pure."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from random import Random
from types import MappingProxyType
from typing import Any, Final

from gaswitness_simulator.outgoing import Outgoing
from gaswitness_sitefile.link_fault import (
    Bytewise,
    Closes,
    Delay,
    Echo,
    FaultKind,
    HalfOpen,
    Late,
    Merged,
    Resets,
    Split,
    Twice,
)

_SIGMA: Final = 1.0
"""Of a heavy-tailed delay's logarithm."""

Pieces = list[Outgoing]


@dataclass(slots=True)
class Delivery:
    """What a connection remembers: an answer that is held back, and whether it is dead."""

    request: bytes = b""
    held: bytes = b""
    dead: bool = False


Deliver = Callable[[Any, Pieces, Delivery, Random], Pieces]


def seconds_of(delay: Delay, draw: Random) -> float:
    """One such delay, in seconds."""
    if delay.heavy:
        return min(delay.low_s * math.exp(draw.gauss(0.0, _SIGMA)), delay.high_s)
    return draw.uniform(delay.low_s, delay.high_s)


def _echo(_kind: Echo, pieces: Pieces, on: Delivery, _draw: Random) -> Pieces:
    return [Outgoing(0.0, on.request), *pieces]


def _merged(_kind: Merged, pieces: Pieces, on: Delivery, _draw: Random) -> Pieces:
    data = b"".join(one.data for one in pieces)
    if not on.held:
        on.held = data
        return []
    whole, on.held = on.held + data, b""
    return [Outgoing(0.0, whole)]


def _twice(kind: Twice, pieces: Pieces, _on: Delivery, draw: Random) -> Pieces:
    later_s = seconds_of(kind.apart, draw)
    return [*pieces, *(replace(one, delay_s=one.delay_s + later_s) for one in pieces)]


def _split(kind: Split, pieces: Pieces, _on: Delivery, draw: Random) -> Pieces:
    found: Pieces = []
    for one in pieces:
        places = range(1, len(one.data))
        cuts = sorted(draw.sample(places, min(kind.pieces - 1, len(places))))
        parts = [one.data[a:b] for a, b in zip([0, *cuts], [*cuts, None], strict=True)]
        found += _apart(one, parts, kind.apart, draw)
    return found


def _bytewise(kind: Bytewise, pieces: Pieces, _on: Delivery, draw: Random) -> Pieces:
    return [
        part
        for one in pieces
        for part in _apart(one, [bytes((byte,)) for byte in one.data], kind.apart, draw)
    ]


def _apart(one: Outgoing, parts: list[bytes], apart: Delay, draw: Random) -> Pieces:
    found, at_s = [], one.delay_s
    for number, part in enumerate(parts):
        at_s += seconds_of(apart, draw) if number else 0.0
        found.append(Outgoing(at_s, part))
    return found


def _late(kind: Late, pieces: Pieces, _on: Delivery, draw: Random) -> Pieces:
    late_s = seconds_of(kind.delay, draw)
    return [replace(one, delay_s=one.delay_s + late_s) for one in pieces]


def _closes(kind: Closes, pieces: Pieces, _on: Delivery, _draw: Random) -> Pieces:
    kept, at_s = _until_the_end(kind.when, pieces)
    return [*kept, Outgoing(at_s, b"", close=True)]


def _resets(kind: Resets, pieces: Pieces, _on: Delivery, _draw: Random) -> Pieces:
    kept, at_s = _until_the_end(kind.when, pieces)
    return [*kept, Outgoing(at_s, b"", reset=True)]


def _until_the_end(when: str, pieces: Pieces) -> tuple[Pieces, float]:
    """What still goes out before the connection ends, and when that is."""
    if when == "instead":
        return [], 0.0
    left = sum(len(one.data) for one in pieces)
    left = left // 2 if when == "midway" else left
    kept: Pieces = []
    for one in pieces:
        if left > 0:
            kept.append(replace(one, data=one.data[:left]))
        left -= len(one.data)
    return kept, kept[-1].delay_s if kept else 0.0


def _half_open(_kind: HalfOpen, _pieces: Pieces, on: Delivery, _draw: Random) -> Pieces:
    on.dead = True
    return []


DELIVERIES: Final[Mapping[type[FaultKind], Deliver]] = MappingProxyType(
    {
        Echo: _echo,
        Merged: _merged,
        Twice: _twice,
        Split: _split,
        Bytewise: _bytewise,
        Late: _late,
        Closes: _closes,
        Resets: _resets,
        HalfOpen: _half_open,
    }
)
"""What each does to the pieces that go out, in the order in which they act."""
