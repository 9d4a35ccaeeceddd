"""The driver of a witness run: a person is told what to do at each step, and confirms it.

Only words and instants; the panel is not touched from here.
"""

from typing import Final

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.driver import StoppedError, Told
from gaswitness_scenarios.person import Person
from gaswitness_scenarios.script import Bump, Expect, Hold, Look, PlannedTest, Say, Script, Step

KEYS: Final = "Enter = done, s = skip, n WORDS = note, q = stop the run"
ANNOUNCE_FROM_S: Final = 2.0
"""A wait shorter than this, in seconds of the run, is not announced."""


class PersonDriver:
    """Tells the person each step when it is due. A step that takes longer moves later ones: they
    keep their distance from its confirmation."""

    def __init__(self, person: Person) -> None:
        self._person = person

    async def play(self, script: Script, clock: Clock, told: Told) -> None:
        self._person.show(f"{script.title}\n{script.text}".rstrip())
        zero_s = clock.now()
        of = len(script.steps)
        for number, step in enumerate(script.steps, 1):
            due_s = zero_s + step.at_s
            if due_s - clock.now() >= ANNOUNCE_FROM_S and not isinstance(step, Hold | Expect):
                self._person.show(f"  next, in {due_s - clock.now():.0f} s: {_asked(step)}")
            await clock.sleep_until(due_s)
            self._tell(number, of, step)
            await self._do(number, step, clock, told)
            zero_s = max(zero_s, clock.now() - step.at_s)
        left_s = zero_s + script.length_s - clock.now()
        if left_s >= ANNOUNCE_FROM_S:
            self._person.show(f"  leave everything as it is for {left_s:.0f} s more")
        await clock.sleep_until(zero_s + script.length_s)

    def _tell(self, number: int, of: int, step: Step) -> None:
        if isinstance(step, Hold):
            return
        if isinstance(step, Expect):
            self._person.show(f"  {step.words}")
            return
        self._person.show(f"\nStep {number} of {of}: {_asked(step)}")
        if step.said and step.said != step.words:
            self._person.show(f"  {step.said}")
        if isinstance(step, Bump):
            self._person.show(f"  Beware: {step.caution}")

    async def _do(self, number: int, step: Step, clock: Clock, told: Told) -> None:
        begun_s = clock.now()
        told.begun(number, step, begun_s)
        if isinstance(step, Say | PlannedTest | Hold | Expect):
            told.done(number, step, begun_s, begun_s)
            return
        if step.only_virtual:
            self._person.show("  left out: this is done to virtual panels only")
            told.skipped(number, step, begun_s, "done to virtual panels only")
            return
        looks = isinstance(step, Look)
        prompt = "  [y = yes, n = no, s = skip, q = stop] " if looks else f"  [{KEYS}] "
        while True:
            given = await self._person.answer(prompt)
            if given is None:
                raise StoppedError(f"the input ended at step {number} of the script")
            word, _, rest = given.partition(" ")
            match word.lower():
                case "q":
                    raise StoppedError(f"stopped by the person at step {number}" + _because(rest))
                case "s":
                    reason = rest.strip() or await self._reason(number)
                    told.skipped(number, step, clock.now(), reason)
                    return
                case "y" | "n" if looks and not rest:
                    told.done(number, step, begun_s, clock.now(), looked=word.lower() == "y")
                    return
                case "n" if rest.strip():
                    told.remark(rest.strip(), clock.now())
                case "" if not looks:
                    told.done(number, step, begun_s, clock.now())
                    return
                case _:
                    self._person.show(f"  {given!r} is none of the keys.")

    async def _reason(self, number: int) -> str:
        while True:
            reason = await self._person.answer("  why is it left out? ")
            if reason is None:
                raise StoppedError(f"the input ended at step {number} of the script")
            if reason:
                return reason


def _asked(step: Step) -> str:
    return step.question if isinstance(step, Look) else step.words


def _because(rest: str) -> str:
    return f": {rest.strip()}" if rest.strip() else ""
