"""The points of a survey: reads each alone and in its block, then judges what it shows, and gathers
the aspects of each into its verdict."""

from collections.abc import Callable
from itertools import pairwise
from typing import Final

from gaswitness_probe.decode import decode
from gaswitness_probe.read_plan import Block, plan_reads, why_unread
from gaswitness_probe.survey_agree import Relation, Source, fault_shown, relations, sources
from gaswitness_probe.survey_block import (
    Span,
    answers_aspect,
    compare,
    groups,
    hex_words,
    read_alone,
    span_of,
    spans_of,
)
from gaswitness_probe.survey_hint import hints
from gaswitness_probe.survey_reader import Reader
from gaswitness_probe.survey_value import Judged, judge_value
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_sitefile.points import Point, Table, reference
from gaswitness_sitefile.site import Site

VALUE: Final = "value"
LOOKS: Final = 3
"""Samples that must all be wrong before a value fails, and the least for a disagreement."""

Done = Callable[[str], None]


class PointSurvey:
    """What each point showed last, alone: `alone` by span, `image` by address, `raws` by name.
    `aspects` gathers what was concluded, by name."""

    def __init__(self, reader: Reader, site: Site, done: Done) -> None:
        self.reader = reader
        self.site = site
        self.plan = plan_reads(site)
        self.aspects: dict[str, list[Aspect]] = {point.name: [] for point in site.points}
        self.alone: dict[Span, tuple[int, ...]] = {}
        self.image: dict[tuple[Table, int], int] = {}
        self.raws: dict[str, tuple[int, ...]] = {}
        self._shown: dict[str, list[Source]] = {}
        self._done = done
        self._points_at: dict[Span, list[Point]] = {}
        for point in site.points:
            self._points_at.setdefault(span_of(point), []).append(point)
        self._mapped: dict[Table, set[int]] = {table: set() for table in Table}
        for point in site.points:
            self._mapped[point.table].update(range(point.address, point.end))

    async def run(self) -> None:
        """Do all of it."""
        for block in self.plan:
            await self._read(block)
            self._done(f"{block.table.value} {block.address} to {block.end - 1}")
        self._shown = sources(self.site, set(self.raws))
        await self._judge_values()
        self._done("values")
        await self._judge_relations()
        self._done("agreement")

    def add(self, span: Span, aspect: Aspect) -> None:
        """An aspect of every point at the span that is read."""
        for point in self._points_at[span]:
            if why_unread(self.site, point) is None:
                self.aspects[point.name].append(aspect)

    async def _read(self, block: Block) -> None:
        spans = spans_of(block)
        whole = await self.reader.read(block.table, block.address, block.count)
        refused: set[Span] = set()
        for span in spans:
            answer, words = await read_alone(self.reader, span)
            mapped = self._mapped[span.table]
            self.add(span, await answers_aspect(self.reader, span, answer, mapped))
            if words is None:
                refused.add(span)
            else:
                self._keep(span, words)
        for group in groups(spans, refused):
            if refused:
                end = max(span.end for span in group)
                first = group[0].address
                whole = await self.reader.read(block.table, first, end - first)
            for span, aspect in (await compare(self.reader, group, whole, self.alone)).items():
                self.add(span, aspect)

    async def reread(self, point: Point) -> bool:
        """Read the point alone once more; whether it was answered."""
        _, words = await read_alone(self.reader, span_of(point))
        if words is not None:
            self._keep(span_of(point), words)
        return words is not None

    def _keep(self, span: Span, words: tuple[int, ...]) -> None:
        self.alone[span] = words
        for at, word in enumerate(words, span.address):
            self.image[span.table, at] = word
        for point in self._points_at[span]:
            if why_unread(self.site, point) is None:
                self.raws[point.name] = words

    async def settle(self) -> None:
        """Let the panel scan and refresh its registers once."""
        timing = self.site.timing
        clock = self.reader.clock
        await clock.sleep_until(clock.now() + timing.scan_s + timing.refresh_s)

    def _judge(self, point: Point) -> Judged:
        shown = fault_shown(point.subject, self._shown, self.raws)
        return judge_value(self.site, point, self.raws[point.name], fault_shown=shown)

    async def _judge_values(self) -> None:
        """What is not right at once is looked at again: a fault may come between two reads."""
        seen: dict[str, list[tuple[int, ...]]] = {}
        open_points = [point for point in self.site.points if point.name in self.raws]
        for look in range(LOOKS):
            if look and open_points:
                await self.settle()
            still = []
            for point in open_points:
                if look:
                    await self._reread_with_fault(point)
                judged = self._judge(point)
                seen.setdefault(point.name, []).append(self.raws[point.name])
                if judged.outcome is Outcome.PROVEN or look == LOOKS - 1:
                    self._conclude(point, judged, seen[point.name])
                else:
                    still.append(point)
            open_points = still

    async def _reread_with_fault(self, point: Point) -> None:
        for aspect in ("fault", "state"):
            for source in self._shown.get(f"{point.subject}.{aspect}", []):
                await self.reread(source.point)
        await self.reread(point)

    def _conclude(self, point: Point, judged: Judged, seen: list[tuple[int, ...]]) -> None:
        outcome, because = judged.outcome, judged.because
        if judged.tiny and _decays(point, seen):
            outcome, because = Outcome.PROVEN, "it decays towards zero"
        elif outcome is Outcome.FAILED:
            found = hints(self.site, point, self.image)
            because += f"; it would be {', or '.join(found)}" if found else ""
            if judged.tiny and not found:
                outcome = Outcome.INCONCLUSIVE
        text = shown_text(point, seen[-1])
        self.aspects[point.name].append(
            Aspect(VALUE, outcome, judged.expected, text, None, because)
        )

    async def _judge_relations(self) -> None:
        """Only a disagreement that outlasts a scan and two polls fails."""
        timing, pace = self.site.timing, self.site.pace
        clock = self.reader.clock
        lasting_s = timing.scan_s + timing.refresh_s + 2.0 * pace.poll_period_s
        found = relations(self.site, set(self.raws))
        begun_s = clock.now()
        looks = 1
        broken = self._keep_broken(found)
        while broken and (looks < LOOKS or clock.now() - begun_s <= lasting_s):
            if self.reader.given_up:
                break
            await clock.sleep_until(clock.now() + pace.poll_period_s)
            for relation in broken:
                for source in (relation.first, relation.second):
                    await self.reread(source.point)
            broken = self._keep_broken(broken)
            looks += 1
        for relation in broken:
            self._disagree(relation, clock.now() - begun_s)

    def _keep_broken(self, found: list[Relation]) -> list[Relation]:
        raws = self.raws
        broken = []
        for relation in found:
            holds = relation.holds(raws)
            if holds is False:
                broken.append(relation)
            elif holds:
                self._relate(relation, Outcome.PROVEN, "", "")
        return broken

    def _disagree(self, relation: Relation, lasted_s: float) -> None:
        if self.reader.given_up:
            because = f"they disagreed, and {self.reader.given_up}"
            self._relate(relation, Outcome.INCONCLUSIVE, relation.shown(self.raws), because)
            return
        shown = relation.shown(self.raws)
        lasted = f"for {lasted_s:.3g} s, longer than a scan and two polls"
        because = f"{relation.expected}, yet {lasted}, {shown}"
        self._relate(relation, Outcome.FAILED, shown, because)

    def _relate(self, relation: Relation, outcome: Outcome, seen: str, because: str) -> None:
        first, second = relation.first.point, relation.second.point
        for point, other in ((first, second), (second, first)):
            aspect = Aspect(
                f"agrees with {other.name}", outcome, relation.expected, seen, None, because
            )
            self.aspects[point.name].append(aspect)

    def verdicts(self) -> list[Verdict]:
        """A verdict for every point, in the order of the points list."""
        return [self._verdict(point) for point in self.site.points]

    def _verdict(self, point: Point) -> Verdict:
        why = why_unread(self.site, point)
        expected = point_words(point)
        if why is not None:
            return Verdict(
                f"point/{point.name}", Kind.POINT, Outcome.NOT_RUN, expected, because=why
            )
        aspects = tuple(self.aspects[point.name])
        outcome = overall([aspect.outcome for aspect in aspects])
        wrong = [a for a in aspects if a.outcome is outcome and outcome is not Outcome.PROVEN]
        because = "; ".join(f"{a.name}: {a.because}" for a in wrong)
        raw = self.raws.get(point.name)
        seen = "nothing" if raw is None else shown_text(point, raw)
        return Verdict(
            f"point/{point.name}",
            Kind.POINT,
            outcome,
            expected,
            seen,
            because=because or "; ".join(a.because for a in aspects if a.because),
            aspects=aspects,
        )


def point_words(point: Point) -> str:
    """Where the point is and what it shows, for people."""
    place = f"{point.table.value} {point.address} ({reference(point.table, point.address)})"
    order = "" if point.table.of_bits or point.width == 1 else f" {point.order.value}"
    bit = "" if point.bit is None else f" {point.bit}"
    return f"{point.shows} at {place}, {point.type.value}{bit}{order}"


def shown_text(point: Point, raw: tuple[int, ...]) -> str:
    """The value with its unit, and the raw registers, for people."""
    value = decode(point, raw)
    text = "no value" if value is None else repr(value) if isinstance(value, str) else f"{value}"
    if isinstance(value, float):
        text = f"{value:.9g}"
    unit = f" {point.unit}" if point.unit else ""
    return f"{text}{unit} [{hex_words(span_of(point), raw)}]"


def _decays(point: Point, seen: list[tuple[int, ...]]) -> bool:
    """Whether the samples fall steadily towards zero, as a reading does for minutes after gas; a
    wrong order of words jumps or stands."""
    values = [decode(point, raw) for raw in seen]
    sizes = [abs(value) for value in values if isinstance(value, float)]
    falls = all(
        later == 0.0 or 0.2 * earlier < later < earlier for earlier, later in pairwise(sizes)
    )
    return len(sizes) == len(seen) > 1 and sizes[-1] < sizes[0] and falls
