"""What polling has shown, kept compactly: instants for each block; start, value and raw bytes for
each run of a point. Pure; nothing here judges."""

from array import array
from collections.abc import Iterator, Sequence
from struct import Struct
from typing import overload

from gaswitness_probe.decode import bit_mask, decoder
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.history import PointHistory, Run, Seen, Value
from gaswitness_probe.read_plan import Block
from gaswitness_sitefile.points import Point, PointType

Changes = dict[str, tuple[Value, tuple[int, ...]]]
"""Value and raw registers (or bit), by the name of each point at which a new run begins."""

Row = tuple[float, float, float, float, Value]
"""A run: its first sample asked and answered, its last asked and answered, and the value."""


class Track:
    """One point's runs: the sample at which each begins, and its raw bytes one after the other.

    `cut` is where the point's registers stand in a payload; `bit` is (byte, mask) where one bit of
    the payload is the point, None where all its bytes are.
    """

    __slots__ = (
        "bit",
        "cut",
        "decoder",
        "last_raw",
        "name",
        "of_bits",
        "raws",
        "size",
        "starts",
        "unpack",
        "values",
    )

    def __init__(self, block: Block, point: Point) -> None:
        offset = point.address - block.address
        self.name = point.name
        self.of_bits = point.table.of_bits
        self.decoder = decoder(point)
        self.starts = array("L")
        self.raws = bytearray()
        self.values: list[Value] = []
        self.last_raw: tuple[int, ...] = ()
        self.unpack = Struct(f">{point.width}H").unpack
        self.bit: tuple[int, int] | None = None
        if self.of_bits:
            self.size = 1
            self.cut = slice(offset >> 3, (offset >> 3) + 1)
            self.bit = (offset >> 3, 1 << (offset & 7))
            return
        self.size = 2 * point.width
        self.cut = slice(2 * offset, 2 * offset + self.size)
        if point.type is PointType.BIT_IN_WORD:
            mask = bit_mask(point)
            self.bit = (2 * offset, mask >> 8) if mask > 0xFF else (2 * offset + 1, mask)

    def begin(self, sample: int, payload: bytes) -> None:
        """A new run begins at this sample."""
        self.starts.append(sample)
        if self.of_bits and self.bit is not None:
            byte, mask = self.bit
            on = 1 if payload[byte] & mask else 0
            self.raws.append(on)
            raw: tuple[int, ...] = (on,)
        else:
            registers = payload[self.cut]
            self.raws += registers
            raw = self.unpack(registers)
        self.last_raw = raw
        self.values.append(self.decoder(raw))

    def raw(self, run: int) -> tuple[int, ...]:
        """The registers, or the bit, of the run's first sample."""
        if self.of_bits:
            return (self.raws[run],)
        at = run * self.size
        return self.unpack(self.raws[at : at + self.size])

    def latest(self) -> tuple[Value, tuple[int, ...]]:
        """Value and raw of the run that began last."""
        return self.values[-1], self.last_raw


class BlockRecord:
    """All samples of one block. `broken`: the next sample continues no run."""

    def __init__(self, block: Block) -> None:
        self.block = block
        self.asked_s = array("d")
        self.answered_s = array("d")
        self.payload = b""
        self.broken = True
        self.tracks = tuple(Track(block, point) for point in block.points)
        self._whole = tuple((t.cut, t) for t in self.tracks if t.bit is None)
        self._bits = tuple((*t.bit, t) for t in self.tracks if t.bit is not None)

    def add(self, asked_s: float, answered_s: float, payload: bytes) -> Sequence[Track]:
        """Take in a sample; the tracks at which it begins a new run."""
        sample = len(self.asked_s)
        self.asked_s.append(asked_s)
        self.answered_s.append(answered_s)
        if self.broken:
            changed: Sequence[Track] = self.tracks
            self.broken = False
        elif payload == self.payload:
            return ()
        else:
            changed = self._changed(payload)
        for track in changed:
            track.begin(sample, payload)
        self.payload = payload
        return changed

    def take(self, exchange: Exchange, longest_s: float) -> Sequence[Track]:
        """Take in what came of asking for the block; the tracks at which it begins a new run.

        A run goes on from one sample to the next where from asking the one to the answer of the
        other it is no longer than `longest_s`. A failed exchange ends every run.
        """
        if not exchange.ok:
            self.broken = True
            return ()
        asked_s, answered_s = exchange.sent_s, exchange.received_s
        if not self.broken and answered_s - self.asked_s[-1] > longest_s:
            self.broken = True
        return self.add(asked_s, answered_s, exchange.payload)

    def _changed(self, payload: bytes) -> list[Track]:
        before = self.payload
        changed = [track for cut, track in self._whole if payload[cut] != before[cut]]
        changed += [
            track for byte, mask, track in self._bits if (payload[byte] ^ before[byte]) & mask
        ]
        return changed

    def seen(self, sample: int) -> Seen:
        """The two instants of a sample."""
        return Seen(self.asked_s[sample], self.answered_s[sample])

    def histories(self) -> Iterator[PointHistory]:
        """What was seen of each point up to now."""
        for track in self.tracks:
            yield PointHistory(track.name, Runs(self, track))


class Runs(Sequence[Run]):
    """A point's runs up to the moment this was made; each is built when it is looked at."""

    def __init__(self, record: BlockRecord, track: Track) -> None:
        self._record = record
        self._track = track
        self._count = len(track.starts)
        self._samples = len(record.asked_s)

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> Run: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Run]: ...
    def __getitem__(self, at: int | slice) -> Run | Sequence[Run]:
        if isinstance(at, slice):
            return tuple(self._run(n) for n in range(*at.indices(self._count)))
        if not -self._count <= at < self._count:
            raise IndexError(f"run {at} of {self._count}")
        return self._run(at % self._count)

    def __iter__(self) -> Iterator[Run]:
        return map(self._run, range(self._count))

    def rows(self) -> Iterator[Row]:
        """The same runs as plain rows, for those who look through all of them."""
        asked_s, answered_s = self._record.asked_s, self._record.answered_s
        starts, values = self._track.starts, self._track.values
        for n in range(self._count):
            first = starts[n]
            end = starts[n + 1] if n + 1 < self._count else self._samples
            yield (
                asked_s[first],
                answered_s[first],
                asked_s[end - 1],
                answered_s[end - 1],
                values[n],
            )

    def _run(self, n: int) -> Run:
        starts = self._track.starts
        first = starts[n]
        end = starts[n + 1] if n + 1 < self._count else self._samples
        raw = self._track.raw(n)
        seen = self._record.seen
        return Run(self._track.values[n], raw, seen(first), seen(end - 1), end - first)
