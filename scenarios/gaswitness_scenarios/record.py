"""What happens in a run, taken down once: into the evidence, to whoever shows progress, and into
the lists that the judge is given. Decides nothing.
"""

import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from gaswitness_probe.applied import Applied, Expectation, Looked
from gaswitness_probe.evidence import Evidence
from gaswitness_probe.evidence_entries import (
    ClockFacts,
    RunFacts,
    applied_body,
    end_body,
    exchange_body,
    expected_body,
    judging_body,
    looked_body,
    polling_body,
    remark_body,
    run_body,
    samples_body,
    step_body,
    verdict_body,
)
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.history import Seen, Value
from gaswitness_probe.read_plan import Block
from gaswitness_probe.verdict import Verdict
from gaswitness_scenarios import events
from gaswitness_scenarios.events import Listener, PhaseName
from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_scenarios.resume import BegunStep, Earlier
from gaswitness_scenarios.script import Expect, Look, PlannedTest, Script, Step
from gaswitness_scenarios.translate import Actions, expectation_of, stimulus_of
from gaswitness_sitefile.site import Site

PROGRESS_EVERY_S: Final = 0.2
"""Real seconds between two events of progress."""
FAILURES_TO_MENTION: Final = 5
"""Failing exchanges in a row after which the run remarks on it."""

Changes = dict[str, tuple[Value, tuple[int, ...]]]


class Record:
    """The record of one run; it is what drivers, client and poller tell."""

    def __init__(
        self,
        site: Site,
        evidence: Evidence | None,
        listen: Listener,
        *,
        durable: bool = False,
    ) -> None:
        """`durable`: a step is on the disk before it is done, and what people say before they are
        told that it is kept; else soon after."""
        self._evidence = evidence
        self._durable = durable
        self._listen = listen
        self._actions = Actions(site)
        self._script: Script | None = None
        self._next_progress = 0.0
        self._part = (0.0, 0.0)
        self.applied: list[Applied] = []
        self.looked: list[Looked] = []
        self.expectations: list[Expectation] = []
        self.remarks: list[str] = []
        self.notes = PlanNotes(self._noted)
        self._doubt_s = 0.0
        self._failing = 0
        self.exchanges = 0
        self.failed_exchanges = 0
        self.steps = 0
        self.steps_skipped = 0

    def facts(self, facts: RunFacts) -> None:
        """The first entry: what runs."""
        self._keep("run", run_body(facts), 0.0)

    def resumed(self, earlier: Earlier, clock: ClockFacts, at_s: float) -> None:
        """The run goes on: what an earlier part of it did is taken over."""
        self._keep("resumed", {"after_s": earlier.last_s, "clock": asdict(clock)}, at_s)
        self.applied = list(earlier.applied)
        self.looked = list(earlier.looked)
        self.expectations = list(earlier.expectations)
        self.notes.take_up(earlier.tests, earlier.deviations, at_s)

    def in_doubt(self, begun: Sequence[BegunStep], at_s: float) -> None:
        """Steps that were under way as the earlier part broke off: the last of them, where nothing
        says that it was done, may have been at any instant up to now."""
        for number, one in enumerate(begun, 1):
            done_s = at_s if one.done_s is None else one.done_s
            applied = self._actions.applied(one.step, one.begun_s, done_s)
            if number < len(begun) or one.done_s is not None:
                self.notes.standing.append(one.step)
                continue
            self.notes.under_way = one.step
            if applied is not None:
                self.applied.append(applied)
                self._keep("applied", applied_body(applied), at_s)

    def phase(self, name: PhaseName, at_s: float, text: str) -> None:
        """A part of the run begins."""
        self._keep("remark", remark_body(f"{name}: {text}") | {"phase": str(name)}, at_s)
        self._listen(events.Phase(name, at_s, text))

    def exchange(self, exchange: Exchange) -> None:
        """A request, and what came of it."""
        self.exchanges += 1
        problem = None
        if exchange.problem is not None:
            problem = exchange.words
            self.failed_exchanges += 1
        self._notice_silence(exchange, problem)
        if exchange.sign or exchange.unsent:
            self._keep("exchange", exchange_body(exchange), exchange.received_s)
        elif self._evidence is not None:
            self._evidence.append_exchange(
                sent_s=exchange.sent_s,
                received_s=exchange.received_s,
                request=exchange.request,
                response=exchange.response,
                problem=problem,
                notes=[str(note) for note in exchange.notes],
            )
        begun_s, length_s = self._part
        if length_s:
            now_s = exchange.received_s
            done_s = min(max(now_s - begun_s, 0.0), length_s)
            self.progress(now_s, done_s, length_s)

    def progress(self, at_s: float, done: float, of: float) -> None:
        """How far the present part of the run is; passed on a few times a real second."""
        real_s = time.perf_counter()
        if real_s >= self._next_progress:
            self._next_progress = real_s + PROGRESS_EVERY_S
            self._listen(events.Progress(at_s, done, of, self.exchanges))

    def _notice_silence(self, exchange: Exchange, problem: str | None) -> None:
        if problem is None:
            if self._failing >= FAILURES_TO_MENTION:
                self.remark("the panel answers again", exchange.received_s)
            self._failing = 0
            return
        self._failing += 1
        if self._failing == FAILURES_TO_MENTION:
            self.remark(f"the panel does not answer any more: {problem}", exchange.received_s)

    def polling(self, blocks: Sequence[Block], refused: Sequence[str], at_s: float) -> None:
        """A poll of these blocks begins; the panel refuses the points named."""
        self._keep("polling", polling_body(blocks, refused), at_s)

    def second(self, body: dict[str, Any], at_s: float) -> None:
        """Something that the other reader did."""
        self._keep("second", body, at_s)

    def surveyed(self, instants: Sequence[float], at_s: float) -> None:
        """The survey is over: what its clock showed each time that it was looked at."""
        self._keep("surveyed", {"instants": list(instants)}, at_s)

    def seen(self, seen: Seen, changes: Changes) -> None:
        """New values in the poll."""
        self._keep("samples", samples_body(seen, changes), seen.answered_s)
        self._listen(events.Seen(seen.answered_s, changes))

    def playing(self, script: Script, begun_s: float, part: tuple[float, float]) -> None:
        """A script begins; `part` is the beginning and length of all scripts, for progress."""
        self._script = script
        self._part = part
        self._keep("remark", remark_body(f"script {script.name}: {script.title}"), begun_s)

    def begun(self, number: int, step: Step, at_s: float) -> None:
        place = f"{step.place.file}:{step.place.line}"
        if isinstance(step, PlannedTest):
            self.notes.begun(step, number, at_s)
        self._keep("step", step_body(number=number, words=step.words, place=place), at_s)
        self.notes.under_way = step
        if stimulus_of(step) is not None:
            # What is about to be done must be on record, however soon all breaks off.
            self._to_disk()
        script = self._playing
        self._listen(events.StepBegun(script.name, number, len(script.steps), step.words, at_s))

    def done(
        self, number: int, step: Step, begun_s: float, done_s: float, *, looked: bool | None = None
    ) -> None:
        self.notes.standing.append(step)
        self.notes.under_way = None
        applied = self._actions.applied(step, begun_s, done_s)
        if applied is not None:
            self._doubt_s = done_s - begun_s
            self.applied.append(applied)
            self._keep("applied", applied_body(applied), done_s)
        if isinstance(step, Look) and looked is not None:
            found = Looked(step.fact, looked, begun_s, done_s)
            self.looked.append(found)
            self._keep("looked", looked_body(found), done_s)
        if isinstance(step, Expect):
            # Counted from the latest instant at which the steps before it were surely done.
            name = self._playing.name
            since_s = max(0.0, done_s - self._doubt_s)
            expected = expectation_of(step, number, done_s, name, since_s)
            self.expectations.append(expected)
            self._keep("expected", expected_body(expected), done_s)
        self._step_over(number, step, begun_s, done_s, "")

    def skipped(self, number: int, step: Step, at_s: float, reason: str) -> None:
        self.notes.under_way = None
        self.steps_skipped += 1
        self.remark(f"step {number} of {self._playing.name} was left out: {reason}", at_s)
        self._step_over(number, step, at_s, at_s, reason)

    def remark(self, text: str, at_s: float, by: str = "", about: str = "") -> None:
        self.remarks.append(text)
        self._keep("remark", remark_body(text, by=by, about=about), at_s)
        self._to_disk()
        self._listen(events.Remark(at_s, text))

    def judging(self, span_s: tuple[float, float], link: str, at_s: float) -> None:
        """The judge is asked; the verdicts that come next are of this span."""
        self._keep("judging", judging_body(span_s, link), at_s)

    def judged(self, verdicts: Sequence[Verdict], at_s: float) -> None:
        """The verdicts, merged."""
        for verdict in verdicts:
            self._keep("verdict", verdict_body(verdict), at_s)
            self._listen(events.Judged(verdict))

    def ended(self, why: str, verdicts: Sequence[Verdict], at_s: float) -> None:
        """The last entry."""
        self._keep("end", end_body(why, verdicts), at_s)

    @property
    def _playing(self) -> Script:
        if self._script is None:
            raise RuntimeError("a step was told of before any script began")
        return self._script

    def _step_over(
        self, number: int, step: Step, begun_s: float, done_s: float, skipped: str
    ) -> None:
        self.steps += 1
        self._to_disk()
        script = self._playing
        of = len(script.steps)
        self._listen(events.StepDone(script.name, number, of, step.words, begun_s, done_s, skipped))

    def _noted(self, kind: str, body: Mapping[str, Any], at_s: float) -> None:
        self._keep(kind, dict(body), at_s)
        self._to_disk()

    def _to_disk(self) -> None:
        """What people did or said is on the disk before they are told of it, or asked for more."""
        if self._durable and self._evidence is not None:
            self._evidence.sync()

    def _keep(self, kind: str, body: dict[str, Any], at_s: float) -> None:
        if self._evidence is not None:
            self._evidence.append(kind, body, at_s)
