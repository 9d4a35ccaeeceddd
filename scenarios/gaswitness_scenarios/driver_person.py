"""The driver of a witness run: a person is told what to do at each step, and confirms it.

Only words and instants; the panel is not touched from here.
"""

import asyncio
from collections.abc import Callable, Sequence
from math import inf
from typing import Final

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.driver import LeftOutError, StoppedError, Told
from gaswitness_scenarios.person import Person
from gaswitness_scenarios.script import (
    Bump,
    Expect,
    Gas,
    Hold,
    Look,
    PlannedPart,
    PlannedTest,
    Portion,
    Say,
    Script,
    Step,
)

Shown = Callable[[Step], bool | None]
"""Whether the panel itself shows that a step has been done; None where it cannot."""

KEYS: Final = "Enter = done, s = skip, q = stop the run, ? = more keys"
LOOK_KEYS: Final = "y = yes, n = no, s = skip, q = stop the run, ? = more keys"
ALL_KEYS: Final = (
    "s REASON      leave the step out",
    "n WORDS       a note in the record",
    "q REASON      stop the run",
)
TEST_KEYS: Final = (
    "x REASON      leave the test; the panel is brought back to rest",
    "Deviations and files are noted before a test begins and after it.",
)
LATE_KEY_S: Final = 1.5
"""Real seconds in which a bare Enter is taken as the answer to what the panel has just shown."""
LOOK_EVERY_S: Final = 0.25
"""How often, in seconds of the run, it is looked whether the panel shows a step done."""
SHOWN_WITHIN_S: Final = 5.0
"""Seconds of the run within which a panel shows what is not gas, once it is done."""
_SHOWN: Final = "\0shown"
"""In place of an answer; no keyboard gives it."""
ANNOUNCE_FROM_S: Final = 2.0
"""A wait shorter than this, in seconds of the run, is not announced."""


class PersonDriver:
    """Tells the person each step when it is due. A step that takes longer moves later ones: they
    keep their distance from its confirmation."""

    by_portions = True

    def __init__(self, person: Person, shown: Shown | None = None) -> None:
        """`shown`: whether the panel itself shows that a step has been done."""
        self._person = person
        self._shown = shown
        self._shown_at_s = -inf
        self._in_test = False
        self._left_out = 0

    def show_by(self, shown: Shown) -> None:
        """From now on, whether the panel itself shows that a step has been done."""
        self._shown = shown

    async def play(
        self, script: Script, clock: Clock, told: Told, portion: Portion | None = None
    ) -> None:
        played = script.whole if portion is None else portion
        self._in_test = isinstance(portion, PlannedPart)
        self._left_out = 0
        if portion is None:
            self._person.show(f"{script.title}\n{script.text}".rstrip())
        zero_s = clock.now() - played.begin_s
        of = len(script.steps)
        for number, step in enumerate(played.steps, played.first):
            due_s = zero_s + step.at_s
            if due_s - clock.now() >= ANNOUNCE_FROM_S and not isinstance(step, Hold | Expect):
                self._person.show(f"  next, in {due_s - clock.now():.0f} s: {_asked(step)}")
            await clock.sleep_until(due_s)
            self._tell(number, of, step)
            await self._do(number, step, clock, told)
            zero_s = max(zero_s, clock.now() - step.at_s)
        left_s = zero_s + played.end_s - clock.now()
        if left_s >= ANNOUNCE_FROM_S:
            self._person.show(f"  leave everything as it is for {left_s:.0f} s more")
        await clock.sleep_until(zero_s + played.end_s)

    async def restore(self, steps: Sequence[Step], clock: Clock, told: Told) -> None:
        self._in_test = False
        for number, step in enumerate(steps, 1):
            self._person.show(f"\nBack to rest, {number} of {len(steps)}: {step.words}")
            await self._do(0, step, clock, told)

    def _tell(self, number: int, of: int, step: Step) -> None:
        if isinstance(step, Hold | PlannedTest):
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
        if self._asks_nobody(number, step, begun_s, told):
            return
        looks = isinstance(step, Look)
        prompt = f"  [{LOOK_KEYS if looks else KEYS}] "
        while True:
            given, given_s = await self._reply(prompt, step, clock)
            if given is _SHOWN:
                self._person.show("\n  The panel shows it.")
                told.done(number, step, begun_s, clock.now())
                return
            if given is None:
                raise StoppedError(f"the input ended at step {number} of the script")
            word, _, rest = given.partition(" ")
            match word.lower():
                case "q":
                    raise StoppedError(f"stopped by the person at step {number}" + _because(rest))
                case "s":
                    reason = rest.strip() or await self._reason(number)
                    told.skipped(number, step, clock.now(), reason)
                    if not looks:
                        self._miss(number)
                    return
                case "y" | "n" if looks and not rest:
                    told.done(number, step, begun_s, clock.now(), looked=word.lower() == "y")
                    return
                case "n" if rest.strip():
                    told.remark(rest.strip(), clock.now())
                case "x" if rest.strip() and self._in_test:
                    told.skipped(number, step, clock.now(), f"test left: {rest.strip()}")
                    raise LeftOutError(rest.strip())
                case "" if not looks:
                    told.done(number, step, begun_s, given_s)
                    return
                case _:
                    self._person.show(f"  {given!r} is none of the keys.")

    def _asks_nobody(self, number: int, step: Step, begun_s: float, told: Told) -> bool:
        """Whether the step needs nobody; then it is over."""
        if isinstance(step, Expect) and self._left_out:
            told.skipped(number, step, begun_s, f"step {self._left_out} before it was left out")
        elif isinstance(step, Say | PlannedTest | Hold | Expect):
            told.done(number, step, begun_s, begun_s)
        elif step.only_virtual:
            self._person.show("  left out: this is done to virtual panels only")
            told.skipped(number, step, begun_s, "done to virtual panels only")
            self._miss(number)
        else:
            return False
        return True

    def _miss(self, number: int) -> None:
        """Within a test, what is expected later may rest on this step: it is not judged."""
        if self._in_test and not self._left_out:
            self._left_out = number

    def _show_keys(self) -> None:
        for line in (*ALL_KEYS, *(TEST_KEYS if self._in_test else ())):
            self._person.show(f"    {line}")

    async def _answer(self, prompt: str, step: Step, clock: Clock) -> str | None:
        """What the person says, or _SHOWN once the panel itself shows that the step is done."""
        late = asyncio.get_running_loop().time() < self._shown_at_s + LATE_KEY_S
        while True:
            answer = asyncio.ensure_future(self._person.answer(prompt))
            seen = asyncio.ensure_future(self._until_shown(step, clock))
            try:
                await asyncio.wait({answer, seen}, return_when=asyncio.FIRST_COMPLETED)
                if not answer.done():
                    self._shown_at_s = asyncio.get_running_loop().time()
                    return _SHOWN
                if answer.result() == "" and late:
                    # The key that confirms what the panel had shown a moment before.
                    late = False
                    continue
                return answer.result()
            finally:
                for task in (answer, seen):
                    task.cancel()
                await asyncio.wait({answer, seen})

    async def _reply(self, prompt: str, step: Step, clock: Clock) -> tuple[str | None, float]:
        """What the person says, and when. A bare Enter that the panel belies is asked once more:
        it may have been meant for the step before."""
        doubted = isinstance(step, Look)
        while True:
            given = await self._answer(prompt, step, clock)
            given_s = clock.now()
            if given == "?":
                self._show_keys()
                continue
            if given != "" or doubted or not await self._unseen(step, clock):
                return given, given_s
            self._person.show("  The panel does not show it. Enter again if it is done.")
            doubted = True

    async def _unseen(self, step: Step, clock: Clock) -> bool:
        """Whether the panel could show the step done, and goes on not to. Gas takes its
        time, and is not waited for."""
        if self._shown is None or isinstance(step, Gas):
            return False
        limit_s = clock.now() + SHOWN_WITHIN_S
        while self._shown(step) is False:
            if clock.now() >= limit_s:
                return True
            await clock.sleep_until(clock.now() + LOOK_EVERY_S)
        return False

    async def _until_shown(self, step: Step, clock: Clock) -> None:
        if self._shown is None or isinstance(step, Look):
            await asyncio.Event().wait()
        elif not self._shown(step):
            while not self._shown(step):
                await clock.sleep_until(clock.now() + LOOK_EVERY_S)
        else:
            # It was so before anybody was asked: that says nothing of when it was done.
            await asyncio.Event().wait()

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
