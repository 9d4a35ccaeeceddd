"""RTU frames out of a stream of bytes: CRC, lengths, and finding the next frame after noise.

MODBUS over Serial Line V1.02, clause 2.5.1. Sans-I/O: no clock, no port; what a frame asks for is
not known here.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Final

LONGEST: Final = 256
"""Bytes of the longest frame (V1.1b3 clause 4.1)."""
SHORTEST: Final = 4
"""Address, function code, CRC."""
BROADCAST: Final = 0
LAST_UNIT: Final = 247
"""Addresses from here on are reserved (V1.02 clause 2.2)."""


def _crc_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        crc = value
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
        table.append(crc)
    return tuple(table)


_TABLE: Final = _crc_table()


def crc16(data: bytes | bytearray | memoryview) -> int:
    """The CRC of V1.02 appendix B; over a frame and its own CRC it is 0."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _TABLE[(crc ^ byte) & 0xFF]
    return crc


def rtu_framed(unit: int, pdu: bytes) -> bytes:
    """The frame's bytes: address, PDU, CRC with its low byte first."""
    body = bytes((unit,)) + pdu
    return body + crc16(body).to_bytes(2, "little")


_FIXED_REQUESTS: Final = {
    0x01: 8, 0x02: 8, 0x03: 8, 0x04: 8, 0x05: 8, 0x06: 8, 0x07: 4, 0x08: 8, 0x0B: 4, 0x0C: 4,
    0x11: 4, 0x16: 10, 0x18: 6, 0x2B: 7,
}  # fmt: skip
_COUNTED_REQUESTS: Final = {0x0F: 6, 0x10: 6, 0x14: 2, 0x15: 2, 0x17: 10}
"""Where in the frame the count of the bytes stands that follow it."""
_FIXED_ANSWERS: Final = {
    0x05: 8, 0x06: 8, 0x07: 5, 0x08: 8, 0x0B: 8, 0x0F: 8, 0x10: 8, 0x16: 10,
}  # fmt: skip
_COUNTED_ANSWERS: Final = frozenset({0x01, 0x02, 0x03, 0x04, 0x0C, 0x11, 0x14, 0x15, 0x17})


@dataclass(frozen=True, slots=True)
class Heard:
    """A frame with a right CRC. `after_noise`: bytes before it belonged to none."""

    frame: bytes
    after_noise: bool = False

    @property
    def unit(self) -> int:
        return self.frame[0]

    @property
    def pdu(self) -> bytes:
        return self.frame[1:-2]


class RtuReader:
    """Cuts requests out of what is heard on a line.

    A frame is whole when its length, known from its function, has come and its CRC is right; that
    is looked for at every offset, so that noise costs nothing but itself. While a frame may still
    be going on nothing inside it is taken for one. Silence is a hint: it ends a frame of a length
    that no function says, and that wait. Answers of `units` that are not ours pass as frames too.
    """

    def __init__(self, units: Collection[int]) -> None:
        self._units = frozenset(units)
        self._waiting = bytearray()

    @property
    def waits(self) -> bool:
        """Whether there are bytes that are no whole frame yet."""
        return bool(self._waiting)

    def feed(self, data: bytes) -> Iterator[Heard]:
        """Every frame that is now whole."""
        self._waiting += data
        yield from self._frames(quiet=False)

    def silence(self) -> Iterator[Heard]:
        """The line has been quiet for as long as ends a frame: what is there may be one."""
        yield from self._frames(quiet=True)

    def give_up(self) -> bool:
        """Forget what has come of a frame that will never be whole. Whether there was any."""
        there = bool(self._waiting)
        self._waiting.clear()
        return there

    def _frames(self, *, quiet: bool) -> Iterator[Heard]:
        while (found := self._find(quiet=quiet)) is not None:
            start, end = found
            before, frame = bytes(self._waiting[:start]), bytes(self._waiting[start:end])
            del self._waiting[:end]
            unknown = start >= SHORTEST and before[0] in self._units and crc16(before) == 0
            if unknown:
                yield Heard(before)
            yield Heard(frame, after_noise=start > 0 and not unknown)

    def _find(self, *, quiet: bool) -> tuple[int, int] | None:
        """(start, end) of the first frame."""
        waiting = self._waiting
        for start in range(len(waiting) - SHORTEST + 1):
            more = False
            for size in self._sizes(start):
                end = start + size
                if end > len(waiting):
                    more = True
                elif crc16(memoryview(waiting)[start:end]) == 0:
                    return start, end
            if quiet and self._ends_here(start):
                return start, len(waiting)
            if more and not quiet:
                return None
        return None

    def _ends_here(self, start: int) -> bool:
        rest = memoryview(self._waiting)[start:]
        ours = rest[0] == BROADCAST or rest[0] in self._units
        return ours and 1 <= rest[1] <= 0x7F and len(rest) <= LONGEST and crc16(rest) == 0

    def _sizes(self, start: int) -> tuple[int, ...]:
        """The lengths that a frame which begins here may have; too long ones are possible."""
        unit = self._waiting[start]
        if unit > LAST_UNIT:
            return ()
        request = self._request_size(start)
        if unit == BROADCAST or unit in self._units:
            return (request,) if request else ()
        return tuple(size for size in (request, self._answer_size(start)) if size)

    def _request_size(self, start: int) -> int:
        function = self._waiting[start + 1]
        if function in _FIXED_REQUESTS:
            return _FIXED_REQUESTS[function]
        place = _COUNTED_REQUESTS.get(function)
        return 0 if place is None else self._counted(start, place)

    def _answer_size(self, start: int) -> int:
        function = self._waiting[start + 1]
        if function & 0x80:
            return 5
        if function == 0x18:
            return 6 + self._waiting[start + 3]
        if function in _COUNTED_ANSWERS:
            return self._counted(start, 2)
        return _FIXED_ANSWERS.get(function, 0)

    def _counted(self, start: int, place: int) -> int:
        if start + place >= len(self._waiting):
            return place + 4  # at least one byte is counted, and the CRC follows
        size = place + 1 + self._waiting[start + place] + 2
        return size if size <= LONGEST else 0
