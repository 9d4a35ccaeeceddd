"""How long characters and silences take on a serial line, and which byte is due when. Pure.

MODBUS over Serial Line V1.02, clause 2.5.1. Times are seconds of the link's clock.
"""

from dataclasses import dataclass
from typing import Final, Self

from gaswitness_sitefile.link_address import SerialLine

FASTEST_WITH_OWN_GAPS: Final = 19_200
FIXED_T15_S: Final = 0.000_750
FIXED_T35_S: Final = 0.001_750


@dataclass(frozen=True, slots=True)
class LineTimes:
    """`t15_s`: longest silence within a frame. `t35_s`: shortest between two frames."""

    character_s: float
    t15_s: float
    t35_s: float

    @classmethod
    def of(cls, line: SerialLine) -> Self:
        """The times of a line with these settings; above 19200 baud the silences are fixed."""
        character_s = line.bits_per_character / line.baud
        if line.baud > FASTEST_WITH_OWN_GAPS:
            return cls(character_s, FIXED_T15_S, FIXED_T35_S)
        return cls(character_s, 1.5 * character_s, 3.5 * character_s)


class Arrivals:
    """When bytes that came all at once would have come over the line."""

    def __init__(self, times: LineTimes) -> None:
        self._times = times
        self._busy_until_s = 0.0

    def last_byte_s(self, now_s: float, count: int) -> float:
        """The instant at which the last of `count` bytes that came at `now_s` is there."""
        begins_s = max(now_s, self._busy_until_s)
        self._busy_until_s = begins_s + count * self._times.character_s
        return self._busy_until_s


@dataclass(slots=True)
class Departure:
    """A run of bytes under way since `begun_s`; `gone` of them have left."""

    data: bytes
    begun_s: float
    gone: int = 0

    def due(self, now_s: float, times: LineTimes) -> bytes:
        """The bytes whose last bit has gone by now and that had not left yet."""
        whole = int((now_s - self.begun_s) / times.character_s + 1e-6)
        found = self.data[self.gone : max(self.gone, whole)]
        self.gone += len(found)
        return found

    def next_s(self, times: LineTimes) -> float | None:
        """When the next byte is due; None where all have left."""
        if self.gone >= len(self.data):
            return None
        return self.begun_s + (self.gone + 1) * times.character_s
