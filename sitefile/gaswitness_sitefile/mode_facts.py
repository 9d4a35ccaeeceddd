"""Names of what a panel says of tests, calibrations and the first alarm. Names only."""

from typing import Final

CHANNEL_MODES: Final = ("test", "calibration")
"""Of a channel: somebody tries or adjusts it, and it drives nothing meanwhile."""

FIRST_UP: Final = "first_up"
"""Of a channel: it was the first in alarm. Of the panel: that channel's number, in the order of the
site file from 1 on; 0 where there is none."""

NO_FIRST_UP: Final = "none"
"""What codes of `panel.first_up` may call 0."""

FORCED: Final = "forced"
"""Of an output: somebody holds it on or off at the panel."""

IN_TEST: Final = "test"
"""Of the panel: some output is forced."""


def is_first_up_number(subject: str, what: str) -> bool:
    """Whether it is the panel's number of the first channel, not a channel's own flag."""
    return subject == "panel" and what == FIRST_UP
