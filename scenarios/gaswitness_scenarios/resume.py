"""What an earlier part of a run left, for the part that goes on with it. Reads the record alone."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import overload

from gaswitness_probe.applied import Applied, Expectation, Looked
from gaswitness_probe.evidence_file import EvidenceError
from gaswitness_probe.evidence_read import Entry
from gaswitness_probe.history import PointHistory, Run
from gaswitness_probe.kept_exchange import OutOfStepError
from gaswitness_probe.view import LONGEST_BLINK_S
from gaswitness_scenarios.kept_run import KeptRun
from gaswitness_scenarios.kept_tests import played_tests
from gaswitness_scenarios.plan_outcome import PlayedTest
from gaswitness_scenarios.restore import keys_after, undoing
from gaswitness_scenarios.script import Script, Step
from gaswitness_sitefile.site import Site


@dataclass(frozen=True, slots=True)
class BegunStep:
    """A step that was begun, and until when it was done; None where the record does not say."""

    step: Step
    begun_s: float
    done_s: float | None


@dataclass(frozen=True)
class Earlier:
    """An earlier part of a run.

    `begun_s`: when polling began, None where it never did. `last_s`: its last instant on record.
    `standing`: the steps of the test that was under way, in order. Instants in seconds of the run.
    """

    path: Path
    begun_s: float | None
    last_s: float
    applied: tuple[Applied, ...]
    looked: tuple[Looked, ...]
    expectations: tuple[Expectation, ...]
    tests: tuple[PlayedTest, ...]
    deviations: int
    standing: tuple[BegunStep, ...]
    histories: Mapping[str, PointHistory]
    utc_anchor: str

    @property
    def finished(self) -> frozenset[str]:
        """Ids of the tests that need not be done again."""
        latest = {test.id: test for test in self.tests}
        return frozenset(one.id for one in latest.values() if one.how in ("done", "skipped"))

    def goes_on_s(self, dwell_s: float) -> float:
        """The earliest instant at which the next part may begin: so long after the last that the
        judge takes the panel to have been out of sight."""
        return self.last_s + max(LONGEST_BLINK_S, 3 * dwell_s) + 1.0


def earlier_part(kept: KeptRun) -> Earlier:
    """What the run left. Raises EvidenceError where it was no run of a plan, or is damaged."""
    plans = [script for script in kept.scripts if script.tests]
    if len(plans) != 1 or len(kept.scripts) != 1:
        raise EvidenceError(f"{kept.path}: only the run of a plan goes on, and this was none")
    polling = kept.of("polling")
    try:
        histories = dict(kept.histories()) if polling else {}
    except OutOfStepError as error:
        raise EvidenceError(f"{kept.path}: {error}") from error
    entries = kept.of(*kept.by_kind)
    last_s = max(
        [entry.at_s for entry in entries]
        + [history.runs[-1].last.answered_s for history in histories.values() if history.runs]
    )
    return Earlier(
        kept.path,
        polling[0].at_s if polling else None,
        last_s,
        kept.applied,
        kept.looked,
        kept.expectations,
        played_tests(kept.tests),
        len(kept.deviations),
        _standing(kept, plans[0]),
        histories,
        kept.facts.clock.utc_anchor,
    )


def _standing(kept: KeptRun, script: Script) -> tuple[BegunStep, ...]:
    """The steps begun since the last test began, unless the panel came to rest after it."""
    tests = kept.of("test", "test_end", "at_rest")
    begun = [entry for entry in tests if entry.kind == "test"]
    if not begun or any(_rests(entry) for entry in tests if entry.seq > begun[-1].seq):
        return ()
    found: list[BegunStep] = []
    for entry in kept.of("step", "applied"):
        if entry.seq < begun[-1].seq:
            continue
        if entry.kind == "step":
            step = _step_of(entry, script, kept.site.site, [one.step for one in found])
            if step is not None:
                found.append(BegunStep(step, entry.at_s, None))
        elif found and found[-1].done_s is None:
            last = found[-1]
            found[-1] = BegunStep(last.step, last.begun_s, float(entry.body["done_s"]))
    return tuple(found)


def _rests(entry: Entry) -> bool:
    return entry.kind == "at_rest" or (entry.kind == "test_end" and entry.body["how"] == "done")


def _step_of(entry: Entry, script: Script, site: Site, done: Sequence[Step]) -> Step | None:
    """The step that was begun: of the script by its number, or of the way back to rest by its
    words."""
    number = int(entry.body["number"])
    if number:
        return script.steps[number - 1]
    ways = (*undoing(site, done), *undoing(site, done[:-1], *done[-1:]), *keys_after(site, done))
    return next((step for step in ways if step.words == entry.body["words"]), None)


class Joined(Sequence[Run]):
    """The runs of a point before and after a break, one after the other."""

    def __init__(self, before: Sequence[Run], after: Sequence[Run]) -> None:
        self._before = before
        self._after = after

    def __len__(self) -> int:
        return len(self._before) + len(self._after)

    @overload
    def __getitem__(self, at: int) -> Run: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Run]: ...
    def __getitem__(self, at: int | slice) -> Run | Sequence[Run]:
        if isinstance(at, slice):
            return tuple(self)[at]
        index = range(len(self))[at]
        first = len(self._before)
        return self._before[index] if index < first else self._after[index - first]

    def __iter__(self) -> Iterator[Run]:
        yield from self._before
        yield from self._after


def joined(
    before: Mapping[str, PointHistory], after: Mapping[str, PointHistory]
) -> dict[str, PointHistory]:
    """What was seen of each point in both parts."""
    if not before:
        return dict(after)
    names = dict.fromkeys([*before, *after])
    empty: tuple[Run, ...] = ()

    def runs(part: Mapping[str, PointHistory], name: str) -> Sequence[Run]:
        return part[name].runs if name in part else empty

    return {
        name: PointHistory(name, Joined(runs(before, name), runs(after, name))) for name in names
    }
