"""The map check: all that the probe can tell about a panel's map and link by reading alone."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.survey_edges import (
    survey_exceptions,
    survey_largest_reads,
    survey_unmapped,
)
from gaswitness_probe.survey_panel import LinkRecord, survey_heartbeat, survey_identification
from gaswitness_probe.survey_points import PointSurvey
from gaswitness_probe.survey_reader import Reader
from gaswitness_probe.survey_second import Second, SecondSurvey
from gaswitness_probe.verdict import Verdict
from gaswitness_sitefile.site import Site


@dataclass(frozen=True, slots=True)
class SurveyProgress:
    """How far a survey is: `done` of `of` parts, and what was just done or is being repeated."""

    done: int
    of: int
    words: str


Progress = Callable[[SurveyProgress], None]


async def survey(
    client: Client,
    site: Site,
    clock: Clock,
    *,
    progress: Progress | None = None,
    second: Second | None = None,
) -> tuple[Verdict, ...]:
    """Check the map: a verdict for the link's every side, then one for each point, in file order.

    Asks nothing that could change the panel. A link that goes away leaves what was not seen
    inconclusive; nothing is raised for it. With `second` every point is read by it too, while our
    own connection is closed.
    """
    teller = _Teller(progress)
    record = LinkRecord(client)
    reader = Reader(client, clock, teller.told)
    points = PointSurvey(reader, site, teller.done)
    checks: list[tuple[str, Callable[[], Awaitable[list[Verdict]]]]] = [
        ("identification", _one(survey_identification, reader, site)),
        ("heartbeat", _one(survey_heartbeat, reader, site)),
        ("addresses outside the map", _one(survey_unmapped, reader, site)),
        ("largest reads", lambda: survey_largest_reads(reader, site)),
        ("exceptions", _one(survey_exceptions, reader, site)),
    ]
    if second is not None:
        beside = SecondSurvey(client, reader, site, second, teller.told)
        # before the questions that a bad server answers so badly that the link is given up
        checks.insert(2, (f"second reader, {second.name}", _whole(beside)))
    teller.of = len(points.plan) + 2 + len(checks)
    await points.run()
    found: list[Verdict] = []
    for words, check in checks:
        found += await check()
        teller.done(words)
    return (record.replies(), record.unit(), *found, *points.verdicts())


def _one(
    check: Callable[[Reader, Site], Awaitable[Verdict]], reader: Reader, site: Site
) -> Callable[[], Awaitable[list[Verdict]]]:
    async def run() -> list[Verdict]:
        return [await check(reader, site)]

    return run


def _whole(beside: SecondSurvey) -> Callable[[], Awaitable[list[Verdict]]]:
    async def run() -> list[Verdict]:
        return [await beside.run()]

    return run


class _Teller:
    def __init__(self, progress: Progress | None) -> None:
        self.of = 0
        self._made = 0
        self._progress = progress

    def done(self, words: str) -> None:
        self._made += 1
        self.told(words)

    def told(self, words: str) -> None:
        if self._progress is not None:
            self._progress(SurveyProgress(self._made, self.of, words))
