"""In which order a search tries line settings and unit ids, and how long it can take at most. Pure.

Most likely first. 19200 8E1 and 9600 8E1 are what the serial-line specification V1.02 asks of
every device (clauses 2.5.1 and 3.2); that 9600 8N1 comes next, in spite of its 10-bit character, is
common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.rtu_frames import LONGEST_FRAME
from gaswitness_probe.rtu_framing import silence_s
from gaswitness_sitefile.link_address import SerialLine

FIRST_LINES: Final = (
    SerialLine(19200, "even", 1),
    SerialLine(9600, "even", 1),
    SerialLine(9600, "none", 1),
    SerialLine(19200, "none", 1),
    SerialLine(9600, "none", 2),
    SerialLine(19200, "none", 2),
    SerialLine(38400, "even", 1),
    SerialLine(38400, "none", 1),
    SerialLine(115200, "even", 1),
    SerialLine(115200, "none", 1),
    SerialLine(57600, "even", 1),
    SerialLine(57600, "none", 1),
    SerialLine(4800, "even", 1),
    SerialLine(4800, "none", 1),
    SerialLine(9600, "odd", 1),
    SerialLine(19200, "odd", 1),
)
UNITS: Final = range(1, 248)
"""Addresses of single devices (V1.02 clause 2.2)."""

LIKELY_UNITS: Final = (1, 2, 247, *range(3, 33))
"""Tried with all settings before the rest is tried with any: 1 and 2 come first from works, and a
line without repeater holds 32 devices (V1.02 clause 3.4.1)."""

GATEWAY_UNITS: Final = (255, 0)
"""By which a gateway itself, or a panel with one address alone, is asked over TCP (Messaging guide
V1.0b clause 4.4.2.1)."""

TIMEOUT_S: Final = 0.3
"""A device that keeps to the specification answers a read of one register well within."""

PAUSE_S: Final = 0.05
QUESTIONS_TO_SURE: Final = 5
"""Put to each unit that answers, all of them tries of its own."""


@dataclass(frozen=True, slots=True)
class Try:
    """One unit id at one setting; `line` is None over a network."""

    line: SerialLine | None
    unit: int


@dataclass(frozen=True, slots=True)
class Search:
    """What is searched: `lines` in order (None alone over a network), `units` in order."""

    lines: tuple[SerialLine | None, ...]
    units: tuple[int, ...]
    timeout_s: float = TIMEOUT_S
    pause_s: float = PAUSE_S

    def tries(self) -> Iterator[Try]:
        """All tries, most likely first: likely units at every setting, then the others."""
        likely = [unit for unit in self.units if unit in LIKELY_UNITS]
        others = [unit for unit in self.units if unit not in LIKELY_UNITS]
        for units in (likely, others):
            for line in self.lines:
                for unit in units:
                    yield Try(line, unit)

    @property
    def count(self) -> int:
        """How many tries there are."""
        return len(self.lines) * len(self.units)

    @property
    def longest_s(self) -> float:
        """How long the search takes at most where nothing answers, in seconds: after a silence the
        line is heard out as long again, so that a late answer is heard."""
        return sum(len(self.units) * self.try_s(line) for line in self.lines)

    def try_s(self, line: SerialLine | None) -> float:
        """How long one try takes that nothing answers."""
        if line is None:
            return self.timeout_s + self.pause_s
        wire_s = (8 + LONGEST_FRAME) * line.bits_per_character / line.baud
        return 2.0 * self.timeout_s + wire_s + 2.0 * silence_s(line) + self.pause_s


def in_order(units: tuple[int, ...]) -> tuple[int, ...]:
    """Unit ids, the likeliest first."""
    rank = {unit: at for at, unit in enumerate(LIKELY_UNITS)}
    return tuple(sorted(set(units), key=lambda unit: (rank.get(unit, len(rank)), unit)))


def chance(frames: int) -> float:
    """Chance that as many bursts of noise, each as long as a frame, would all pass for answers: a
    16-bit CRC lets one in 65,536 through."""
    return 2.0 ** (-16 * frames)
