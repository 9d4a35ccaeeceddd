"""What was done to the panel, as far as the probe is told: each action with its two instants."""

from dataclasses import dataclass
from typing import Literal

Key = Literal["accept", "reset", "mute"]


@dataclass(frozen=True, slots=True)
class GasApplied:
    """Gas at a channel's detector, in the channel's unit.

    It moves from where it was to `level` and stays there from `over_s` after the action on (0 for a
    step); `lowest` and `highest` bound it on its way.
    """

    channel: str
    level: float
    over_s: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class FaultMade:
    """A channel put in fault, or its fault mended. `drop_out`: its detector left the bus."""

    channel: str
    on: bool
    drop_out: bool = False


@dataclass(frozen=True, slots=True)
class InhibitSet:
    """A channel's inhibit set or taken away."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class InputMade:
    """A digital input made active or not."""

    tag: str
    on: bool


@dataclass(frozen=True, slots=True)
class KeyPressed:
    """Accept, reset or mute pressed at the panel or commanded over the map."""

    key: Key


@dataclass(frozen=True, slots=True)
class PowerSet:
    """The panel's supply switched."""

    on: bool


@dataclass(frozen=True, slots=True)
class PanelFaultMade:
    """A fault of the panel itself (supply, earth, memory) made or mended."""

    on: bool


@dataclass(frozen=True, slots=True)
class PanelUpset:
    """Something was done to the bus, the mains or the program whose effects are not worked out.

    From then on faults that nobody made may be there. `may_restart`: the panel may begin anew.
    """

    may_restart: bool = False


@dataclass(frozen=True, slots=True)
class OutputForced:
    """An output held on or off by hand at the panel; None lets it go."""

    output: str
    on: bool | None


@dataclass(frozen=True, slots=True)
class InTestSet:
    """A channel put in test, or taken out of it."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A channel put in calibration for `for_s`, and then adjusted."""

    channel: str
    for_s: float


Action = (
    GasApplied
    | FaultMade
    | InhibitSet
    | InputMade
    | KeyPressed
    | PowerSet
    | PanelFaultMade
    | OutputForced
    | InTestSet
    | Calibrated
    | PanelUpset
)


@dataclass(frozen=True, slots=True)
class Applied:
    """An action that happened at some instant from `begun_s` to `done_s`, in seconds of the run."""

    begun_s: float
    done_s: float
    action: Action


@dataclass(frozen=True, slots=True)
class Looked:
    """What a person saw or heard of a fact, asked at `asked_s` and answered at `answered_s`."""

    fact: str
    value: bool
    asked_s: float
    answered_s: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """A tester's own expectation, beside those that follow from the matrix.

    From `from_s` on, within `within_s`, `fact` is `value` (for a reading: lies in `between`), and,
    where `for_s` is above 0, stays so that long. `from_s` is when what it waits for was surely
    done; `since_s`, where given, when that may have been at the earliest.
    """

    id: str
    fact: str
    from_s: float
    within_s: float
    value: bool | None = None
    between: tuple[float, float] | None = None
    for_s: float = 0.0
    since_s: float | None = None
