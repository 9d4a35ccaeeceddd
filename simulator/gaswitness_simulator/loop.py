"""The 4-20 mA loop of a detector, and what its current says by NAMUR NE 43.

Bands: at or below 3.6 and at or above 21 mA is a failure; 3.8 to 20.5 mA measures; what lies
between says nothing either way. Pure.
"""

from enum import StrEnum
from typing import Final

LOW_MA: Final = 4.0
HIGH_MA: Final = 20.0
LEAST_MA: Final = 3.8
MOST_MA: Final = 20.5
FAILS_AT_MOST_MA: Final = 3.6
FAILS_AT_LEAST_MA: Final = 21.0


class Band(StrEnum):
    """What a current says."""

    FAILED_LOW = "failed low"
    BETWEEN_LOW = "indeterminate, low"
    MEASURES = "measures"
    BETWEEN_HIGH = "indeterminate, high"
    FAILED_HIGH = "failed high"


def band(current_ma: float) -> Band:
    """The band that the current is in."""
    if current_ma <= FAILS_AT_MOST_MA:
        return Band.FAILED_LOW
    if current_ma < LEAST_MA:
        return Band.BETWEEN_LOW
    if current_ma <= MOST_MA:
        return Band.MEASURES
    return Band.FAILED_HIGH if current_ma >= FAILS_AT_LEAST_MA else Band.BETWEEN_HIGH


def failed(current_ma: float, *, before: bool) -> bool:
    """Whether the loop counts as failed; between the bands it stays as it was `before`."""
    found = band(current_ma)
    if found in (Band.BETWEEN_LOW, Band.BETWEEN_HIGH):
        return before
    return found is not Band.MEASURES


def current_ma(value: float, low: float, high: float) -> float:
    """The current of a detector that measures `value`, its range being low to high."""
    found = LOW_MA + (HIGH_MA - LOW_MA) * (value - low) / (high - low)
    return min(max(found, LEAST_MA), MOST_MA)


def value_of(current: float, low: float, high: float) -> float:
    """The value that a current stands for, to a nanoampere.

    Counted from the nearer end, so that 3.8 and 20.5 mA are the very limits of what is shown.
    """
    end_ma, end = (LOW_MA, low) if current <= HIGH_MA else (HIGH_MA, high)
    beyond_ma = round((current - end_ma) * 1e6) / 1e6
    return end + beyond_ma / (HIGH_MA - LOW_MA) * (high - low)
