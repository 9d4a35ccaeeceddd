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
MOST_LOOKS: Final = 5
"""A register that flickers between two values as a coin falls shows our reader the one ten times
and the other reader the other five times once in 16,000 surveys."""
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
        """Do it, once more where the two differ, and again where a difference seems to stand: a
        place that comes and goes may by chance show each reader its own of two values twice."""
        looks: dict[Span, list[_Look]] = {span: [] for span in self._spans}
        spans: Sequence[Span] = self._spans
        try:
            for _ in range(MOST_LOOKS):
                for span, look in (await self._looks(spans)).items():
                    looks[span].append(look)
                spans = [span for span in spans if _open(looks[span])]
        except LinkError as error:
            because = f"it could not be done: {error}"
            return Verdict(ID, Kind.LINK, Outcome.INCONCLUSIVE, EXPECTED, because=because)
        return self._verdict(looks)

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

    def _verdict(self, found: Mapping[Span, Sequence[_Look]]) -> Verdict:
        name = self._second.name
        same = 0
        changing: list[str] = []
        once: list[str] = []
        aspects: list[Aspect] = []
        for span, looks in found.items():
            if looks[-1].same:
                same += 1
                if len(looks) > 1 and _stands(looks):
                    once.append(_once(span, looks[0], name))
                continue
            difference = _difference(span, looks, name)
            if difference is None:
                changing.append(str(span))
            else:
                aspects.append(difference)
        seen = f"{same} of {len(found)} places the same through {name}"
        notes = [f"{aspect.name}: {aspect.because}" for aspect in aspects[:MOST_TOLD_ONCE]]
        if len(aspects) > MOST_TOLD_ONCE:
            notes.append(f"and {len(aspects) - MOST_TOLD_ONCE} places more")
        if changing:
            seen += f", {len(changing)} that change at every read"
            notes.append(f"not compared, as they change: {', '.join(changing)}")
        notes += once[:MOST_TOLD_ONCE]
        if len(once) > MOST_TOLD_ONCE:
            notes.append(f"{len(once) - MOST_TOLD_ONCE} more differed once")
        outcomes = [aspect.outcome for aspect in aspects] + [Outcome.PROVEN] * bool(same)
        outcome = overall(outcomes) if outcomes else Outcome.INCONCLUSIVE
        because = "; ".join(notes) if found else "no place can be read"
        return Verdict(
            ID, Kind.LINK, outcome, EXPECTED, seen, because=because, aspects=tuple(aspects)
        )


def _once(span: Span, first: _Look, name: str) -> str:
    """What the other reader had at first in a place that stands still, where it now agrees."""
    theirs = first.theirs
    other = theirs.trouble if theirs.words is None else f"read {hex_words(span, theirs.words)}"
    return f"{span}: once {name} {other}, then the same ({first.frames})"


def _stands(looks: Sequence[_Look]) -> bool:
    """Whether our reader saw one value in all of them."""
    return len({words for look in looks for words in look.ours}) == 1


def _unread(look: _Look, first: _Look) -> bool:
    """Whether the other reader had nothing to compare; being refused every time is something."""
    return look.theirs.words is None and not (look.theirs.refused and first.theirs.refused)


def _differs(looks: Sequence[_Look]) -> bool:
    """Whether each reader saw one value in all looks, and not the same one."""
    theirs = {look.theirs.words for look in looks}
    return _stands(looks) and len(theirs) == 1 and not looks[-1].same


def _open(looks: Sequence[_Look]) -> bool:
    """Whether another look is worth it."""
    if looks[-1].same:
        return False
    return len(looks) == 1 or (_differs(looks) and not _unread(looks[-1], looks[0]))


def _difference(span: Span, looks: Sequence[_Look], name: str) -> Aspect | None:
    """How the two differ; None where the place changes too fast to be compared."""
    expected = f"both readers see the same in {span}"
    first, last = looks[0], looks[-1]
    at_s = last.after.at_s
    if not last.ours:
        because = f"ours could not read it: {last.after.words}"
        return Aspect(str(span), Outcome.INCONCLUSIVE, expected, last.frames, None, because, at_s)
    theirs = last.theirs
    if _unread(last, first):
        because = f"{name} could not read it: {theirs.trouble}"
        return Aspect(str(span), Outcome.INCONCLUSIVE, expected, last.frames, None, because, at_s)
    if not _differs(looks):
        return None
    (ours,) = last.ours
    other = theirs.trouble if theirs.words is None else hex_words(span, theirs.words)
    because = (
        f"ours reads {hex_words(span, ours)}, {name} {other}, {len(looks)} times, "
        "and it stands still"
    )
    return Aspect(str(span), Outcome.FAILED, expected, last.frames, None, because, at_s)
