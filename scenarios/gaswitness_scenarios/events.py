"""What a run says while it goes on: a small closed set of facts, for whoever shows progress."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from gaswitness_probe.history import Value
from gaswitness_probe.verdict import Verdict
from gaswitness_scenarios.result import RunKind, RunResult


class PhaseName(StrEnum):
    """The parts of a run, in order; a survey has no script."""

    LINK = "link"
    IDENTIFICATION = "identification"
    WARM_UP = "warm-up"
    SURVEY = "survey"
    SCRIPT = "script"
    SETTLE = "settle"
    JUDGE = "judge"


@dataclass(frozen=True, slots=True)
class RunStarted:
    """`steps` and `length_s` are sums over the scripts; a person may take longer."""

    kind: RunKind
    site: str
    link: str
    scripts: tuple[str, ...]
    steps: int
    length_s: float


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the run begins."""

    name: PhaseName
    at_s: float
    text: str


@dataclass(frozen=True, slots=True)
class StepBegun:
    """A step is due. `number` counts from 1 within the script."""

    script: str
    number: int
    of: int
    text: str
    at_s: float


@dataclass(frozen=True, slots=True)
class StepDone:
    """A step was done, or left out: `skipped` says why and is empty where it was done."""

    script: str
    number: int
    of: int
    text: str
    begun_s: float
    done_s: float
    skipped: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the present part is: parts of the survey, then seconds of the scripts."""

    at_s: float
    done: float
    of: float
    exchanges: int


@dataclass(frozen=True, slots=True)
class Seen:
    """What changed in an exchange: value and raw registers by point name."""

    at_s: float
    changes: Mapping[str, tuple[Value, tuple[int, ...]]]


@dataclass(frozen=True, slots=True)
class Remark:
    """Words about the run that a reader of its record should know."""

    at_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict, after the run."""

    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RunFinished:
    """The last event of a run."""

    result: RunResult


Event = RunStarted | Phase | StepBegun | StepDone | Progress | Seen | Remark | Judged | RunFinished
Listener = Callable[[Event], None]


def ignore(event: Event) -> None:
    """Listen to nothing."""
