"""Every point read again by another reader, which shares no code with ours, and both compared: a
mistake of ours in frames or addressing would show. Never two connections at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import spaced
from gaswitness_probe.errors import LinkError
from gaswitness_probe.read_plan import why_unread
from gaswitness_probe.survey_block import Span, hex_words, read_alone, span_of
from gaswitness_probe.survey_reader import Announce, Answer, Reader
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

WAITS_TO_CONNECT_S: Final = (0.0, 0.5, 1.0, 2.0)
"""A panel with one session needs a moment to see that ours has ended."""

EXPECTED: Final = "another reader finds the same in every place that stands still"
ID: Final = "link/second reader"
MOST_TOLD_ONCE: Final = 8
"""Differences that did not stand which are told with their frames; of more, the number."""


@dataclass(frozen=True, slots=True)
class SecondReading:
    """What the other reader got: registers or bits, or None and the `trouble`; its frames."""

    words: tuple[int, ...] | None
    sent: bytes = b""
    received: bytes = b""
    trouble: str = ""
    refused: bool = False


class Second(Protocol):
    """Another reader for the same link. `name` as people know it."""

    name: str

    async def open(self) -> None:
        """Connect. Raises NoConnection."""
        ...

    async def read(self, table: Table, address: int, count: int) -> SecondReading:
        """Read once; nothing is retried."""
        ...

    async def close(self) -> None:
        """Close; does nothing where it is closed."""
        ...


@dataclass(frozen=True, slots=True)
class _Look:
    """One place as ours, theirs and ours again showed it."""

    before: Answer
    before_words: tuple[int, ...] | None
    theirs: SecondReading
    after: Answer
    after_words: tuple[int, ...] | None

    @property
    def ours(self) -> set[tuple[int, ...]]:
        return {words for words in (self.before_words, self.after_words) if words is not None}

    @property
    def same(self) -> bool:
        return self.theirs.words in self.ours

    @property
    def frames(self) -> str:
        theirs = f"sent {spaced(self.theirs.sent)}, received {spaced(self.theirs.received)}"
        return f"ours: {self.after.frames}; the other reader: {theirs}"


class SecondSurvey:
    """Reads with ours, closes it, reads with the other, closes that, reads with ours again."""

    def __init__(
        self, client: Client, reader: Reader, site: Site, second: Second, announce: Announce
    ) -> None:
        self._client = client
        self._reader = reader
        self._second = second
        self._announce = announce
        self._gap_s = site.pace.request_gap_s
        readable = [point for point in site.points if why_unread(site, point) is None]
        self._spans = list(dict.fromkeys(span_of(point) for point in readable))

    async def run(self) -> Verdict:
        """Do it, and once more where the two differ."""
        try:
            first = await self._looks(self._spans)
            again = await self._looks([span for span, look in first.items() if not look.same])
        except LinkError as error:
            because = f"it could not be done: {error}"
            return Verdict(ID, Kind.LINK, Outcome.INCONCLUSIVE, EXPECTED, because=because)
        return self._verdict(first, again)

    async def _looks(self, spans: Sequence[Span]) -> Mapping[Span, _Look]:
        if not spans:
            return {}
        before = {span: await read_alone(self._reader, span) for span in spans}
        await self._client.close()
        try:
            await self._connect()
            theirs = {span: await self._read(span) for span in spans}
        finally:
            await self._second.close()
        after = {span: await read_alone(self._reader, span) for span in spans}
        return {span: _Look(*before[span], theirs[span], *after[span]) for span in spans}

    async def _connect(self) -> None:
        clock = self._reader.clock
        for wait_s in WAITS_TO_CONNECT_S:
            await clock.sleep_until(clock.now() + wait_s)
            try:
                await self._second.open()
            except LinkError as error:
                refused = error
                self._announce(f"{self._second.name}: {error}")
            else:
                return
        raise refused

    async def _read(self, span: Span) -> SecondReading:
        clock = self._reader.clock
        found = await self._second.read(span.table, span.address, span.width)
        await clock.sleep_until(clock.now() + self._gap_s)
        return found

    def _verdict(self, first: Mapping[Span, _Look], again: Mapping[Span, _Look]) -> Verdict:
        name = self._second.name
        same = sum(look.same for look in first.values())
        changing: list[str] = []
        once: list[str] = []
        aspects: list[Aspect] = []
        for span, look in again.items():
            if look.same:
                same += 1
                if len(first[span].ours | look.ours) == 1:
                    once.append(_once(span, first[span], name))
                continue
            found = _difference(span, first[span], look, name)
            if found is None:
                changing.append(str(span))
            else:
                aspects.append(found)
        seen = f"{same} of {len(first)} places the same through {name}"
        notes = [f"{aspect.name}: {aspect.because}" for aspect in aspects]
        if changing:
            seen += f", {len(changing)} that change at every read"
            notes.append(f"not compared, as they change: {', '.join(changing)}")
        notes += once[:MOST_TOLD_ONCE]
        if len(once) > MOST_TOLD_ONCE:
            notes.append(f"{len(once) - MOST_TOLD_ONCE} more differed once")
        outcomes = [aspect.outcome for aspect in aspects] + [Outcome.PROVEN] * bool(same)
        outcome = overall(outcomes) if outcomes else Outcome.INCONCLUSIVE
        because = "; ".join(notes) if first else "no place can be read"
        return Verdict(
            ID, Kind.LINK, outcome, EXPECTED, seen, because=because, aspects=tuple(aspects)
        )


def _once(span: Span, first: _Look, name: str) -> str:
    """What the other reader had at first in a place that stands still, where it now agrees."""
    theirs = first.theirs
    other = theirs.trouble if theirs.words is None else f"read {hex_words(span, theirs.words)}"
    return f"{span}: once {name} {other}, then the same ({first.frames})"


def _difference(span: Span, first: _Look, again: _Look, name: str) -> Aspect | None:
    """How the two differ; None where the place changes too fast to be compared."""
    expected = f"both readers see the same in {span}"
    at_s = again.after.at_s
    if not again.ours:
        because = f"ours could not read it: {again.after.words}"
        return Aspect(str(span), Outcome.INCONCLUSIVE, expected, again.frames, None, because, at_s)
    theirs = again.theirs
    if theirs.words is None and not (theirs.refused and first.theirs.refused):
        because = f"{name} could not read it: {theirs.trouble}"
        return Aspect(str(span), Outcome.INCONCLUSIVE, expected, again.frames, None, because, at_s)
    if len(first.ours | again.ours) > 1 or first.theirs.words != theirs.words:
        return None
    (ours,) = again.ours
    other = theirs.trouble if theirs.words is None else hex_words(span, theirs.words)
    because = f"ours reads {hex_words(span, ours)}, {name} {other}, twice, and it stands still"
    return Aspect(str(span), Outcome.FAILED, expected, again.frames, None, because, at_s)
