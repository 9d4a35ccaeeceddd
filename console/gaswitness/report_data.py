"""What a report says, as data: read from evidence alone, worded for people, and not yet set. Times
are seconds of the run they come from; `at_utc` is empty where the run had virtual time.
"""

from dataclasses import dataclass, field

from gaswitness.report_blocks import Text
from gaswitness_probe.shown_defects import ShownDefects
from gaswitness_probe.verdict import Interval, Kind, Outcome, Proof


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What the report is, and of which panel. `stage`: Factory acceptance test, rehearsal..."""

    title: str
    stage: str
    number: str
    revision: str
    tag: str
    name: str
    location: str
    vendor: str
    product: str
    product_revision: str
    site_document: str
    site_document_revision: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IssueFacts:
    """One record: the run it holds, and whether it stands as written.

    `issue`: 1 for the first run, 2 for its first retest. `digest`: its head, in hex. `sound`:
    whether its chain holds and it holds the run's end; `chain` says so in words. `virtual`: whether
    the panel was a virtual one.
    """

    issue: str
    file: str
    digest: str
    entries: int
    sound: bool
    chain: str
    command: str
    virtual: bool
    software: str
    python: str
    platform: str
    link: str
    driver: str
    seed: int | None
    clock: str
    clock_resolution_s: float
    speed: float
    begun_utc: str
    span_s: Interval
    ended: str
    site: str
    site_sha256: str
    files: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]
    identification: str
    exchanges: int
    problems: tuple[tuple[str, int], ...]
    resumed: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who took part."""

    role: str
    name: str
    initials: str
    company: str


@dataclass(frozen=True, slots=True)
class Instrument:
    """What was measured with, with its certificate."""

    name: str
    maker_number: str
    certificate: str
    due: str


@dataclass(frozen=True, slots=True)
class Gas:
    """A cylinder of test gas. `overridden`: why it was used past its date, else empty."""

    gas: str
    composition: str
    cylinder: str
    certificate: str
    expires: str
    overridden: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One side of one thing, such as the rise of a cell: what had to be, what was, and the verdict.

    `of`: the verdict's id. `aspect` is empty where the finding is the verdict as a whole.
    """

    of: str
    aspect: str
    outcome: Outcome
    expected: str
    seen: str
    because: str
    response_s: Interval | None
    proof: Proof
    at_s: float | None

    @property
    def name(self) -> str:
        """`VERDICT: ASPECT`, as plans write it."""
        return f"{self.of}: {self.aspect}" if self.aspect else self.of


@dataclass(frozen=True, slots=True)
class Earlier:
    """What an issue made of a thing."""

    issue: str
    outcome: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to be proven, by its newest verdict.

    `issue`: where that comes from. `history`: all issues, the oldest first. `carried`: names of the
    sides that only an earlier issue showed, and which count still.
    """

    id: str
    kind: Kind
    outcome: Outcome
    proof: Proof
    expected: str
    seen: str
    because: str
    response_s: Interval | None
    issue: str
    history: tuple[Earlier, ...]
    findings: tuple[Finding, ...]
    carried: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The id without its kind."""
        return self.id.partition("/")[2]


@dataclass(frozen=True, slots=True)
class Look:
    """What a person was asked, and answered."""

    fact: str
    value: bool
    asked_s: float
    answered_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """A step as it was done. `left_out`: why it was not, empty where it was."""

    number: int
    at_s: float
    at_utc: str
    words: str
    place: str
    left_out: str = ""
    looks: tuple[Look, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Signed:
    """Initials under a test."""

    role: str
    name: str
    initials: str
    at_utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A test of a plan, or a script without tests.

    `planned`: whether it is a test. `how`: done, skipped, stopped, broken off. `claims`: what it is
    to show; `beside`: what failed while it went on that it does not claim. `attempts`: earlier
    ones and those of earlier issues, in words.
    """

    id: str
    title: str
    planned: bool
    issue: str
    attempt: int
    how: str
    reason: str
    outcome: Outcome
    because: str
    begun_s: float
    ended_s: float
    begun_utc: str
    moves: tuple[str, ...]
    claims: tuple[Finding, ...]
    beside: tuple[Finding, ...]
    steps: tuple[StepRow, ...]
    signed: tuple[Signed, ...]
    remarks: tuple[str, ...] = ()
    attempts: tuple[str, ...] = ()

    @property
    def initials(self) -> str:
        """The initials, one after the other."""
        return ", ".join(one.initials for one in self.signed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A point's bytes as they were seen once, and how they make its value.

    `agrees`: whether the value worked out by hand is the one that the probe decoded.
    """

    at_s: float
    request: Text
    response: Text
    steps: tuple[str, ...]
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """A row of the points list, as stated, with its verdict and worked example."""

    name: str
    table: str
    address: int
    reference: str
    type: str
    order: str
    shows: str
    scale: float
    offset: float
    unit: str
    access: str
    outcome: Outcome | None
    issue: str
    worked: Worked | None
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PunchItem:
    """Something left to mend. `noted`: a person put it down; else it follows from a verdict, and
    its category is proposed.
    """

    number: str
    category: str
    about: str
    text: str
    by: str
    issue: str
    noted: bool
    newest: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Something as it was found and as it was left, beside what the site file states."""

    name: str
    stated: str
    found: str
    left: str
    found_s: float
    left_s: float
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameRow:
    """One exchange around something that failed."""

    sent_s: float
    received_s: float
    asked: str
    request: Text
    response: Text
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """The exchanges around the instant of a failure."""

    of: str
    issue: str
    at_s: float | None
    because: str
    rows: tuple[FrameRow, ...]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class AttachedFile:
    """A file that the record holds."""

    name: str
    sha256: str
    media_type: str
    about: str
    words: str
    issue: str
    content: bytes = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All of it. `map_defects`: those of the map that the runs would have shown; None where nothing
    was played."""

    identity: Identity
    issues: tuple[IssueFacts, ...]
    outcome: Outcome
    headline: str
    words: tuple[str, ...]
    people: tuple[Person, ...]
    instruments: tuple[Instrument, ...]
    gases: tuple[Gas, ...]
    doubts: tuple[str, ...]
    items: tuple[Item, ...]
    parts: tuple[Part, ...]
    points: tuple[PointRow, ...]
    punch: tuple[PunchItem, ...]
    settings: tuple[Setting, ...]
    frames: tuple[Frames, ...]
    attached: tuple[AttachedFile, ...]
    map_defects: ShownDefects | None
