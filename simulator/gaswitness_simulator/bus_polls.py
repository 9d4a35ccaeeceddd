"""The panel's scan of its bus: when each device is asked, what it missed, when it counts as lost.

Pure. Device i of n, in order of address, is asked at i x device_s, and again every n x device_s.
"""

import random
from dataclasses import dataclass, field
from typing import Final

from gaswitness_simulator.level import TICK_S
from gaswitness_simulator.scanning import last_instant
from gaswitness_sitefile.bus import Bus

_NOT_ASKED: Final = -1


@dataclass(slots=True)
class Line:
    """One device's place in the scan. `heard`: whether it would answer. `lost`: it is in
    communication fault. `polled`: the last time that it was asked, counted from 0."""

    first_s: float
    heard: bool = True
    lost: bool = False
    missed: int = 0
    polled: int = _NOT_ASKED


@dataclass(slots=True)
class Polls:
    """`noise`: the part of answers that noise on the line spoils, 0 to 1. `astir`: devices of which
    anything but an answer each time is to be expected. `changes`: counts what was told of any."""

    cycle_s: float
    missed: int
    seed: int
    lines: dict[str, Line]
    noise: float = 0.0
    astir: set[str] = field(default_factory=set)
    changes: int = 0

    @classmethod
    def of(cls, bus: Bus, device_s: float, missed: int, seed: int) -> "Polls":
        """The scan of the bus as it is meant to be."""
        order = sorted(bus.devices, key=lambda one: one.address)
        lines = {one.tag: Line(at * device_s) for at, one in enumerate(order)}
        return cls(device_s * len(order), missed, seed, lines)

    def answered_s(self, tag: str, at_s: float) -> float:
        """When the device last answered, at or before the instant; 0 before it ever did."""
        line = self.lines[tag]
        last = self._last(line, at_s)
        if not line.heard or last <= line.polled:
            last = min(last, line.polled - line.missed)
        return max(0.0, line.first_s + last * self.cycle_s)

    def answers(self, tag: str) -> bool:
        """Whether the device answers when it is asked."""
        return self.lines[tag].heard

    def begin(self, at_s: float) -> None:
        """Begin anew, with nothing missed: the power has come."""
        for line in self.lines.values():
            line.missed, line.lost, line.polled = 0, False, self._last(line, at_s)
        self.astir = {tag for tag, line in self.lines.items() if self._stirs(line)}
        self.changes += 1

    def hear(self, heard: frozenset[str], at_s: float) -> None:
        """From now on these devices answer, and no others."""
        for tag, line in self.lines.items():
            if line.heard is not (tag in heard):
                self._take(tag, line, at_s)
                line.heard = tag in heard
                self.astir.add(tag)
                self.changes += 1

    def disturb(self, noise: float, at_s: float) -> None:
        """From now on noise spoils this part of the answers."""
        self.astir = set(self.lines)
        self.advance(at_s)
        self.noise = noise
        self.astir = set(self.lines)

    def advance(self, to_s: float) -> None:
        """Ask up to the instant. Whoever always answers need not be followed."""
        for tag in sorted(self.astir):
            line = self.lines[tag]
            self._take(tag, line, to_s)
            if not self._stirs(line):
                self.astir.discard(tag)

    def due_s(self, at_s: float) -> float | None:
        """When a device may be lost or found again next; None where none is under way."""
        dues = (self._due(self.lines[tag], at_s) for tag in self.astir)
        return min((due for due in dues if due is not None), default=None)

    def _stirs(self, line: Line) -> bool:
        return self.noise > 0.0 or not line.heard or line.lost or line.missed > 0

    def _due(self, line: Line, at_s: float) -> float | None:
        last = self._last(line, at_s)
        if self.noise > 0.0 and line.heard:
            return line.first_s + (last + 1) * self.cycle_s
        if line.heard:
            back = line.lost or line.missed > 0
            return line.first_s + (last + 1) * self.cycle_s if back else None
        if line.lost:
            return None
        return line.first_s + (last + self.missed - line.missed) * self.cycle_s

    def _last(self, line: Line, at_s: float) -> int:
        return last_instant(line.first_s, self.cycle_s, at_s + TICK_S)

    def _take(self, tag: str, line: Line, to_s: float) -> None:
        last, lost = self._last(line, to_s), line.lost
        if line.heard and self.noise == 0.0:
            if last > line.polled:
                line.missed, line.lost = 0, False
        elif not line.heard:
            line.missed += last - line.polled
            line.lost = line.lost or line.missed >= self.missed
        else:
            for poll in range(line.polled + 1, last + 1):
                spoilt = random.Random(f"{self.seed} {tag} {poll}").random() < self.noise
                line.missed = line.missed + 1 if spoilt else 0
                line.lost = line.missed >= self.missed or (line.lost and spoilt)
        line.polled = last
        self.changes += line.lost is not lost
