"""A script as it is played: steps at absolute times, checked against the site, with words for
people. No file is read here, and nothing is done to a panel.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from gaswitness_scenarios.gas_profile import Profile
from gaswitness_simulator.stimulus_bus import BusNoise, BusStimulus
from gaswitness_sitefile.link_fault import FaultKind, LinkFault
from gaswitness_sitefile.problems import Place
from gaswitness_sitefile.source_file import SourceFile

Key = Literal["accept", "reset", "mute"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepBase:
    """What all steps have. `at_s`: its instant, in seconds from the script's start.

    `words` tell a person what to do (or what happens); `said` is what the script's author adds.
    """

    at_s: float
    place: Place
    words: str
    said: str = ""

    @property
    def end_s(self) -> float:
        """When all that the step begins is over, in seconds from the script's start."""
        return self.at_s

    @property
    def only_virtual(self) -> bool:
        """Whether nobody may be asked to do it to a real place or panel."""
        return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Say(StepBase):
    """Only words; nothing is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold(StepBase):
    """Nothing but time passes for `hold_s`."""

    hold_s: float

    @property
    def end_s(self) -> float:
        """When the time is over."""
        return self.at_s + self.hold_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas(StepBase):
    """Gas at a channel's detector goes from `start` along `profile`, in the channel's unit.

    It ends at `level` and stays there from `over_s` after `at_s` on (an exponential counts as
    arrived once 0.1 % of the span remains). On its way it keeps within `lowest` and `highest`.
    """

    channel: str
    start: float
    profile: Profile
    over_s: float
    lowest: float
    highest: float

    @property
    def level(self) -> float:
        """Where the gas comes to rest."""
        return self.profile.final

    @property
    def end_s(self) -> float:
        """When the gas has arrived."""
        return self.at_s + self.over_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(StepBase):
    """A channel put in fault, or its fault mended; with `drop_out`, its detector left the bus."""

    channel: str
    on: bool
    drop_out: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Inhibit(StepBase):
    """A channel's inhibit set or taken away."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Input(StepBase):
    """A digital input made active or not."""

    tag: str
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Press(StepBase):
    """A key of the panel pressed."""

    key: Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Power(StepBase):
    """The panel's supply switched."""

    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelFault(StepBase):
    """A fault of the panel itself made or mended."""

    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Expect(StepBase):
    """The author's own expectation: `fact` is `value`, or a reading lies in `between`.

    It must come within `within_s` and then stay for `for_s`.
    """

    id: str
    fact: str
    within_s: float
    value: bool | None = None
    between: tuple[float, float] | None = None
    for_s: float = 0.0

    @property
    def end_s(self) -> float:
        """When the last instant that it speaks of has passed."""
        return self.at_s + self.within_s + self.for_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Look(StepBase):
    """A person is asked to look or listen: is `fact` so?"""

    fact: str
    question: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSpoilt(StepBase):
    """A fault of the link begins. It does nothing to the panel."""

    fault: LinkFault


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkCleared(StepBase):
    """Faults of the link end: those of `kind`, None for all."""

    kind: type[FaultKind] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak(StepBase):
    """Gas leaks into a room from now on; a flow of 0 stops it."""

    room: str
    gas: str
    flow_m3_h: float

    @property
    def only_virtual(self) -> bool:
        """Nobody lets gas into a real room for a test."""
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Purge(StepBase):
    """Fresh air is blown through a room from now on; a flow of 0 stops it."""

    room: str
    flow_m3_h: float

    @property
    def only_virtual(self) -> bool:
        """A real room has the air that its own plant gives it."""
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAir(StepBase):
    """Cylinder gas taken away from a detector: it meets the air of its room again."""

    channel: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bump(StepBase):
    """Gas of a cylinder led to a channel's detector, where it comes after `dead_s`.

    `share` of what then comes is the cylinder's, the rest the air around, that of a room if
    `in_room`, else clean. `reads`: what the cylinder's gas alone is to the detector, in the
    channel's unit; `own`: it is the channel's gas. `caution` goes to whoever does it.
    """

    channel: str
    gas: str
    reads: float
    own: bool
    share: float
    dead_s: float
    in_room: bool
    caution: str

    @property
    def end_s(self) -> float:
        """When the gas has come."""
        return self.at_s + self.dead_s


@dataclass(frozen=True, slots=True, kw_only=True)
class AdapterOff(StepBase):
    """The adapter of a bump test taken off: the detector meets clean air again, which is at `clean`
    in its unit, or, where that is None, the air of its room."""

    channel: str
    clean: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift(StepBase):
    """A sensor's errors go, over `over_s`, to `zero` (in the channel's unit) and `span` (1 is
    none); None leaves that one as it is."""

    channel: str
    zero: float | None
    span: float | None
    over_s: float = 0.0

    @property
    def only_virtual(self) -> bool:
        """Nobody spoils a real sensor; to calibrate one is another matter."""
        return (self.zero, self.span, self.over_s) != (0.0, 1.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop(StepBase):
    """The current of a channel's loop forced; None leaves it to the detector again."""

    channel: str
    current_ma: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BusChange(StepBase):
    """The detector bus changed: its cable, a device, the terminator, noise."""

    change: BusStimulus

    @property
    def only_virtual(self) -> bool:
        """Nobody puts noise on a real bus; the rest is done by hand."""
        return isinstance(self.change, BusNoise)


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsSwitched(StepBase):
    """The mains switched. `battery`: whether the panel goes on without them."""

    on: bool
    battery: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscoveryAsked(StepBase):
    """Somebody asks the panel for a discovery, which it offers for a while after power-up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchdogRestarts(StepBase):
    """The panel's program hangs, and its watchdog restarts it."""

    @property
    def only_virtual(self) -> bool:
        """Nobody can make a real panel's program hang."""
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputTest(StepBase):
    """An output forced on or off at the panel; None lets it go."""

    output: str
    on: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InTest(StepBase):
    """A channel put in test, or taken out of it."""

    channel: str
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration(StepBase):
    """A channel put in calibration for `for_s`, and its sensor calibrated by the end of it."""

    channel: str
    for_s: float

    @property
    def end_s(self) -> float:
        """When the calibration is over."""
        return self.at_s + self.for_s


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTest(StepBase):
    """A test of a plan begins: all steps up to the next one belong to it.

    `id` is its own in the script. `proves`: what it is to show, each a verdict's id, or that and
    one of its aspects, `cell/AT-101.A2 > K3: rises`. `moves`: tags of outputs that will move.
    """

    id: str
    title: str
    proves: tuple[str, ...]
    moves: tuple[str, ...]


Step = (
    Say
    | PlannedTest
    | BusChange
    | MainsSwitched
    | DiscoveryAsked
    | WatchdogRestarts
    | Hold
    | Gas
    | Fault
    | Inhibit
    | Input
    | Press
    | Power
    | PanelFault
    | OutputTest
    | InTest
    | Calibration
    | Expect
    | Look
    | Leak
    | Purge
    | RoomAir
    | Bump
    | AdapterOff
    | Drift
    | Loop
    | LinkSpoilt
    | LinkCleared
)


@dataclass(frozen=True, slots=True)
class Portion:
    """Steps of a script that are played in a row, the first of them number `first` of the script.

    `begin_s` to `end_s`, in the script's time: from the first step until what comes after the last.
    """

    first: int
    steps: tuple[Step, ...]
    begin_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """How long it takes, in seconds."""
        return self.end_s - self.begin_s


@dataclass(frozen=True, slots=True)
class PlannedPart(Portion):
    """A test of a plan: the step that begins it, and those up to the next test's."""

    test: PlannedTest


@dataclass(frozen=True)
class Script:
    """A script, expanded: `steps` in order of time, the script's own order where times are equal.

    `length_s` is when the last step's end has come. `files`: the script and the traces it plays.
    `sha256` changes when any byte of them does.
    """

    name: str
    title: str
    text: str
    steps: tuple[Step, ...]
    length_s: float
    sha256: str
    files: tuple[SourceFile, ...] = field(repr=False)

    @cached_property
    def tests(self) -> tuple[PlannedPart, ...]:
        """The tests of a plan in order; none in a script that is no plan."""
        steps = self.steps
        begins = [at for at, step in enumerate(steps) if isinstance(step, PlannedTest)]
        parts = []
        ends = [*begins[1:], len(steps)]
        for at, until in zip(begins, ends[: len(begins)], strict=True):
            test = steps[at]
            assert isinstance(test, PlannedTest)
            end_s = self.length_s if until == len(steps) else steps[until].at_s
            parts.append(PlannedPart(at + 1, steps[at:until], test.at_s, end_s, test))
        return tuple(parts)

    @property
    def whole(self) -> Portion:
        """All steps."""
        return Portion(1, self.steps, 0.0, self.length_s)

    @property
    def preamble(self) -> Portion:
        """The steps before the first test; all of them in a script that is no plan."""
        if not self.tests:
            return self.whole
        first = self.tests[0]
        return Portion(1, self.steps[: first.first - 1], 0.0, first.begin_s)
