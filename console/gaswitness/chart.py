"""A chart over time as data: curves, bars, bands and marks on one time axis. Draws nothing, and
knows neither panels nor runs.

Times are seconds on the chart's axis. Everything carries its text: nothing is told by colour alone.
"""

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """What a bar says over a stretch of time."""

    ON = "on"
    OFF = "off"
    UNKNOWN = "unknown"


class Shade(StrEnum):
    """Kinds of bands, each with a hatching of its own."""

    WAITING = "waiting"
    DEAD = "dead"
    ASIDE = "aside"
    WINDOW = "window"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A state from `from_s` until `to_s`; `text` stands on it where it fits."""

    from_s: float
    to_s: float
    state: State
    text: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """A row of stretches, in order and without overlap; where none is, nothing is drawn."""

    label: str
    stretches: tuple[Stretch, ...]
    name: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """(time, value) in order; a NaN is a gap. `applied`: what was done, not what was seen: thin."""

    label: str
    points: tuple[tuple[float, float], ...]
    applied: bool = False


@dataclass(frozen=True, slots=True)
class Limit:
    """A level line, such as a setpoint, with its text at the right."""

    value: float
    text: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Band:
    """A shaded stretch of time: warm-up, inhibit, a window to be met, an interval of doubt."""

    from_s: float
    to_s: float
    text: str
    shade: Shade


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at an instant, told in the legend under its number."""

    at_s: float
    number: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plot:
    """Curves over one scale. `low`, `high`: at least this much of it is shown."""

    unit: str
    curves: tuple[Curve, ...]
    limits: tuple[Limit, ...] = ()
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Strip:
    """A part of the chart from left to right: a plot, or none, and bars beneath it."""

    title: str
    plot: Plot | None = None
    bars: tuple[Bar, ...] = ()
    bands: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """Strips from the top down; `bands` and `marks` go through all of them.

    `about`: lines beneath the title. `summary`: what the picture shows, for those who cannot see
    it. `axis`: what the time is counted from. `notes` stand at the foot. `told`: whether the foot
    says what each mark is; elsewhere, a table beside the chart does.
    """

    title: str
    about: tuple[str, ...]
    summary: str
    axis: str
    from_s: float
    to_s: float
    strips: tuple[Strip, ...]
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()
    notes: tuple[str, ...] = ()
    told: bool = True
