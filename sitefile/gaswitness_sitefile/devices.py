"""What is wired to the panel beside detectors: digital inputs, and outputs."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.model import PositiveSeconds, Record, Tag


class InputKind(StrEnum):
    """What a digital input is wired to."""

    STOP_BUTTON = "stop button"
    KEY_SWITCH = "key switch"
    FIRE_CONTACT = "fire contact"
    FLOW_SWITCH = "flow switch"
    DOOR_CONTACT = "door contact"
    OTHER = "other"


class OutputKind(StrEnum):
    """What an output drives."""

    RELAY = "relay"
    BEACON = "beacon"
    SOUNDER = "sounder"
    VALVE = "valve"
    FAN = "fan"


class DigitalInput(Record):
    """A contact that the panel reads. `active` means the state that the matrix calls active."""

    tag: Tag
    name: str = ""
    kind: InputKind = InputKind.OTHER
    zone: str = ""


class Output(Record):
    """A device that the panel drives.

    `normally_energised`: the coil is energised at rest and drops to act, so that a lost supply acts
    too (fail-safe). `mutable`: the mute key silences it. `at`: tag of the channel whose detector
    carries it; left out, it sits at the panel. `pulse_s`: it acts for so long each time that a
    cause comes anew, whether the cause stays or not, and no longer. `minimum_on_s`: it acts at
    least so long each time that one does.
    """

    tag: Tag
    name: str = ""
    kind: OutputKind
    zone: str = ""
    normally_energised: bool = False
    mutable: bool = False
    at: Annotated[Tag | None, Field(default=None)]
    pulse_s: PositiveSeconds | None = None
    minimum_on_s: PositiveSeconds | None = None

    @property
    def timed_s(self) -> float | None:
        """How long a cause that comes anew makes it act by itself; None where it does not."""
        return self.minimum_on_s if self.pulse_s is None else self.pulse_s

    @model_validator(mode="after")
    def _one_time(self) -> Self:
        if self.pulse_s is not None and self.minimum_on_s is not None:
            raise ValueError(
                "pulse_s says how long it acts, and minimum_on_s as well: keep one of them"
            )
        return self

    @model_validator(mode="after")
    def _a_beacon_is_not_muted(self) -> Self:
        if self.mutable and self.kind is OutputKind.BEACON:
            raise ValueError(
                "a beacon is never mutable: put sounder and beacon on outputs of their own"
            )
        return self
