"""Each point alone and in its block, compared. A panel that reads well one register at a time may
still refuse a block, shift it, or close its gaps without a word."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from struct import unpack
from typing import Final

from gaswitness_probe.read_plan import Block
from gaswitness_probe.survey_reader import Answer, Reader
from gaswitness_probe.verdict import Aspect, Outcome
from gaswitness_sitefile.points import Point, Table

ANSWERS: Final = "answers"
IN_BLOCK: Final = "alone and in a block"
COMPARISONS: Final = 3

SISTERS: Final = {
    Table.COIL: Table.DISCRETE_INPUT,
    Table.DISCRETE_INPUT: Table.COIL,
    Table.HOLDING: Table.INPUT,
    Table.INPUT: Table.HOLDING,
}


@dataclass(frozen=True, slots=True)
class Span:
    """The addresses of one or several points that are read alone by one request."""

    table: Table
    address: int
    width: int

    @property
    def end(self) -> int:
        """The address after the last."""
        return self.address + self.width

    def __str__(self) -> str:
        if self.width == 1:
            return f"{self.table.value} {self.address}"
        return f"{self.table.value}s {self.address} to {self.end - 1}"


def span_of(point: Point) -> Span:
    """Where the point is read alone: single registers one by one, longer values whole."""
    return Span(point.table, point.address, point.width)


def spans_of(block: Block) -> list[Span]:
    """The block's points' spans in order, each once."""
    found = {span_of(point) for point in block.points}
    return sorted(found, key=lambda span: (span.address, span.width))


def cut(span: Span, payload: bytes, first: int) -> tuple[int, ...]:
    """The span's registers or bits out of the data of a read that began at address `first`."""
    offset = span.address - first
    if span.table.of_bits:
        number = int.from_bytes(payload, "little")
        return tuple(number >> at & 1 for at in range(offset, offset + span.width))
    return unpack(f">{span.width}H", payload[2 * offset : 2 * (offset + span.width)])


async def read_alone(reader: Reader, span: Span) -> tuple[Answer, tuple[int, ...] | None]:
    """The span read by itself, and its registers or bits where the panel gave them."""
    answer = await reader.read(span.table, span.address, span.width)
    return answer, cut(span, answer.payload, span.address) if answer.ok else None


def groups(spans: Iterable[Span], refused: set[Span]) -> list[list[Span]]:
    """Neighbours of a block without those that the panel refuses, in stretches free of them."""
    found: list[list[Span]] = [[]]
    for span in spans:
        if span in refused:
            found.append([])
        else:
            found[-1].append(span)
    return [group for group in found if group]


async def compare(
    reader: Reader, group: Sequence[Span], block: Answer, alone: Mapping[Span, tuple[int, ...]]
) -> dict[Span, Aspect]:
    """Hold what each span showed alone against the block that was read just before."""
    first, end = group[0].address, max(span.end for span in group)
    if not block.ok:
        aspect = _block_unread(block, Span(group[0].table, first, end - first))
        return dict.fromkeys(group, aspect)
    found: dict[Span, Aspect] = {}
    for span in group:
        if cut(span, block.payload, first) == alone[span]:
            found[span] = Aspect(IN_BLOCK, Outcome.PROVEN, "the same both ways")
        else:
            found[span] = await _again(reader, span, Span(span.table, first, end - first), block)
    return found


def _block_unread(block: Answer, whole: Span) -> Aspect:
    expected = f"one read of {whole} is answered"
    if block.lost:
        return Aspect(IN_BLOCK, Outcome.INCONCLUSIVE, expected, block.frames, None, block.words)
    because = f"each answers alone, but the block {whole} does not: {block.words}"
    return Aspect(IN_BLOCK, Outcome.FAILED, expected, block.frames, None, because, block.at_s)


async def _again(reader: Reader, span: Span, whole: Span, before: Answer) -> Aspect:
    """A value may change between two reads: read block, value, block until both ways agree."""
    expected = "the same alone and in a block"
    singles: list[tuple[int, ...]] = []
    for _ in range(COMPARISONS):
        answer, single = await read_alone(reader, span)
        after = await reader.read(whole.table, whole.address, whole.width)
        if single is None or not after.ok:
            lost = answer if single is None else after
            return Aspect(IN_BLOCK, Outcome.INCONCLUSIVE, expected, lost.frames, None, lost.words)
        blocks = [cut(span, a.payload, whole.address) for a in (before, after) if a.ok]
        if single in blocks:
            return Aspect(IN_BLOCK, Outcome.PROVEN, expected, because="it changes between reads")
        singles.append(single)
        before = after
    seen = (
        f"alone {hex_words(span, singles[-1])}, in the block {hex_words(span, blocks[-1])}; "
        f"{answer.frames}; {after.frames}"
    )
    if len(set(singles)) > 1:
        because = "it changed at every read, and no block agreed with a read beside it"
        return Aspect(IN_BLOCK, Outcome.INCONCLUSIVE, expected, seen, None, because)
    because = f"{COMPARISONS} times the block showed another value than {span} alone"
    shift = _shift(span, singles[-1], after.payload, whole)
    if shift:
        because += (
            f"; the block has it {abs(shift)} {'early' if shift < 0 else 'late'}: a gap closed?"
        )
    return Aspect(IN_BLOCK, Outcome.FAILED, expected, seen, None, because, after.at_s)


def _shift(span: Span, single: tuple[int, ...], payload: bytes, whole: Span) -> int:
    """By how many places the block has the span's value elsewhere; 0 where it has not, or the value
    is too common to say."""
    if not any(single) or span.table.of_bits:
        return 0
    for shift in sorted(range(-16, 17), key=abs):
        moved = Span(span.table, span.address + shift, span.width)
        inside = whole.address <= moved.address and moved.end <= whole.end
        if shift and inside and cut(moved, payload, whole.address) == single:
            return shift
    return 0


def hex_words(span: Span, words: tuple[int, ...]) -> str:
    """Registers as people read them, bits as 0 and 1."""
    if span.table.of_bits:
        return " ".join(str(bit) for bit in words)
    return " ".join(f"{word:04X}" for word in words)


async def answers_aspect(reader: Reader, span: Span, answer: Answer, mapped: set[int]) -> Aspect:
    """Whether the span is readable by its function, and where it may be instead."""
    function = span.table.read_function
    expected = f"function {function:02X} reads {span}"
    if answer.ok:
        return Aspect(ANSWERS, Outcome.PROVEN, expected, at_s=answer.at_s)
    if answer.lost:
        return Aspect(ANSWERS, Outcome.INCONCLUSIVE, expected, answer.frames, None, answer.words)
    because = answer.words
    if answer.refused is not None:
        because += "".join(f"; {hint}" for hint in await _elsewhere(reader, span, mapped))
    return Aspect(ANSWERS, Outcome.FAILED, expected, answer.frames, None, because, answer.at_s)


async def _elsewhere(reader: Reader, span: Span, mapped: set[int]) -> list[str]:
    found = []
    sister = SISTERS[span.table]
    if (await reader.read(sister, span.address, span.width)).ok:
        found.append(f"answers as {sister.value} instead")
    for shift in (-1, 1):
        moved = Span(span.table, span.address + shift, span.width)
        beside = moved.address if shift < 0 else moved.end - 1
        if beside in mapped or not 0 <= beside <= 0xFFFF:
            continue
        if (await reader.read(moved.table, moved.address, moved.width)).ok:
            found.append(f"address {moved.address} answers: address shifted by one?")
    return found
