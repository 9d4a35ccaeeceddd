"""What was seen: samples as intervals of time, kept as runs of equal values.

A request sent at `asked_s` and answered at `answered_s` shows what the register held at some
instant between the two. Nothing here judges.
"""

from collections.abc import Sequence
from dataclasses import dataclass

Value = float | int | bool | str | None
"""A decoded value: a bool for a bit, a number in the point's unit, a text, the name of
an enumeration's state; None where the raw value is the sentinel, a NaN, or has no meaning."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One sample's two instants, in seconds of the run."""

    asked_s: float
    answered_s: float


@dataclass(frozen=True, slots=True)
class Run:
    """A value seen in every sample from `first` to `last`, none of them further than `dwell` apart.

    `raw` holds the registers (or bits) as received. `count` is how many samples say so.
    """

    value: Value
    raw: tuple[int, ...]
    first: Seen
    last: Seen
    count: int = 1


@dataclass(frozen=True, slots=True)
class PointHistory:
    """All that was seen of one point, in order of time."""

    name: str
    runs: Sequence[Run]
