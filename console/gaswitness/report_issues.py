"""The records that a report is made from: one, or a folder's first run with its retests."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Final

from gaswitness.report_data import IssueFacts
from gaswitness.report_wire import Wire
from gaswitness_probe.evidence_file import EvidenceError
from gaswitness_probe.evidence_read import ChainReport, verify_chain
from gaswitness_probe.expect import Expectations
from gaswitness_probe.signal import Window
from gaswitness_probe.view import PanelView
from gaswitness_scenarios.kept_run import KeptRun, read_run
from gaswitness_scenarios.run_files import records_of
from gaswitness_sitefile.site import Site

ANNOUNCED: Final = re.compile(r"this is a virtual panel: .*It plays ([0-9.e+]+) s in one", re.S)
"""What a run remarks where the panel says that it is virtual, and at which speed."""
IDENTIFIED: Final = "identification: "
RETEST: Final = re.compile(r"run-(\d+)\.sqlite")


@dataclass(frozen=True)
class Issue:
    """One record, read. `name`: 1 for the first run, 2 for its first retest."""

    name: str
    path: Path
    run: KeptRun
    chain: ChainReport

    @property
    def site(self) -> Site:
        """The site that the run was made with."""
        return self.run.site.site

    @cached_property
    def expected(self) -> Expectations:
        """What was seen, and what had to be, as the judge was given it."""
        run = self.run
        histories = run.histories() if run.of("polling") else {}
        span = Window(*run.span_s)
        view = PanelView(self.site, histories, run.applied, run.looked, span, run.address)
        return Expectations(view)

    @cached_property
    def wire(self) -> Wire:
        """What went over the link."""
        return Wire(self.run)

    @property
    def rtu(self) -> bool:
        """Whether the frames are RTU."""
        return self.run.rtu

    def utc(self, at_s: float) -> str:
        """The instant in UTC, ISO 8601 to the second; empty for a run in virtual time.

        An interruption of a run moves the anchor: instants after it count from the later one.
        """
        begun_s, anchor, speed = self._anchor(at_s)
        if anchor is None:
            return ""
        from_s, faster = next(
            ((told_s, told) for told_s, told in self._announced if begun_s <= told_s <= at_s),
            (at_s, 1.0),
        )
        before_s = min(at_s, from_s)
        moment = anchor + timedelta(seconds=before_s / speed + (at_s - before_s) / faster)
        return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%SZ")

    @cached_property
    def _announced(self) -> tuple[tuple[float, float], ...]:
        """From when on the run's clock went at a served virtual panel's speed, and that speed; once
        for each part of a run that was interrupted."""
        matches = (
            (entry.at_s, ANNOUNCED.match(str(entry.body["text"]))) for entry in self.run.remarks
        )
        return tuple((at_s, float(match[1])) for at_s, match in matches if match)

    @property
    def virtual(self) -> bool:
        """Whether the panel was a virtual one, by the run's kind or by what it said itself."""
        return self.run.facts.command == "rehearse" or bool(self._announced)

    def _anchor(self, at_s: float) -> tuple[float, datetime | None, float]:
        """When the part of the run began that the instant lies in, the date of its second 0, and
        the speed at which it began."""
        clock = self.run.facts.clock
        begun_s, anchor, speed = 0.0, clock.utc_anchor, clock.speed
        for entry in self.run.resumed:
            if entry.at_s <= at_s and "clock" in entry.body:
                begun_s, anchor = entry.at_s, entry.body["clock"]["utc_anchor"]
                speed = entry.body["clock"].get("speed", 1.0)
        try:
            return begun_s, datetime.fromisoformat(anchor), speed or 1.0
        except ValueError:
            return begun_s, None, 1.0

    @property
    def stamp(self) -> int:
        """When the run began, in seconds since 1970; 0 in virtual time."""
        _, anchor, _ = self._anchor(0.0)
        return 0 if anchor is None else int(anchor.timestamp())


def read_issues(path: Path) -> tuple[Issue, ...]:
    """The records of a run folder, the oldest first, or the one that is named.

    Raises EvidenceError where there is none, or one cannot be read.
    """
    issues = [_issue(record) for record in records_of(path)]
    tags = {issue.site.panel.tag for issue in issues}
    if len(tags) > 1:
        raise EvidenceError(
            f"{path}: holds runs of different panels ({', '.join(sorted(tags))}): name one file"
        )
    return tuple(issues)


def _issue(path: Path) -> Issue:
    run = read_run(path)
    match = RETEST.fullmatch(path.name)
    name = run.facts.options.get("issue", "") or (match[1] if match else "1")
    return Issue(name, path, run, verify_chain(path))


def issue_facts(issue: Issue) -> IssueFacts:
    """What the report says of a record."""
    run, facts, clock = issue.run, issue.run.facts, issue.run.facts.clock
    files = [(one.name, one.sha256) for one in (*facts.site_files, *facts.scripts)]
    return IssueFacts(
        issue=issue.name,
        file=issue.path.name,
        digest=issue.chain.head,
        entries=issue.chain.entries,
        sound=issue.chain.ok and run.end is not None,
        chain=_chain_words(issue),
        command=facts.command,
        virtual=issue.virtual,
        software=facts.software,
        python=facts.python,
        platform=facts.platform,
        link=facts.link,
        driver=facts.driver,
        seed=facts.seed,
        clock=clock.kind,
        clock_resolution_s=clock.resolution_s,
        speed=clock.speed,
        begun_utc=issue.utc(0.0),
        span_s=run.span_s,
        ended="" if run.end is None else str(run.end.body.get("why", "")),
        site=facts.site_file,
        site_sha256=facts.site_sha256,
        files=tuple(files),
        options=tuple(sorted(facts.options.items())),
        identification=_identification(run),
        exchanges=len(issue.wire),
        problems=tuple(issue.wire.problems().most_common()),
        resumed=tuple(_resumed(issue)),
        remarks=tuple(_remarks(run)),
    )


def _chain_words(issue: Issue) -> str:
    chain = issue.chain
    if not chain.ok:
        return f"BROKEN: {chain.entries} entries stand, then {chain.why}"
    if issue.run.end is None:
        return (
            f"{chain.entries} entries stand as written, but the run's end is not among them: it "
            "broke off, or the record was cut short"
        )
    return f"{chain.entries} entries stand as written, the run's end the last of them"


def _identification(run: KeptRun) -> str:
    """Who the panel says that it is (Read Device Identification, V1.1b3 clause 6.21)."""
    for entry in run.remarks:
        text = str(entry.body["text"])
        if text.startswith(IDENTIFIED):
            return text.removeprefix(IDENTIFIED)
    return "not asked, or not answered"


def _resumed(issue: Issue) -> Iterator[str]:
    for entry in issue.run.resumed:
        after_s = entry.body.get("after_s", entry.at_s)
        said = issue.utc(entry.at_s)
        yield f"broke off after {after_s:.1f} s, went on at {entry.at_s:.1f} s" + (
            f" ({said})" if said else ""
        )


PHASES: Final = ("link:", "identification:", "warm-up:", "survey:", "script", "settle:", "judge:")


def _remarks(run: KeptRun) -> Iterator[str]:
    """What a reader should know of the run; not which part of it began when, nor what is about a
    test, which stands there. What each part of an interrupted run says again comes once."""
    told: set[str] = set()
    for entry in run.remarks:
        text, by = str(entry.body["text"]), entry.body.get("by", "")
        about = entry.body.get("about", "")
        again = not by and text in told
        if entry.body.get("phase") or about or again or text.startswith(PHASES):
            continue
        told.add(text)
        yield f"{entry.at_s:.1f} s: {text}" + (f" ({by})" if by else "")
