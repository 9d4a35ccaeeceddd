"""Page one and what must be known before the results are read: scope, records, people,
preconditions.

The steps (check of documents, inventory, functional test), the words FAT and SAT, and the
categories of the punch list are those that IEC 62381 uses, from memory; which edition applies, the
contract says.
"""

from collections.abc import Iterator, Sequence
from dataclasses import astuple
from textwrap import shorten
from typing import Final

from gaswitness.cautions import CAUTIONS, IN_SHORT
from gaswitness.plan_states import counted, state_of
from gaswitness.report_blocks import (
    Block,
    Column,
    Facts,
    Items,
    Paragraph,
    Section,
    SignatureBox,
    Signatures,
    Table,
    Text,
    Tone,
    cell,
    mono,
    one_group,
    said,
    strong,
)
from gaswitness.report_data import Gas, Instrument, IssueFacts, Item, Part, Person, Report
from gaswitness.report_outcome import tests_to_do
from gaswitness.report_words import TONES
from gaswitness.wording import duration_words
from gaswitness_probe.verdict import Outcome

MOST_TOLD: Final = {Outcome.FAILED: 6, Outcome.INCONCLUSIVE: 3}
"""Failed or undecided things named on page one; the punch list has all."""
MOST_TESTS: Final = 3
FEW: Final = 5
LONGEST_OF_FEW: Final = 300
LONGEST_OF_MANY: Final = 80
REFERENCES: Final = (
    "IEC 62381, Automation systems in the process industry: FAT, SAT and SIT. The words and steps "
    "of this report follow it.",
    "MODBUS Application Protocol Specification V1.1b3 and MODBUS Messaging on TCP/IP "
    "Implementation Guide V1.0b; on a serial line MODBUS over Serial Line V1.02.",
    "JCGM 106, The role of measurement uncertainty in conformity assessment: a response counts as "
    "proven only with its whole uncertainty inside the limits.",
    "IEC 60079-29-2 (flammable gases) and the exposure limits in force at the place: selection, "
    "setpoints and maintenance, which this report does not judge.",
)
BEFORE: Final = (
    "Permit to work, where the site has them",
    "People in the building, operators and whoever watches the building management system told",
    "Alarm receiving centre or fire service told, where signals go there",
    "What must not move isolated; other protection in place (portable detectors, a watch)",
    "Test gas, adapters and instruments in date; handled by people trained for it",
)
AFTER: Final = (
    "Every inhibit taken away, every latch reset, every isolation restored",
    "All who were told beforehand told again that the test is over",
)
PARTIES: Final = {"Vendor": "tester", "Purchaser": "witness", "Third party": "third party"}
"""Whose box it is, and the role of who may stand in it."""


def front(report: Report) -> Iterator[Block]:
    """Page one: the outcome in words, what it rests on, and where to sign."""
    yield Paragraph(said(strong(report.headline)), TONES[report.outcome])
    for words in report.words:
        yield Paragraph(said(words))
    yield from _open(report)
    yield _what(report)
    yield Signatures(tuple(_boxes(report)))
    yield Paragraph(said(f"Caution: {IN_SHORT}"), Tone.CAUTION)


def _open(report: Report) -> Iterator[Block]:
    """What keeps the whole from being proven, the worst first; little of it in full, much of it so
    short that the boxes to sign stay on page one."""
    lists = {
        "Failed:": [one for one in report.items if one.outcome is Outcome.FAILED],
        "Inconclusive:": [one for one in report.items if one.outcome is Outcome.INCONCLUSIVE],
    }
    left = [part for part in tests_to_do(report.parts) if part.outcome is not Outcome.PROVEN]
    many = sum(map(len, lists.values())) + len(left) > FEW
    longest = LONGEST_OF_MANY if many else LONGEST_OF_FEW
    for title, items in lists.items():
        if items:
            yield Paragraph(said(strong(title)))
            yield Items(tuple(_told(items, MOST_TOLD[items[0].outcome], longest)))
    if left:
        yield Paragraph(said(strong("Tests of the plan that are not proven:")))
        yield Items(tuple(_left(left, longest)))


def _told(items: list[Item], most: int, longest: int) -> Iterator[Text]:
    for item in items[:most]:
        why = item.because or item.seen or item.expected
        yield said(mono(item.id), f": {shorten(why, longest, placeholder=' ...')}")
    if len(items) > most:
        yield said(f"and {len(items) - most} more, in the punch list")


def _left(parts: list[Part], longest: int) -> Iterator[Text]:
    for part in parts[:MOST_TESTS]:
        state = state_of(part.outcome, part.how)
        because = "" if part.because == part.how else f". {part.because}" if part.because else ""
        words = shorten(f"{part.title}{because}", longest, placeholder=" ...")
        yield said(mono(part.id), " ", strong(state), f": {words}")
    if len(parts) > MOST_TESTS:
        yield said(f"and {len(parts) - MOST_TESTS} more, under Tests")


def _what(report: Report) -> Facts:
    identity, newest = report.identity, report.issues[-1]
    place = ", ".join(one for one in (identity.name, identity.location) if one)
    when = newest.begun_utc or "in virtual time, which has no date"
    rows = [
        ("Panel", said(strong(identity.tag), f" {place}" if place else "")),
        ("Kind of test", said(identity.stage)),
        ("Begun", said(when)),
        ("Over", said(newest.link)),
        ("Evidence", said(*_digests(report))),
    ]
    return Facts(tuple(rows))


def _digests(report: Report) -> Iterator[str]:
    yield "SHA-256 of the chain's head: "
    yield "; ".join(f"issue {one.issue} {one.digest}" for one in report.issues)


def _boxes(report: Report) -> Iterator[SignatureBox]:
    by_role = {person.role: person for person in report.people}
    for party, role in PARTIES.items():
        person = by_role.get(role)
        if person is None:
            yield SignatureBox(party)
        else:
            yield SignatureBox(f"{party} ({role})", person.name, person.company)


def scope(report: Report) -> Section:
    """What was tested, by which documents."""
    identity, newest = report.identity, report.issues[-1]
    document = " revision ".join(
        one for one in (identity.site_document, identity.site_document_revision) if one
    )
    maker = ", ".join(
        one for one in (identity.vendor, identity.product, identity.product_revision) if one
    )
    facts = (
        ("Panel", said(identity.tag)),
        ("Name", said(identity.name or "not stated")),
        ("Location", said(identity.location or "not stated")),
        ("Maker, product, revision", said(maker or "not stated")),
        ("It answers", said(newest.identification)),
        ("Document of the panel", said(document or "not stated")),
        ("Site file", said(mono(newest.site), " SHA-256 ", mono(newest.site_sha256))),
    )
    checks = (
        said(strong("Check of documents: "), _document_words(report)),
        said(strong("Inventory: "), _inventory_words(report)),
        said(strong("Functional test: "), _functional_words(report)),
    )
    doubts = (
        Section("doubts", "What the design rules doubt", (Items(tuple(map(said, report.doubts))),)),
    )
    return Section(
        "scope",
        "Scope and references",
        (
            Facts(facts),
            Items(checks),
            Paragraph(
                said("References, named from memory; the edition that applies is the contract's.")
            ),
            Items(tuple(map(said, REFERENCES))),
            *(doubts if report.doubts else ()),
        ),
        new_page=True,
    )


def _document_words(report: Report) -> str:
    number = len(report.doubts)
    doubts = "nothing" if number == 0 else "one thing" if number == 1 else f"{number} things"
    return f"the site file was read without error; the design rules doubt {doubts} in it."


def _inventory_words(report: Report) -> str:
    points = [item for item in report.items if item.kind == "point"]
    good = sum(item.outcome is Outcome.PROVEN for item in points)
    return f"{good} of {len(points)} points of the points list proven as stated."


def _functional_words(report: Report) -> str:
    tests = [part for part in report.parts if part.planned]
    if tests:
        states = counted(state_of(part.outcome, part.how) for part in tests)
        return f"of {len(tests)} tests of the plan {states}."
    return f"{len(report.parts)} scripts played." if report.parts else "none was made."


def records(report: Report) -> Section:
    """Software, clock, link and hashes of each issue."""
    inner = tuple(_record(one) for one in report.issues)
    words = (
        "Each record is append-only: every entry is chained to the one before by SHA-256. Whoever "
        "holds the head digest beneath can show with gaswitness verify, or by the rule in the "
        "developers' page without it, that the record is that one and stands as it was written."
    )
    return Section("records", "Software, clock, link and hashes", (Paragraph(said(words)), *inner))


def _record(one: IssueFacts) -> Section:
    low, high = one.span_s
    speed = "" if one.speed == 1.0 else f", {one.speed:g} s of the run in a second"
    clock = f"{one.clock}{speed}; smallest tick {one.clock_resolution_s:.3g} s"
    problems = ", ".join(f"{number} {name}" for name, number in one.problems) or "none"
    rows = [
        ("Head digest, SHA-256", said(mono(one.digest))),
        ("File", said(mono(one.file), f", {one.chain}")),
        ("Software", said(f"{one.software}, Python {one.python}, {one.platform}")),
        ("Command and driver", said(", ".join(x for x in (one.command, one.driver) if x))),
        ("Link", said(one.link)),
        ("Clock", said(clock)),
        ("Begun", said(one.begun_utc or "no date: virtual time")),
        ("Judged", said(f"{low:.1f} s to {high:.1f} s of the run, {duration_words(high - low)}")),
        ("Ended", said(one.ended or "the record does not say")),
        ("Exchanges", said(f"{one.exchanges}, problems: {problems}")),
    ]
    if one.seed is not None:
        rows.append(("Seed", said(str(one.seed))))
    rows += [(f"Option {name}", said(value)) for name, value in one.options]
    rows += [(f"File {name}", said("SHA-256 ", mono(digest))) for name, digest in one.files]
    blocks: list[Block] = [Facts(tuple(rows))]
    if one.resumed:
        blocks.append(Items(tuple(map(said, one.resumed))))
    return Section(f"issue-{one.issue}", f"Issue {one.issue}", tuple(blocks))


def people(report: Report) -> Section:
    """Who, and with what."""
    blocks = [
        *_table("People", ("Role", "Name", "Initials", "Company"), report.people),
        *_table(
            "Instruments",
            ("Instrument", "Maker's number", "Certificate", "Holds until"),
            report.instruments,
        ),
        *_table(
            "Test gas",
            (
                "Gas",
                "Composition",
                "Cylinder",
                "Certificate",
                "Usable until",
                "Used all the same, because",
            ),
            report.gases,
        ),
    ]
    none = Paragraph(said("The record names no people, instruments or test gas."))
    return Section("people", "People, instruments and test gas", tuple(blocks) or (none,))


def _table(
    caption: str, titles: Sequence[str], records: Sequence[Person | Instrument | Gas]
) -> Iterator[Block]:
    """The records with their fields in order, if there are any."""
    if records:
        rows = [tuple(cell(str(value)) for value in astuple(one)) for one in records]
        yield Table(caption, tuple(map(Column, titles)), one_group(rows))


def preconditions(report: Report) -> Section:
    """What has to be so before and after, to be signed off, and the cautions."""
    columns = (Column("Condition", 5), Column("Confirmed by", 1.4), Column("Date and time", 1.4))
    virtual = report.issues[-1].virtual
    words = (
        "Nothing to confirm: a virtual panel moves nothing."
        if virtual
        else "To be confirmed in ink by whoever answers for the place. The record does not hold it."
    )
    blocks: list[Block] = [Paragraph(said(words))]
    if not virtual:
        for title, conditions in (("Before the test", BEFORE), ("After the test", AFTER)):
            rows = [(cell(one), cell(), cell()) for one in conditions]
            blocks.append(Table(title, columns, one_group(rows)))
    moved = dict.fromkeys(tag for part in report.parts for tag in part.moves)
    if moved:
        blocks.append(
            Paragraph(said("Outputs that the tests move: ", strong(", ".join(moved)), "."))
        )
    blocks.append(Section("cautions", "Cautions", (Items(tuple(map(said, CAUTIONS))),)))
    return Section("preconditions", "Preconditions and cautions", tuple(blocks))
