"""What a command's exit code means, the same for every command."""

from collections.abc import Iterable
from enum import IntEnum

from gaswitness_probe.verdict import Outcome


class ExitCode(IntEnum):
    """As documented in README and `gaswitness --help`."""

    ALL_PROVEN = 0
    SOMETHING_FAILED = 1
    WRONG_USE = 2
    SOMETHING_OPEN = 3
    NO_LINK = 4
    INTERNAL = 70
    INTERRUPTED = 130
    NO_READER = 141


def exit_code(outcomes: Iterable[Outcome]) -> ExitCode:
    """0, 1 or 3 for a run's verdicts. A run without a single verdict has proven nothing."""
    found = set(outcomes)
    if Outcome.FAILED in found:
        return ExitCode.SOMETHING_FAILED
    return ExitCode.ALL_PROVEN if found == {Outcome.PROVEN} else ExitCode.SOMETHING_OPEN
