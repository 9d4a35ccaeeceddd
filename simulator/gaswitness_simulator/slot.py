"""What stands at an address of the register image: one point, or a register shared by bits.

A slot knows its bytes, who may read and write it, and what a write asks the panel to do.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from gaswitness_simulator.cause import Reader
from gaswitness_simulator.encode import written_value
from gaswitness_simulator.stimulus import Inhibit, Key, Press, SetpointTo, Stimulus
from gaswitness_sitefile.points import COMMANDS, Access, Point

COMMAND_KEYS: Final[dict[str, Key]] = {
    "panel.reset": "reset",
    "panel.accept": "accept",
    "panel.mute": "mute",
}
STORED: Final = ("spare", "constant")
"""What a slot keeps by itself: made once, then only written."""

assert set(COMMAND_KEYS) == set(COMMANDS)


def asked_by(shows: str, *, on: bool) -> Stimulus | None:
    """What writing `on` to a yes-or-no point asks of the panel."""
    if shows in COMMAND_KEYS:
        return Press(COMMAND_KEYS[shows]) if on else None
    tag, _, what = shows.partition(".")
    return Inhibit(tag, on) if what == "inhibit" and tag != "panel" else None


@dataclass(slots=True, eq=False)
class Whole:
    """One point alone at its addresses. `written`: the last scan before it was written last."""

    point: Point
    render: Callable[[], bytes]
    written: int | None = None

    @property
    def readable(self) -> bool:
        return self.point.access is not Access.WRITE

    @property
    def writable(self) -> bool:
        return self.point.access is not Access.READ

    @property
    def address(self) -> int:
        return self.point.address

    @property
    def width(self) -> int:
        return self.point.width

    @property
    def stored(self) -> bool:
        return self.point.shows in STORED

    def write(self, _old: bytes, new: bytes) -> tuple[bytes, list[Stimulus]]:
        """(bytes to keep, what is asked) for bytes that a client writes."""
        shows, what = self.point.shows, self.point.what
        if what.endswith(".setpoint"):
            value = self._value(new)
            return new, [SetpointTo(self.point.subject, what.partition(".")[0], value)]
        on = any(new)
        asked = asked_by(shows, on=on)
        kept = bytes(len(new)) if shows in COMMAND_KEYS else new
        return kept, [] if asked is None else [asked]

    def _value(self, new: bytes) -> float:
        return math.nan if self.point.table.of_bits else written_value(self.point, new)


@dataclass(frozen=True, slots=True)
class Part:
    """One bit of a register, numbered as on the wire, bit 0 the least significant."""

    bit: int
    shows: str
    access: Access
    reader: Reader

    @property
    def writable(self) -> bool:
        return self.access is not Access.READ


@dataclass(slots=True, eq=False)
class Shared:
    """A register of bits. Bits that no point names read 0."""

    address: int
    parts: dict[int, Part] = field(default_factory=dict)
    kept: int = 0
    written: int | None = None
    width: int = 1

    @property
    def readable(self) -> bool:
        return any(part.access is not Access.WRITE for part in self.parts.values())

    @property
    def writable(self) -> bool:
        return any(part.writable for part in self.parts.values())

    @property
    def stored(self) -> bool:
        return all(part.shows in STORED for part in self.parts.values())

    def render(self) -> bytes:
        word = self.kept
        for bit, part in self.parts.items():
            if part.shows not in STORED and part.access is not Access.WRITE and part.reader():
                word |= 1 << bit
        return word.to_bytes(2, "big")

    def add(self, part: Part) -> None:
        """Give a bit its meaning; a later row takes it from an earlier one."""
        self.parts[part.bit] = part
        stored_on = part.shows in STORED and part.reader()
        self.kept = self.kept & ~(1 << part.bit) | (int(stored_on) << part.bit)

    def write(self, old: bytes, new: bytes) -> tuple[bytes, list[Stimulus]]:
        """(bytes to keep, what is asked): only writable bits count, the others stay."""
        word, given = int.from_bytes(old, "big"), int.from_bytes(new, "big")
        asked: list[Stimulus] = []
        for bit, part in self.parts.items():
            if not part.writable:
                continue
            on = bool(given >> bit & 1)
            stimulus = asked_by(part.shows, on=on)
            if stimulus is not None:
                asked.append(stimulus)
            if part.shows in COMMAND_KEYS or part.access is Access.WRITE:
                continue
            word = word & ~(1 << bit) | (int(on) << bit)
            if part.shows in STORED:
                self.kept = self.kept & ~(1 << bit) | (int(on) << bit)
        return word.to_bytes(2, "big"), asked


Slot = Whole | Shared
