"""Who attends the tests of a plan: is told what comes, may leave a test out, and signs it after.

One interface; here the one for runs that nobody attends.
"""

from collections.abc import Callable
from typing import Final, Protocol

from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_scenarios.plan_outcome import PlanOutcome
from gaswitness_scenarios.script import PlannedPart

Remark = Callable[[str, float, str, str], None]
"""Words, instant, who says it, the test that it is about."""


class Attendance(Protocol):
    """Before and after each test. Both raise StoppedError where the run is to end.

    `judges_live`: whether it wants to know each test's outcome as the run goes on.
    """

    judges_live: bool

    def write_to(self, notes: PlanNotes, remark: Remark) -> None:
        """Where what is said is kept. Before anything else."""
        ...

    async def before(self, part: PlannedPart, number: int, of: int) -> str:
        """Empty to begin the test; else the reason why it is left out."""
        ...

    async def after(self, part: PlannedPart, outcome: PlanOutcome | None) -> bool:
        """Whether the test is to be done once more. `outcome` as far as it is known by now."""
        ...


class Unattended:
    """Nobody is there: every test is done once."""

    judges_live = False

    def write_to(self, notes: PlanNotes, remark: Remark) -> None:
        del notes, remark

    async def before(self, part: PlannedPart, number: int, of: int) -> str:
        del part, number, of
        return ""

    async def after(self, part: PlannedPart, outcome: PlanOutcome | None) -> bool:
        del part, outcome
        return False


NOBODY: Final = Unattended()
