"""What can be done to a detector bus, to the mains, and to a panel's life. Facts of an action.

Segments are named by the node to which they lead; `on` makes a thing, off mends it.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BusBreak:
    """A segment's cable is broken, or mended."""

    to: str
    on: bool


@dataclass(frozen=True, slots=True)
class BusShort:
    """A segment's two wires touch, or no longer."""

    to: str
    on: bool


@dataclass(frozen=True, slots=True)
class BusMend:
    """A segment's cable is whole again, whatever it had."""

    to: str


@dataclass(frozen=True, slots=True)
class DeviceOff:
    """A device is taken off its base, or put back."""

    tag: str
    on: bool


@dataclass(frozen=True, slots=True)
class DeviceType:
    """A device of another type sits in the place of the right one, or the right one again."""

    tag: str
    wrong: bool


@dataclass(frozen=True, slots=True)
class DeviceAddress:
    """A device is set to another address; None: to its own."""

    tag: str
    address: int | None


@dataclass(frozen=True, slots=True)
class WiresSwapped:
    """The two wires of the bus change places at a device, which works either way round."""

    tag: str


@dataclass(frozen=True, slots=True)
class TerminatorOff:
    """The line terminator is taken away, or put back."""

    on: bool


@dataclass(frozen=True, slots=True)
class BusNoise:
    """Noise spoils this part of the answers on the bus, in percent; 0 ends it."""

    percent: float

    def __post_init__(self) -> None:
        if not 0 <= self.percent <= 100:
            raise ValueError(f"noise must be from 0 to 100 %, found {self.percent!r}")


BusStimulus = (
    BusBreak
    | BusShort
    | BusMend
    | DeviceOff
    | DeviceType
    | DeviceAddress
    | WiresSwapped
    | TerminatorOff
    | BusNoise
)


@dataclass(frozen=True, slots=True)
class Mains:
    """The mains come or go; with a battery the panel goes on as long as that lasts."""

    on: bool


@dataclass(frozen=True, slots=True)
class WatchdogRestart:
    """The panel's program hangs, and its watchdog restarts it."""


@dataclass(frozen=True, slots=True)
class AskDiscovery:
    """Somebody asks the panel for a discovery; it heeds that only while it offers one."""


LifeStimulus = Mains | WatchdogRestart | AskDiscovery
