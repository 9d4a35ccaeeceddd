"""What can be done to a virtual panel. Facts of an action, no effect.

Levels and setpoints are in the channel's unit, times in seconds.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from gaswitness_simulator.stimulus_bus import BusStimulus, LifeStimulus
from gaswitness_simulator.stimulus_panel import Calibrate, ForceOutput, PutInTest

Key = Literal["accept", "reset", "mute"]


@dataclass(frozen=True, slots=True)
class Step:
    """Gas goes to `level` at once."""

    level: float


@dataclass(frozen=True, slots=True)
class Ramp:
    """Gas goes to `level` in a straight line that takes `over_s`."""

    level: float
    over_s: float

    def __post_init__(self) -> None:
        _not_negative("over_s", self.over_s)


@dataclass(frozen=True, slots=True)
class Exponential:
    """Gas goes towards `level`, the distance shrinking by e every `tau_s`."""

    level: float
    tau_s: float

    def __post_init__(self) -> None:
        _not_negative("tau_s", self.tau_s)


@dataclass(frozen=True, slots=True)
class Trace:
    """Gas goes through (times_s, levels) in straight lines from where it is, and holds the last.

    `times_s` count from the instant of application and rise; a first time of 0 is a step.
    """

    times_s: tuple[float, ...]
    levels: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.times_s or len(self.times_s) != len(self.levels):
            raise ValueError(
                f"a trace needs a level for each time, found {len(self.times_s)} times "
                f"and {len(self.levels)} levels"
            )
        _not_negative("the first time", self.times_s[0])
        for earlier, later in pairwise(self.times_s):
            if not earlier < later:
                raise ValueError(f"times of a trace must rise, found {later:g} after {earlier:g}")


@dataclass(frozen=True, slots=True)
class Sum:
    """Gas goes on as level + sum of amplitude exp(-u / tau_s), `terms` being (amplitude, tau_s)."""

    level: float
    terms: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if not all(tau_s > 0.0 for _, tau_s in self.terms):
            raise ValueError("every tau_s of a sum must be above 0")


Profile = Step | Ramp | Exponential | Trace | Sum


def final_level(profile: Profile) -> float:
    """Where the gas comes to rest."""
    return profile.levels[-1] if isinstance(profile, Trace) else profile.level


@dataclass(frozen=True, slots=True)
class GasTo:
    """Gas at a channel's detector, beginning from what is there."""

    channel: str
    profile: Profile


@dataclass(frozen=True, slots=True)
class CylinderGas:
    """Gas of a cylinder led to a channel's detector, where it comes `after_s` later.

    `share` of what then comes is the cylinder's gas, the rest the air that the detector meets as it
    begins. `reads`: what the cylinder's gas alone is to the detector, in the channel's unit.
    """

    channel: str
    reads: float
    share: float = 1.0
    after_s: float = 0.0

    def __post_init__(self) -> None:
        _not_negative("after_s", self.after_s)
        if not 0.0 <= self.share <= 1.0:
            raise ValueError(f"share must lie between 0 and 1, found {self.share!r}")


@dataclass(frozen=True, slots=True)
class RoomAir:
    """Cylinder gas taken away: the detector meets the air of its room again."""

    channel: str


@dataclass(frozen=True, slots=True)
class Leak:
    """Gas leaks into a room from now on; a flow of 0 stops it."""

    room: str
    gas: str
    flow_m3_h: float

    def __post_init__(self) -> None:
        _not_negative("flow_m3_h", self.flow_m3_h)


@dataclass(frozen=True, slots=True)
class Purge:
    """Fresh air is blown through a room from now on; a flow of 0 stops it."""

    room: str
    flow_m3_h: float

    def __post_init__(self) -> None:
        _not_negative("flow_m3_h", self.flow_m3_h)


@dataclass(frozen=True, slots=True)
class Drift:
    """A sensor's errors go, in a straight line over `over_s`, to `zero` (in the channel's unit) and
    `span` (1 is none, 0 a sensor that is dead). None leaves that error as it is."""

    channel: str
    zero: float | None
    span: float | None
    over_s: float = 0.0

    def __post_init__(self) -> None:
        _not_negative("over_s", self.over_s)
        _not_negative("span", 0.0 if self.span is None else self.span)


@dataclass(frozen=True, slots=True)
class LoopCurrent:
    """The current of a channel's loop forced from outside; None leaves it to the detector again."""

    channel: str
    current_ma: float | None


@dataclass(frozen=True, slots=True)
class ChannelFault:
    """A sensor fault made or mended."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class DropOut:
    """A detector leaves the bus, or comes back."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class Inhibit:
    """A channel's inhibit set or taken away."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class InputSet:
    """A digital input made active or not."""

    tag: str
    on: bool


@dataclass(frozen=True, slots=True)
class Press:
    """A key pressed, or its command given over the map."""

    key: Key


@dataclass(frozen=True, slots=True)
class Power:
    """The panel's supply switched."""

    on: bool


@dataclass(frozen=True, slots=True)
class PanelFault:
    """A fault of the panel itself made or mended."""

    on: bool


@dataclass(frozen=True, slots=True)
class SetpointTo:
    """An alarm level's setpoint changed, held within the channel's range."""

    channel: str
    level: str
    setpoint: float


OfChannel = (
    GasTo
    | CylinderGas
    | Drift
    | LoopCurrent
    | ChannelFault
    | DropOut
    | Inhibit
    | PutInTest
    | Calibrate
    | SetpointTo
)
"""What is done to one channel."""

Stimulus = (
    OfChannel
    | RoomAir
    | Leak
    | Purge
    | InputSet
    | Press
    | Power
    | PanelFault
    | ForceOutput
    | BusStimulus
    | LifeStimulus
)


def _not_negative(name: str, value: float) -> None:
    if not value >= 0:
        raise ValueError(f"{name} must be 0 or more, found {value!r}")
