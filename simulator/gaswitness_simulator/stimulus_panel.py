"""What people do to a panel beside its keys: channels tried and adjusted, outputs forced.

Times in seconds.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PutInTest:
    """A channel put in test, or taken out of it."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class Calibrate:
    """A channel put in calibration for `for_s`; at its end the sensor's errors are gone."""

    channel: str
    for_s: float

    def __post_init__(self) -> None:
        if not self.for_s > 0:
            raise ValueError(f"for_s must be above 0, found {self.for_s!r}")


@dataclass(frozen=True, slots=True)
class ForceOutput:
    """An output held on or off by hand; None leaves it to its causes again."""

    output: str
    on: bool | None
