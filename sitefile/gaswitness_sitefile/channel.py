"""Channels: one measured gas at one place, with its alarm levels."""

import math
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.gases import is_oxygen
from gaswitness_sitefile.model import Number, Record, Seconds, Tag
from gaswitness_sitefile.rooms import gas_key

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


class SignalKind(StrEnum):
    """How a detector tells the panel its reading: on the bus, or as a loop current."""

    BUS = "bus"
    LOOP = "4-20 mA"


EXPOSURES = ("STEL", "TWA")
"""Averages of a reading that are alarms: over 15 min, and of 8 h in any 24 h."""


class Exposure(Record):
    """Limits of exposure in the channel's unit; an average that reaches its limit is an alarm.

    `stel`: of the last 15 min. `twa`: the sum over the last 24 h, divided by 8 h (EH40/2005, 4th
    edition 2020, Calculation methods).
    """

    stel: Annotated[Number, Field(gt=0)] | None = None
    twa: Annotated[Number, Field(gt=0)] | None = None

    @model_validator(mode="after")
    def _one_at_least(self) -> Self:
        if self.stel is None and self.twa is None:
            raise ValueError("exposure has neither limit: write stel: or twa: and the limit")
        return self

    @property
    def limits(self) -> dict[str, float]:
        """The limits that are given, by the name of their alarm."""
        both = {"STEL": self.stel, "TWA": self.twa}
        return {name: limit for name, limit in both.items() if limit is not None}


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
    out, these are 10 % of the span beyond the range at either end; of a 4-20 mA signal, where NAMUR
    NE 43 has it end, at 3.8 and 20.5 mA.

    `t50_s`, where given, makes a dead time come before the lag; `recovery_t90_s` is the T90 towards
    clean air. `room`: where a virtual panel has the detector; its unit counts on `lfl_vol_percent`,
    left out the tables'. `cross_sensitivity`: what the reading shows of each unit of another gas of
    the room. `over_range_latches`: `over_range` goes only by reset. `under_range_is_fault`: so.
    `fail_ma`: the loop current with which the detector says that it failed.
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
    t50_s: Annotated[Number, Field(gt=0)] | None = None
    recovery_t90_s: Seconds | None = None
    room: Tag | None = None
    lfl_vol_percent: Annotated[Number, Field(gt=0, le=100)] | None = None
    cross_sensitivity: Annotated[dict[str, Number], Field(default_factory=dict)]
    over_range_latches: bool = False
    under_range_is_fault: bool = False
    signal: SignalKind = SignalKind.BUS
    fail_ma: Annotated[Number, Field(ge=0, le=25)] = 3.5
    exposure: Exposure | None = None
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

    @model_validator(mode="after")
    def _a_lag_has_both_times(self) -> Self:
        # A lag alone has t90 = t50 * ln 10 / ln 2: a t50 below that share of t90 has no dead time.
        if self.t50_s is not None and not 0.3010 * self.t90_s <= self.t50_s < self.t90_s:
            raise ValueError(
                f"t50_s {self.t50_s:g} does not fit t90_s {self.t90_s:g}: write it from "
                f"{math.log10(2) * self.t90_s:.4g} (no dead time) to below t90_s"
            )
        return self

    @model_validator(mode="after")
    def _each_other_gas_once(self) -> Self:
        seen = {gas_key(self.gas): "the channel's own gas"}
        for gas in self.cross_sensitivity:
            before = seen.setdefault(gas_key(gas), gas)
            if before != gas:
                raise ValueError(f"cross_sensitivity to {gas} is to {before}: take it out")
        return self

    @model_validator(mode="after")
    def _a_failed_loop_says_so(self) -> Self:
        if self.signal is SignalKind.LOOP and 3.6 < self.fail_ma < 21.0:
            raise ValueError(
                f"fail_ma {self.fail_ma:g} is no failure by NAMUR NE 43: "
                "write at most 3.6, or at least 21"
            )
        return self

    @property
    def dead_time_s(self) -> float:
        """Seconds before the lag begins to answer: 0 without `t50_s`."""
        if self.t50_s is None:
            return 0.0
        return max(0.0, self.t50_s - self.tau_s * math.log(2.0))

    @property
    def tau_s(self) -> float:
        """The time constant of the lag: from t90, or from t90 less t50 where both are given."""
        if self.t50_s is None:
            return self.t90_s / math.log(10.0)
        return (self.t90_s - self.t50_s) / math.log(5.0)

    @property
    def slowest_t90_s(self) -> float:
        """The longer T90 of those towards gas and towards clean air."""
        return max(self.t90_s, self.recovery_t90_s or 0.0)

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
        below, above = (0.2 / 16, 0.5 / 16) if self.signal is SignalKind.LOOP else (0.1, 0.1)
        low = self.range[0] - below * self.span if self.under_range is None else self.under_range
        high = self.range[1] + above * self.span if self.over_range is None else self.over_range
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
