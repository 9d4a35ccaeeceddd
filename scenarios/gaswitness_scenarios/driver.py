"""Who plays a script in a run, behind one interface, and what the run hears of each step.

What a step means for a panel or a verdict is not here.
"""

from typing import Protocol

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.script import Script, Step


class StoppedError(Exception):
    """Whoever plays the script ends it before its end; the text says why."""


class Told(Protocol):
    """What a driver tells the run. `number` counts steps from 1. Instants in seconds of the run."""

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
    """Plays scripts, one after another."""

    async def play(self, script: Script, clock: Clock, told: Told) -> None:
        """Play the script from now to its end. Raises StoppedError where it ends before."""
        ...
