"""What became of tests of a plan, in one word each, and how many of each there are. Pure."""

from collections.abc import Iterable
from typing import Final

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.plan_outcome import NOT_BEGUN

NOT_ASKED: Final = "not asked for"
"""How a test stands that is in the plan, and that no run of it was asked to do."""
OPEN: Final = "open"
STATES: Final = ("proven", "failed", OPEN, "broken off", "left out", "never begun", NOT_ASKED)
NOT_DONE: Final = {
    "skipped": "left out",
    "stopped": "broken off",
    "broken off": "broken off",
    NOT_BEGUN: "never begun",
    NOT_ASKED: NOT_ASKED,
}


def state_of(outcome: Outcome, how: str) -> str:
    """One of STATES; `how` as a played test says it. What was done and not decided is open."""
    if outcome in (Outcome.PROVEN, Outcome.FAILED):
        return str(outcome)
    return NOT_DONE.get(how, OPEN)


def counted(states: Iterable[str]) -> str:
    """Such as `6 proven, 1 failed, 2 left out`."""
    told = list(states)
    return ", ".join(f"{told.count(one)} {one}" for one in STATES if one in told)
