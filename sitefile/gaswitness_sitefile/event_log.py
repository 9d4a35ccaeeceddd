"""The panel's event log: how much of it is kept, and what its entries are called. Facts only."""

from typing import Annotated, Final

from pydantic import Field

from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS
from gaswitness_sitefile.model import Record, Whole

EVENTS: Final = (
    "A1 on",
    "A1 off",
    "A2 on",
    "A2 off",
    "A3 on",
    "A3 off",
    "STEL on",
    "STEL off",
    "TWA on",
    "TWA off",
    "fault on",
    "fault off",
    "inhibit on",
    "inhibit off",
    "test on",
    "test off",
    "calibration on",
    "calibration off",
    "active on",
    "active off",
    "muted on",
    "muted off",
    "forced on",
    "forced off",
    "warm_up on",
    "warm_up off",
    "power on",
    "power off",
    "accept",
    "reset",
    "mute",
    *(f"{flag} {state}" for flag in (*BUS_FLAGS, *LIFE_FLAGS) for state in ("on", "off")),
)
"""What an entry may say; its code is its place here, from 1 on. Only ever added to at the end."""

CODE_OF: Final = {event: code for code, event in enumerate(EVENTS, 1)}

NO_EVENT: Final = "none"
"""What codes of an entry may call 0: there is none yet."""

FIRST_CHANNEL, FIRST_INPUT, FIRST_OUTPUT = 1, 1001, 2001
"""Codes of subjects count on from these in the order of the site file; the panel's own is 0."""

EVENT_PARTS: Final = ("code", "subject", "at_s")
"""What `events.N.` may be followed by."""

FILE_HEAD, FILE_ENTRY = 2, 4
"""Words of the log as a file of records: before the entries, and of each."""


class EventLog(Record):
    """The panel keeps its last `entries` events, over a loss of its power, too."""

    entries: Annotated[Whole, Field(ge=1, le=2499)] = 100


def event_number(what: str) -> int | None:
    """Which entry `N.code` and the like speak of, 1 the newest; None where it is none of these."""
    number, _, part = what.partition(".")
    if part not in EVENT_PARTS or not number.isascii() or not number.isdigit():
        return None
    return int(number)


def is_event_number(what: str) -> bool:
    """Whether it is a number that the log shows: its count, or a part of an entry."""
    return what == "count" or event_number(what) is not None


def subject_codes(
    channels: list[str] | tuple[str, ...],
    inputs: list[str] | tuple[str, ...],
    outputs: list[str] | tuple[str, ...],
) -> dict[str, int]:
    """The code of each tag, and of `panel`."""
    kinds = ((FIRST_CHANNEL, channels), (FIRST_INPUT, inputs), (FIRST_OUTPUT, outputs))
    codes = {tag: code for first, tags in kinds for code, tag in enumerate(tags, first)}
    return {"panel": 0, **codes}
