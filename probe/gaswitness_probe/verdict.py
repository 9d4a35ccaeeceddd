"""What the probe concludes: verdicts and their aspects. Facts of a conclusion, no reasoning."""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """The four verdicts. An inconclusive is never rounded, up or down."""

    PROVEN = "proven"
    FAILED = "failed"
    INCONCLUSIVE = "inconclusive"
    NOT_RUN = "not_run"


class Kind(StrEnum):
    """What a verdict is about."""

    LINK = "link"
    POINT = "point"
    READING = "reading"
    FLAG = "flag"
    LEVEL = "level"
    CELL = "cell"
    OUTPUT = "output"
    EXPECTATION = "expectation"


class Proof(StrEnum):
    """Who says so: the panel over the wire, or a person who looked or listened."""

    REPORTED = "reported"
    WITNESSED = "witnessed"


Interval = tuple[float, float]
"""(low, high), in seconds."""


@dataclass(frozen=True, slots=True)
class Aspect:
    """One side of a verdict, such as the rise of an effect or its hold after the cause has gone.

    `response_s`: the interval in which the measured response lies; None where none was measured.
    `at_s`: instant of the run that `because` speaks of; None where there is none. `proof`: who says
    so, where that is not as for the verdict as a whole.
    """

    name: str
    outcome: Outcome
    expected: str = ""
    seen: str = ""
    response_s: Interval | None = None
    because: str = ""
    at_s: float | None = None
    proof: Proof | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """A conclusion about one thing, named by `id`, such as `cell/AT-101.A1 > K1`."""

    id: str
    kind: Kind
    outcome: Outcome
    expected: str = ""
    seen: str = ""
    response_s: Interval | None = None
    because: str = ""
    proof: Proof = Proof.REPORTED
    aspects: tuple[Aspect, ...] = ()


def overall(outcomes: list[Outcome]) -> Outcome:
    """The outcome of a whole from those of its parts.

    One failure fails it; else one doubt leaves it in doubt; else one proof proves it, parts that
    were not run aside; nothing run is not run.
    """
    for outcome in (Outcome.FAILED, Outcome.INCONCLUSIVE, Outcome.PROVEN):
        if outcome in outcomes:
            return outcome
    return Outcome.NOT_RUN
