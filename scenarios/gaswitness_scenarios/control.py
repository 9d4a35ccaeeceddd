"""The control channel of a served virtual panel: start a script, and hear when each step is done.

JSON, one object a line, over TCP on loopback. The server greets:

    {"gaswitness_control": 1, "panel_s": 12.5, "scripts": [{"name": "...", "sha256": "...",
     "state": "waiting" | "playing" | "played"}], "speed": 10.0}

Commands, each answered by one object with `answer`, or `error` in words:

    {"command": "start", "script": SHA256}   plays it, once; `zero_s` is its beginning, panel time
    {"command": "do", "script": SHA256, "number": N}   does one step of a script at once; `looked`
                                             where it asks to look, else null
    {"command": "rest"}                      undoes what was done: clean air at all detectors, no
                                             fault, no inhibit, contacts not active, power on
    {"command": "press", "key": KEY}         reset, accept or mute is pressed
    {"command": "watch"}                     events so far of all scripts, then further ones
    {"command": "state"}                     as the greeting
    {"command": "fault", "fault": TEXT}      a fault of the link begins, such as "late 0.3 s, 5 %"
    {"command": "clear", "kind": NAME}       link faults of that kind end, or "all"
    {"command": "faults"}                    the link faults that act now, which the two above tell
                                             too: `faults`, a list of texts

Events: `{"event": "begun" | "done", "script", "number", "begun_s", "done_s", "looked"}`, and
`{"event": "played", "script", "at_s"}`. Times are panel seconds. Here: the format, alone.
"""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from gaswitness_sitefile.errors import GaswitnessError

FORMAT: Final = 1
IDENTITY: Final = 0x80
"""First of the private objects of Device Identification that announce the channel."""
ANNOUNCED: Final = "Gaswitness virtual panel"
LONGEST_LINE: Final = 65_536

Message = dict[str, Any]


class ControlError(GaswitnessError):
    """The control channel cannot be reached, is of another format, or refuses."""


class ScriptState(StrEnum):
    """Where a script of a served panel stands."""

    WAITING = "waiting"
    PLAYING = "playing"
    PLAYED = "played"


@dataclass(frozen=True, slots=True)
class Announcement:
    """What a virtual panel says about itself in its identification."""

    host: str
    port: int
    speed: float

    def objects(self) -> dict[int, bytes]:
        """The private identification objects that say it."""
        texts = (ANNOUNCED, f"control tcp://{self.host}:{self.port}", f"speed {self.speed!r}")
        return {IDENTITY + n: text.encode("ascii") for n, text in enumerate(texts)}


def announced(identity: Mapping[int, bytes]) -> Announcement | None:
    """The announcement in a panel's identification objects; None where there is none."""
    texts = [identity.get(IDENTITY + n, b"").decode("ascii", "replace") for n in range(3)]
    if texts[0] != ANNOUNCED:
        return None
    address = texts[1].removeprefix("control tcp://")
    host, _, port = address.rpartition(":")
    try:
        found = Announcement(host, int(port), float(texts[2].removeprefix("speed ")))
    except ValueError:
        return None
    return found if found.speed > 0 and host else None


def write_message(writer: asyncio.StreamWriter, message: Message) -> None:
    """Send one line, unless the connection is going."""
    if not writer.is_closing():
        writer.write(json.dumps(message, sort_keys=True).encode("utf-8") + b"\n")


async def read_message(reader: asyncio.StreamReader) -> Message | None:
    """The next line; None at the end. Raises ControlError for a line that is no JSON object."""
    try:
        line = await reader.readline()
    except ValueError as error:  # longer than the limit
        raise ControlError("a line on the control channel is too long") from error
    if not line:
        return None
    try:
        message = json.loads(line)
    except ValueError as error:
        raise ControlError("a line on the control channel is not JSON") from error
    if not isinstance(message, dict):
        raise ControlError("a line on the control channel is not a JSON object")
    return message
