"""The driver of a witness run in which something else plays the script, such as a served panel.

It only finds out when each step was done, and how surely; it does nothing to the panel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.control import Announcement, ControlError, Message, ScriptState
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_scenarios.driver import StoppedError, Told
from gaswitness_scenarios.script import Look, Portion, Press, Script, Step

EXCHANGES: Final = 8
"""Questions by which the two clocks are compared; the quickest answer bounds the doubt."""

PATIENCE_S: Final = 5.0
"""Real seconds by which a served panel may be late with a step before it counts as gone."""


class AnchoredDriver:
    """Takes the script's time zero to be now, give or take `slack_s` seconds of the run."""

    by_portions = False

    def __init__(self, slack_s: float) -> None:
        self.slack_s = slack_s

    async def restore(self, steps: Sequence[Step], clock: Clock, told: Told) -> None:
        del clock, told
        words = "; ".join(step.words for step in steps)
        raise StoppedError(f"what plays the script takes no orders, so nobody does this: {words}")

    async def play(
        self, script: Script, clock: Clock, told: Told, portion: Portion | None = None
    ) -> None:
        if portion is not None:
            raise ValueError("what plays the script by itself plays all of it")
        zero_s = clock.now()
        told.remark(
            f"the script {script.name} is taken to begin here, give or take {self.slack_s:g} s: "
            "what plays it does not say when",
            zero_s,
        )
        for number, step in enumerate(script.steps, 1):
            due_s = zero_s + step.at_s
            await clock.sleep_until(due_s - self.slack_s)
            told.begun(number, step, clock.now())
            if isinstance(step, Look):
                told.skipped(number, step, clock.now(), "nobody is there to look")
                continue
            await clock.sleep_until(due_s + self.slack_s)
            told.done(number, step, due_s - self.slack_s, due_s + self.slack_s)
        await clock.sleep_until(zero_s + script.length_s + self.slack_s)


@dataclass(frozen=True, slots=True)
class Offset:
    """What must be added to panel time to get the run's: somewhere from `low_s` to `high_s`."""

    low_s: float
    high_s: float

    def narrowed(self, other: "Offset") -> "Offset":
        """What both allow. Raises ControlError where they contradict each other."""
        found = Offset(max(self.low_s, other.low_s), min(self.high_s, other.high_s))
        if found.low_s > found.high_s:
            raise ControlError(
                "the virtual panel's time does not go on at the speed that it announces: stop it, "
                "serve it anew, and run again"
            )
        return found


class ControlledDriver:
    """Has a served virtual panel start the script, and hears from it when each step was done. A
    portion it has done step by step, each when it is due."""

    by_portions = True

    def __init__(self, control: ControlClient) -> None:
        self._control = control
        self._watching = False

    @classmethod
    async def connect(cls, announcement: Announcement) -> Self:
        """Raises ControlError where the channel does not answer."""
        return cls(await ControlClient.connect(announcement.host, announcement.port))

    async def close(self) -> None:
        await self._control.close()

    def require(self, script: Script) -> None:
        """Raises ControlError unless the panel holds the script, not yet begun. A plan may have
        been: its tests are done one by one, as often as is asked."""
        held = self._control.hello["scripts"]
        for other in held:
            if other["sha256"] == script.sha256:
                if other["state"] != ScriptState.WAITING and not script.tests:
                    raise ControlError(
                        f"the virtual panel has already begun the script {script.name}: serve it "
                        "anew, without --start now"
                    )
                return
        names = ", ".join(f"{other['name']} ({other['sha256'][:12]})" for other in held) or "none"
        raise ControlError(
            f"the virtual panel does not hold the script {script.name} ({script.sha256[:12]}), but "
            f"{names}: serve it with the same script file"
        )

    async def play(
        self, script: Script, clock: Clock, told: Told, portion: Portion | None = None
    ) -> None:
        if portion is not None:
            await self._step_by_step(script, portion, clock, told)
            return
        try:
            self.require(script)
            offset = await self._compared(clock)
            if not self._watching:
                await self._control.ask({"command": "watch"})
                self._watching = True
            await self._control.ask({"command": "start", "script": script.sha256})
            await self._follow(script, offset, told, float(self._control.hello["speed"]))
        except ControlError as error:
            raise StoppedError(str(error)) from error

    async def _step_by_step(
        self, script: Script, portion: Portion, clock: Clock, told: Told
    ) -> None:
        zero_s = clock.now() - portion.begin_s
        for number, step in enumerate(portion.steps, portion.first):
            await clock.sleep_until(zero_s + step.at_s)
            asked = {"command": "do", "script": script.sha256, "number": number}
            told.begun(number, step, clock.now())
            begun_s = clock.now()
            looked = (await self._ordered(asked))["looked"]
            told.done(number, step, begun_s, clock.now(), looked=looked)
        await clock.sleep_until(zero_s + portion.end_s)

    async def restore(self, steps: Sequence[Step], clock: Clock, told: Told) -> None:
        """All but keys is done at once: the virtual panel undoes whatever was done to it."""
        undone = [step for step in steps if not isinstance(step, Press)]
        if undone:
            await self._together(undone, {"command": "rest"}, clock, told)
        for step in steps:
            if isinstance(step, Press):
                await self._together([step], {"command": "press", "key": step.key}, clock, told)

    async def _together(
        self, steps: Sequence[Step], asked: Message, clock: Clock, told: Told
    ) -> None:
        for step in steps:
            told.begun(0, step, clock.now())
        begun_s = clock.now()
        await self._ordered(asked)
        for step in steps:
            told.done(0, step, begun_s, clock.now())

    async def _ordered(self, asked: Message) -> Message:
        try:
            return await self._control.ask(asked)
        except ControlError as error:
            raise StoppedError(str(error)) from error

    async def _compared(self, clock: Clock) -> Offset:
        found = Offset(float("-inf"), float("inf"))
        for _ in range(EXCHANGES):
            sent_s = clock.now()
            panel_s = float((await self._control.ask({"command": "state"}))["panel_s"])
            found = found.narrowed(Offset(sent_s - panel_s, clock.now() - panel_s))
        return found

    async def _follow(self, script: Script, offset: Offset, told: Told, speed: float) -> None:
        done = 0
        while True:
            event = await self._control.event(_wait_s(script, done) / speed + PATIENCE_S)
            if event["script"] != script.sha256:
                continue
            if event["event"] == "played":
                return
            if event["event"] == "done":
                done = int(event["number"])
            _pass_on(event, script, offset, told)


def _wait_s(script: Script, done: int) -> float:
    """Seconds of the script from the step `done` (0: none yet) to the next, or to the end."""
    since_s = script.steps[done - 1].at_s if done else 0.0
    until_s = script.steps[done].at_s if done < len(script.steps) else script.length_s
    return until_s - since_s


def _pass_on(event: Message, script: Script, offset: Offset, told: Told) -> None:
    number = int(event["number"])
    step = script.steps[number - 1]
    begun_s = float(event["begun_s"]) + offset.low_s
    if event["event"] == "begun":
        told.begun(number, step, begun_s)
    else:
        done_s = float(event["done_s"]) + offset.high_s
        told.done(number, step, begun_s, done_s, looked=event["looked"])
