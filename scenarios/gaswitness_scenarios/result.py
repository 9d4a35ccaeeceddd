"""What a run leaves behind: its verdicts, and what the record says about how they came about."""

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from gaswitness_probe.evidence_entries import RunFacts
from gaswitness_probe.expect import Expectations
from gaswitness_probe.verdict import Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome


class RunKind(StrEnum):
    """What is done with the panel."""

    REHEARSE = "rehearse"
    WITNESS = "witness"
    SURVEY = "survey"


@dataclass(frozen=True, slots=True)
class RunStats:
    """How a run went. Times are seconds of the run.

    `span_s`: what was judged. `stopped`: why the run ended before its scripts did, empty where it
    did not. `elapsed_s`: real seconds, None in virtual time, so that equal runs have equal results.
    """

    kind: RunKind
    link: str
    driver: str
    speed: float
    seed: int | None
    span_s: tuple[float, float]
    cycles: int
    exchanges: int
    failed_exchanges: int
    steps: int
    steps_skipped: int
    remarks: tuple[str, ...]
    stopped: str
    elapsed_s: float | None


@dataclass(frozen=True, slots=True)
class RunResult:
    """The end of a run.

    `verdicts` are merged by id. `digest` is the head of the evidence's chain in hex, empty where
    no evidence was kept. `tests`: what became of those of a plan. `facts` are those of the record,
    the clock's speed as it was at the end. `seen`: what was seen and what had to be, None where no
    script was played; it says which defects of the map the run would have shown.
    """

    verdicts: tuple[Verdict, ...]
    digest: str
    evidence: Path | None
    stats: RunStats
    facts: RunFacts
    tests: tuple[PlanOutcome, ...] = ()
    seen: Expectations | None = field(default=None, compare=False, repr=False)
