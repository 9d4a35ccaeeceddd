"""Who plays a script in a run, behind one interface, and what the run hears of each step.

What a step means for a panel or a verdict is not here.
"""

from collections.abc import Sequence
from typing import Protocol

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.script import Portion, Script, Step


class StoppedError(Exception):
    """Whoever plays the script ends it before its end; the text says why."""


class LeftOutError(Exception):
    """Whoever plays a test of a plan leaves out the rest of it; the text says why."""


class Told(Protocol):
    """What a driver tells the run. `number` counts steps from 1; a step that stands in no script
    has 0. Instants in seconds of the run."""

    def begun(self, number: int, step: Step, at_s: float) -> None:
        """The step is due and being done."""
        ...

    def done(
        self, number: int, step: Step, begun_s: float, done_s: float, *, looked: bool | None = None
    ) -> None:
        """It happened at some instant between the two; `looked` answers a step that asks."""
        ...

    def skipped(self, number: int, step: Step, at_s: float, reason: str) -> None:
        """It was not done."""
        ...

    def remark(self, text: str, at_s: float) -> None:
        """Words for the record."""
        ...


class Driver(Protocol):
    """Plays scripts, one after another.

    `by_portions`: whether it can play a part of a script alone, and wait between two parts.
    """

    by_portions: bool

    async def play(
        self, script: Script, clock: Clock, told: Told, portion: Portion | None = None
    ) -> None:
        """Play the portion, or the whole script, from now to its end.

        Raises StoppedError where it ends before, LeftOutError where only this portion does.
        """
        ...

    async def restore(self, steps: Sequence[Step], clock: Clock, told: Told) -> None:
        """Do steps that stand in no script, to bring the panel back to rest, each at once.

        Raises StoppedError where nobody does.
        """
        ...
