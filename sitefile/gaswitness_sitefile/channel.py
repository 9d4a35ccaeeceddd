"""Channels: one measured gas at one place, with its alarm levels."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.gases import is_oxygen
from gaswitness_sitefile.model import Number, Record, Seconds, Tag

LEVEL_NAMES = ("A1", "A2", "A3")


class Direction(StrEnum):
    """Which way a reading crosses the setpoint to raise the alarm."""

    RISING = "rising"
    FALLING = "falling"


class Unit(StrEnum):
    """Units in which fixed detectors report."""

    LEL = "%LEL"
    VOL = "%vol"
    PPM = "ppm"
    PPB = "ppb"
    MG_M3 = "mg/m3"


class DetectorType(StrEnum):
    """Sensing principles, as the trade names them."""

    CATALYTIC = "catalytic"
    INFRARED = "infrared"
    ELECTROCHEMICAL = "electrochemical"
    OXYGEN_CELL = "oxygen cell"
    SEMICONDUCTOR = "semiconductor"
    PHOTOIONISATION = "photoionisation"
    THERMAL_CONDUCTIVITY = "thermal conductivity"
    OTHER = "other"


class ReadingOnFault(StrEnum):
    """What the reading's register shows while the channel is in fault."""

    HOLD = "hold"
    ZERO = "zero"
    SENTINEL = "sentinel"
    NAN = "nan"


class LevelsOnFault(StrEnum):
    """What becomes of a channel's alarm levels while it is in fault."""

    HOLD = "hold"
    CLEAR = "clear"
    TRIP = "trip"


class AlarmLevel(Record):
    """One alarm level of a channel.

    `setpoint`, `hysteresis` and `setpoint_tolerance` are in the channel's unit. `hysteresis` is
    measured back from the setpoint, against the direction of the alarm. `setpoint_tolerance` is how
    far from the setpoint the level may come on and still be accepted; left out, it is 5 % of the
    setpoint or 2 % of the span, the smaller.
    """

    setpoint: Number
    direction: Direction = Direction.RISING
    hysteresis: Annotated[Number, Field(ge=0)] = 0.0
    on_delay_s: Seconds = 0.0
    latching: bool = False
    setpoint_tolerance: Annotated[Number, Field(gt=0)] | None = None


class Channel(Record):
    """One measured gas at one place.

    `range` is (low, high) in `unit`. `clean` is the reading in clean air; left out, it is 20.9 for
    oxygen in %vol and 0 otherwise. `noise` is the largest deviation of the shown reading from the
    true one, either way, in `unit`. `tolerance` is how far a settled reading may stand from the gas
    applied. Readings are shown no lower than `under_range` and no higher than `over_range`; left
    out, these are 10 % of the span beyond the range at either end.
    """

    tag: Tag
    name: str = ""
    gas: str
    unit: Unit
    range: tuple[Number, Number]
    detector: DetectorType = DetectorType.OTHER
    zone: str = ""
    clean: Number | None = None
    t90_s: Seconds = 30.0
    noise: Annotated[Number, Field(ge=0)] = 0.0
    tolerance: Annotated[Number, Field(gt=0)] | None = None
    under_range: Number | None = None
    over_range: Number | None = None
    on_fault: ReadingOnFault = ReadingOnFault.HOLD
    levels_on_fault: LevelsOnFault = LevelsOnFault.HOLD
    fault_delay_s: Seconds = 0.0
    levels: Annotated[dict[str, AlarmLevel], Field(default_factory=dict)]

    @model_validator(mode="after")
    def _range_has_a_span(self) -> Self:
        low, high = self.range
        if not low < high:
            raise ValueError(
                f"range must rise from low to high, found [{low:g}, {high:g}]: "
                "write the lower end first"
            )
        return self

    @property
    def span(self) -> float:
        """The width of the range, in the channel's unit."""
        return self.range[1] - self.range[0]

    @property
    def clean_reading(self) -> float:
        """What the channel shows in clean air, in its unit."""
        if self.clean is not None:
            return self.clean
        return 20.9 if is_oxygen(self.gas) and self.unit is Unit.VOL else 0.0

    @property
    def shown_limits(self) -> tuple[float, float]:
        """Lowest and highest reading that the panel shows, in the channel's unit."""
        margin = 0.1 * self.span
        low = self.range[0] - margin if self.under_range is None else self.under_range
        high = self.range[1] + margin if self.over_range is None else self.over_range
        return low, high

    @property
    def reading_tolerance(self) -> float:
        """Accepted deviation of a settled reading, in the channel's unit: 5 % of span by default.

        IEC 60079-29-1 allows the greater of 5 % of the range and 10 % of the reading (from memory).
        """
        return 0.05 * self.span if self.tolerance is None else self.tolerance

    def level_tolerance(self, name: str) -> float:
        """Accepted deviation of the level's setpoint, in the channel's unit."""
        level = self.levels[name]
        if level.setpoint_tolerance is not None:
            return level.setpoint_tolerance
        own = 0.05 * abs(level.setpoint)
        return min(own, 0.02 * self.span) if own else 0.02 * self.span
