"""The course of a plan: test by test, each judged and signed, done again or left out, and the panel
brought back to rest where a test was broken off. Which panel and who plays is the caller's choice.
"""

from collections.abc import Awaitable, Callable, Collection, Sequence
from dataclasses import dataclass, field
from math import inf

from gaswitness_scenarios.attendance import Attendance
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.driver import Driver, LeftOutError, StoppedError, Told
from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_scenarios.plan_outcome import PlanOutcome, PlayedTest
from gaswitness_scenarios.restore import keys_after, undoing
from gaswitness_scenarios.script import PlannedPart, Script
from gaswitness_sitefile.site import Site

REST_POLL_S = 1.0
"""How often, in seconds of the run, it is looked whether the readings have come back."""
LONGEST_RECOVERY_T90 = 6
"""After so many T90 of the slowest channel its reading is back, or never will be."""

Live = Callable[[PlayedTest], Awaitable[PlanOutcome]]
"""What the judge makes of a test by what was seen up to now."""


@dataclass(frozen=True)
class PlanCourse:
    """A plan and all that plays it.

    `chosen`: ids of the tests to be played, None for all. `unrest`: what of the panel's readings
    is not at rest, in words. `settle_s`: how long the last effect may take to come and go.
    """

    site: Site
    script: Script
    driver: Driver
    clock: LoopClock
    told: Told
    notes: PlanNotes
    attendance: Attendance
    live: Live
    unrest: Callable[[], Sequence[str]]
    settle_s: float
    chosen: Collection[str] | None = None
    resumed: bool = False
    finished: frozenset[str] = field(default=frozenset())

    async def play(self) -> None:
        """All chosen tests, those that are finished aside. Raises StoppedError."""
        if self.resumed:
            await self.back_to_rest()
        elif self.script.preamble.steps:
            await self.driver.play(self.script, self.clock, self.told, self.script.preamble)
        parts = [
            part for part in self.script.tests if self.chosen is None or part.test.id in self.chosen
        ]
        for number, part in enumerate(parts, 1):
            if part.test.id not in self.finished:
                await self._test(part, number, len(parts))

    async def _test(self, part: PlannedPart, number: int, of: int) -> None:
        again = True
        while again:
            reason = await self.attendance.before(part, number, of)
            if reason:
                self.notes.left_out(part.test, part.first, reason, self.clock.now())
                return
            outcome = await self._once(part)
            again = await self.attendance.after(part, outcome)

    async def _once(self, part: PlannedPart) -> PlanOutcome | None:
        """Play the test; what the judge makes of it where somebody wants to know."""
        try:
            await self.driver.play(self.script, self.clock, self.told, part)
        except LeftOutError as left:
            self.notes.over(self.clock.now(), "skipped", str(left))
            await self.back_to_rest()
            return None
        except StoppedError as stopped:
            self.notes.over(self.clock.now(), "stopped", str(stopped))
            self._say_what_stands()
            raise
        self.notes.over(self.clock.now())
        if not self.attendance.judges_live:
            return None
        outcome = await self.live(self.notes.tests[-1])
        now_s = self.clock.now()
        self.notes.judged_live(outcome.test, str(outcome.outcome), outcome.because, now_s)
        return outcome

    def _say_what_stands(self) -> None:
        left = undoing(self.site, self.notes.standing, self.notes.under_way)
        if left:
            words = "; ".join(step.words for step in left)
            text = f"the panel is not at rest. Still to be done: {words}; then reset"
            self.told.remark(text, self.clock.now())

    async def back_to_rest(self) -> None:
        """Undo what the present test did, wait until the readings are back, and reset."""
        done, under_way = tuple(self.notes.standing), self.notes.under_way
        everything = done if under_way is None else (*done, under_way)
        self.notes.standing.clear()
        await self.driver.restore(undoing(self.site, done, under_way), self.clock, self.told)
        await self._until_calm()
        await self.driver.restore(keys_after(self.site, everything), self.clock, self.told)
        await self.clock.sleep_until(self.clock.now() + self.settle_s)
        self.notes.at_rest(self.clock.now())

    async def _until_calm(self) -> None:
        slowest_s = max((one.slowest_t90_s for one in self.site.channels), default=0.0)
        limit_s = self.clock.now() + LONGEST_RECOVERY_T90 * slowest_s + self.settle_s
        calm_since = inf
        while self.clock.now() < limit_s:
            now_s = self.clock.now()
            if self.unrest():
                calm_since = inf
            else:
                calm_since = min(calm_since, now_s)
                if now_s - calm_since >= self.settle_s:
                    return
            await self.clock.sleep_until(now_s + REST_POLL_S)
        restless = self.unrest()
        if restless:
            words = f"the panel has not come to rest: {', '.join(restless)}"
            self.told.remark(words, self.clock.now())
