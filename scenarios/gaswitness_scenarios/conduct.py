"""The course of a run, whatever the link and whoever plays: link, warm-up, survey, scripts, judge.

Which panel, which link and which driver there are is the caller's choice.
"""

import asyncio
import contextlib
import math
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import GATEWAY_EXCEPTIONS
from gaswitness_probe.errors import NoReply
from gaswitness_probe.evidence import Evidence
from gaswitness_probe.expect import Expectations
from gaswitness_probe.framing import Framing
from gaswitness_probe.history import PointHistory
from gaswitness_probe.judge import judge, judge_by
from gaswitness_probe.poller import Poller
from gaswitness_probe.provable import provable
from gaswitness_probe.read_plan import plan_reads
from gaswitness_probe.signal import Window
from gaswitness_probe.survey import SurveyProgress, survey
from gaswitness_probe.survey_clock import KeptClock
from gaswitness_probe.survey_second import Second
from gaswitness_probe.survey_second_kept import KeptSecond
from gaswitness_probe.transport import Transport
from gaswitness_probe.verdict import Verdict
from gaswitness_probe.view import PanelView
from gaswitness_probe.workable import workable
from gaswitness_scenarios import events
from gaswitness_scenarios.attendance import NOBODY, Attendance
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.control import announced
from gaswitness_scenarios.driver import Driver, StoppedError
from gaswitness_scenarios.equipment import Equipment
from gaswitness_scenarios.events import Listener, PhaseName
from gaswitness_scenarios.facts_of_run import clock_facts, facts_of_run
from gaswitness_scenarios.identification import read_identity
from gaswitness_scenarios.merge import all_verdicts
from gaswitness_scenarios.plan_outcome import (
    PlanOutcome,
    PlayedTest,
    never_begun,
    outcomes_of_tests,
)
from gaswitness_scenarios.plan_run import PlanCourse
from gaswitness_scenarios.poll_clock import PollClock, PollingOver
from gaswitness_scenarios.record import Record
from gaswitness_scenarios.rest import not_at_rest, readings_away, settle_s
from gaswitness_scenarios.result import RunKind, RunResult, RunStats
from gaswitness_scenarios.resume import Earlier, joined
from gaswitness_scenarios.script import Script, Step
from gaswitness_scenarios.shown import shows
from gaswitness_scenarios.unprovable import unprovable_words
from gaswitness_scenarios.warm_up import wait_out_warm_up
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import LinkAddress, parse_link
from gaswitness_sitefile.load import LoadedSite

TRIES_TO_HEAR: Final = 3
"""Reads without any reply after which nothing is taken to be there."""

Cast = Callable[[Mapping[int, bytes]], AbstractAsyncContextManager[Driver]]
"""From the panel's identification objects to who plays the scripts."""


@dataclass(frozen=True, slots=True)
class PlanChoice:
    """How a plan is played. `chosen`: ids of its tests, None for all. `equipment`: who takes part,
    and what with. `earlier`: the part of the run that this one goes on with.

    `sees`: is given, once, what tells whether the panel itself shows a step done.
    """

    attendance: Attendance = NOBODY
    chosen: frozenset[str] | None = None
    equipment: Equipment | None = None
    earlier: Earlier | None = None
    sees: Callable[[Callable[[Step], bool | None]], None] | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """What is run. `cast` is None where no script is played; `framing` None for Modbus/TCP.

    `second` reads every point again in the survey; None where the link leads to nothing outside.
    """

    kind: RunKind
    site: LoadedSite
    scripts: tuple[Script, ...]
    transport: Transport
    unit: int
    link: str
    driver: str
    cast: Cast | None
    evidence: Path | None
    options: Mapping[str, str]
    framing: Framing | None = None
    second: Second | None = None
    plan: PlanChoice = PlanChoice()

    @property
    def address(self) -> LinkAddress | None:
        """The link's address; None where the link is in memory."""
        return parse_link(self.link) if ":" in self.link else None


async def conduct(course: Course, clock: LoopClock, listen: Listener) -> RunResult:
    """Run to the end, or to where it is stopped.

    Raises LinkError where the panel cannot be reached or never answers, and other GaswitnessErrors
    where the run cannot begin; the evidence says why.
    """
    begun = time.perf_counter()
    evidence = _evidence(course)
    try:
        record = Record(course.site.site, evidence, listen, durable=course.kind is RunKind.WITNESS)
        run = _Run(course, clock, record)
        verdicts = await run.whole(listen)
    finally:
        digest = "" if evidence is None else evidence.close()
    elapsed_s = None if clock.is_virtual else time.perf_counter() - begun
    result = RunResult(
        verdicts=verdicts,
        digest=digest,
        evidence=course.evidence,
        stats=run.stats(elapsed_s),
        tests=outcomes_of_tests(_tests(course, record.notes.tests), verdicts),
        facts=replace(run.facts, clock=clock_facts(clock)),
        seen=run.seen,
    )
    listen(events.RunFinished(result))
    return result


def _tests(course: Course, played: Sequence[PlayedTest]) -> tuple[PlayedTest, ...]:
    """Those of the plan that were to be done, those that never came at the end."""
    planned = [part.test for script in course.scripts for part in script.tests]
    return (*played, *never_begun(planned, played, course.plan.chosen))


def _evidence(course: Course) -> Evidence | None:
    if course.plan.earlier is not None:
        return Evidence.open_again(course.plan.earlier.path)
    return None if course.evidence is None else Evidence.create(course.evidence)


class _Run:
    def __init__(self, course: Course, clock: LoopClock, record: Record) -> None:
        self.course = course
        self.clock = clock
        self.record = record
        self.site = course.site.site
        self.client = Client(
            course.transport,
            unit=course.unit,
            clock=clock,
            pace=self.site.pace,
            on_exchange=record.exchange,
            framing=course.framing,
        )
        self.facts = facts_of_run(
            course.kind,
            course.site,
            course.scripts,
            clock,
            course.link,
            course.driver,
            course.options,
        )
        self.stopped = ""
        self.span_s = (0.0, 0.0)
        self.begun_s = 0.0
        self.cycles = 0
        self.seen: Expectations | None = None

    async def whole(self, listen: Listener) -> tuple[Verdict, ...]:
        earlier, plan = self.course.plan.earlier, self.course.plan
        if earlier is None:
            self.record.facts(self.facts)
        else:
            self.record.resumed(earlier, clock_facts(self.clock), self.clock.now())
        if plan.equipment is not None:
            self.record.notes.equipment(plan.equipment, self.clock.now())
        scripts = self.course.scripts
        listen(
            events.RunStarted(
                self.course.kind,
                self.site.panel.tag,
                self.course.link,
                tuple(script.name for script in scripts),
                sum(len(script.steps) for script in scripts),
                sum(script.length_s for script in scripts),
            )
        )
        try:
            verdicts = await self._verdicts()
        except (GaswitnessError, asyncio.CancelledError) as error:
            self.record.ended(str(error) or "interrupted", (), self.clock.now())
            raise
        finally:
            await self.client.close()
        now_s = self.clock.now()
        self.record.judging(self.span_s, self.course.link, now_s)
        self.record.judged(verdicts, now_s)
        self.record.ended(self.stopped or "it ran to its end", verdicts, now_s)
        return verdicts

    async def _verdicts(self) -> tuple[Verdict, ...]:
        identity = await self._reach()
        if self.course.cast is None:
            return all_verdicts(await self._survey())
        self._say_what_cannot_be_proven()
        async with self.course.cast(identity) as driver:
            surveyed = await self._survey()
            judged = await self._play(driver)
        return all_verdicts(surveyed, judged)

    async def _reach(self) -> Mapping[int, bytes]:
        self._phase(PhaseName.LINK, f"connecting to {self.course.link}")
        await self.client.open()
        identity = await read_identity(self.client)
        names = [identity[n].decode("ascii", "replace") for n in (0, 1, 2) if n in identity]
        self._phase(
            PhaseName.IDENTIFICATION, ", ".join(names) or "the panel does not say who it is"
        )
        self._take_announced_speed(identity)
        await self._hear()
        return identity

    async def _hear(self) -> None:
        """Raises NoReply where nothing that is Modbus was ever answered."""
        first = plan_reads(self.site)[0]
        words = ""
        unreached = 0
        for _ in range(TRIES_TO_HEAR):
            # A connection that was lost is made anew only once the back-off allows it.
            await self.clock.sleep_until(self.client.free_s)
            exchange = await self.client.read(first.table, first.address, first.count)
            words = exchange.words
            if exchange.exception_code in GATEWAY_EXCEPTIONS:
                unreached += 1
            elif self.client.statistics.replies:
                return
        if unreached:
            raise NoReply(
                f"a gateway answers at {self.course.link}, but it does not reach unit "
                f"{self.course.unit} ({words}): check the unit id and the line behind the gateway"
            )
        if self.client.statistics.replies == 0:
            raise NoReply(
                f"{self.course.link} takes the connection, but unit {self.course.unit} gives no "
                f"answer in Modbus ({words}): check the address, the unit id, and that Modbus is "
                "switched on there, on a serial line also baud rate, parity and the two wires"
            )

    def _take_announced_speed(self, identity: Mapping[int, bytes]) -> None:
        said = announced(identity)
        if said is None or self.clock.is_virtual:
            return
        self.clock.take_speed(said.speed)
        self.record.remark(
            "this is a virtual panel: it proves nothing about a real one. It plays "
            f"{said.speed:g} s in one, and from here on the run's clock does too",
            self.clock.now(),
        )

    def _say_what_cannot_be_proven(self) -> None:
        for text in unprovable_words(provable(self.site, self.course.address)):
            self.record.remark(text, self.clock.now())

    async def _survey(self) -> tuple[Verdict, ...]:
        self._phase(PhaseName.WARM_UP, "waiting until the panel has warmed up")
        await wait_out_warm_up(self.client, self.site, self.clock, self.record)
        self._phase(PhaseName.SURVEY, "checking the map")
        begun_s = self.clock.now()
        clock = KeptClock(self.clock)
        found = await survey(
            self.client,
            self.site,
            clock,
            progress=self._surveyed,
            second=self._second(),
        )
        self.span_s = (begun_s, self.clock.now())
        self.record.surveyed(clock.instants, self.span_s[1])
        return found

    def _second(self) -> Second | None:
        second = self.course.second
        return None if second is None else KeptSecond(second, self.clock, self.record.second)

    def _surveyed(self, progress: SurveyProgress) -> None:
        self.record.progress(self.clock.now(), progress.done, progress.of)

    async def _play(self, driver: Driver) -> tuple[Verdict, ...]:
        poll_clock = PollClock(self.clock)
        plan = await workable(self.client, plan_reads(self.site, self.course.address))
        if plan.refused:
            names = ", ".join(plan.refused)
            self.record.remark(
                f"the panel refuses to show {names}; the rest is polled around that",
                self.clock.now(),
            )
        poller = Poller(self.client, self.site, plan.blocks, poll_clock, self.record.seen)
        begun_s = self.begun_s = self.clock.now()
        earlier = self.course.plan.earlier
        if earlier is not None and earlier.begun_s is not None:
            self.begun_s = earlier.begun_s
        self.record.polling(plan.blocks, plan.refused, begun_s)
        await poller.cycle()
        if earlier is not None:
            self.record.in_doubt(earlier.standing, self.clock.now())
        await self._while_polling(poller, poll_clock, driver)
        self.span_s = (self.begun_s, self.clock.now())
        self.cycles = poller.cycles
        self._phase(PhaseName.JUDGE, "weighing what was seen")
        view = PanelView(
            self.site,
            self._histories(poller),
            self.record.applied,
            self.record.looked,
            Window(*self.span_s),
            self.course.address,
        )
        self.seen = Expectations(view)
        return judge_by(self.seen, self.record.expectations)

    async def _while_polling(self, poller: Poller, poll_clock: PollClock, driver: Driver) -> None:
        polling = asyncio.create_task(_poll(poller))
        playing = asyncio.create_task(self._scripts(poller, driver))
        try:
            await asyncio.wait({polling, playing}, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            # Interrupted by the keyboard: what was seen so far is judged all the same.
            self._stop("interrupted")
            task = asyncio.current_task()
            if task is not None:
                task.uncancel()
        poll_clock.stop()
        if not playing.done():
            playing.cancel()
        await asyncio.wait({polling, playing})
        for task in (polling, playing):
            if not task.cancelled():
                task.result()

    async def _scripts(self, poller: Poller, driver: Driver) -> None:
        """All scripts, each from a panel that had time to come to rest."""
        pause_s = settle_s(self.site)
        scripts = self.course.scripts
        length_s = sum(script.length_s + pause_s for script in scripts)
        part = (self.clock.now(), length_s)
        for script in scripts:
            self._phase(PhaseName.SCRIPT, f"{script.name}: {script.title}")
            self.record.playing(script, self.clock.now(), part)
            moving = not_at_rest(self.site, poller.histories())
            if moving:
                text = f"the panel is not at rest as {script.name} begins: {', '.join(moving)}"
                self.record.remark(text, self.clock.now())
            try:
                await self._script(script, poller, driver)
            except StoppedError as stopped:
                self.record.notes.over(self.clock.now(), "stopped", str(stopped))
                self._stop(str(stopped))
            self.record.notes.over(self.clock.now())
            self._phase(PhaseName.SETTLE, f"{pause_s:g} s for the last effects")
            await self.clock.sleep_until(self.clock.now() + pause_s)
            if self.stopped:
                return

    async def _script(self, script: Script, poller: Poller, driver: Driver) -> None:
        if not script.tests or not driver.by_portions:
            await driver.play(script, self.clock, self.record)
            return

        async def live(test: PlayedTest) -> PlanOutcome:
            verdicts = await self._judged_by_now(poller)
            return outcomes_of_tests([test], verdicts)[0]

        plan = self.course.plan
        plan.attendance.write_to(self.record.notes, self.record.remark)
        if plan.sees is not None:
            plan.sees(lambda step: shows(self.site, poller.histories(), step))
        await PlanCourse(
            self.site,
            script,
            driver,
            self.clock,
            self.record,
            self.record.notes,
            plan.attendance,
            live,
            lambda: readings_away(self.site, poller.histories()),
            settle_s(self.site),
            plan.chosen,
            plan.earlier is not None,
            frozenset() if plan.earlier is None else plan.earlier.finished,
        ).play()

    def _histories(self, poller: Poller) -> Mapping[str, PointHistory]:
        earlier = self.course.plan.earlier
        return joined({} if earlier is None else earlier.histories, poller.histories())

    async def _judged_by_now(self, poller: Poller) -> tuple[Verdict, ...]:
        """In a thread, so that the panel is asked on meanwhile."""
        histories = self._histories(poller)
        applied, looked = tuple(self.record.applied), tuple(self.record.looked)
        expectations = tuple(self.record.expectations)
        span_s = (self.begun_s, self.clock.now())
        return await asyncio.to_thread(
            judge,
            self.site,
            histories,
            applied,
            looked,
            expectations,
            span_s,
            self.course.address,
        )

    def _stop(self, why: str) -> None:
        self.stopped = why
        self.record.remark(why, self.clock.now())

    def _phase(self, name: PhaseName, text: str) -> None:
        self.record.phase(name, self.clock.now(), text)

    def stats(self, elapsed_s: float | None) -> RunStats:
        return RunStats(
            kind=self.course.kind,
            link=self.course.link,
            driver=self.course.driver,
            speed=self.clock.speed,
            seed=self.facts.seed,
            span_s=self.span_s,
            cycles=self.cycles,
            exchanges=self.record.exchanges,
            failed_exchanges=self.record.failed_exchanges,
            steps=self.record.steps,
            steps_skipped=self.record.steps_skipped,
            remarks=tuple(self.record.remarks),
            stopped=self.stopped,
            elapsed_s=elapsed_s,
        )


async def _poll(poller: Poller) -> None:
    with contextlib.suppress(PollingOver):
        await poller.run_until(math.inf)
