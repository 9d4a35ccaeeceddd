"""From the records of a run to the report as data. Nothing is set here."""

from base64 import b64decode
from collections.abc import Sequence
from dataclasses import dataclass

from gaswitness.report_data import AttachedFile, Gas, Identity, Instrument, Person, Report
from gaswitness.report_frames import frames_of
from gaswitness.report_issues import Issue, issue_facts
from gaswitness.report_items import items_of
from gaswitness.report_outcome import headline, outcome_words, overall_outcome
from gaswitness.report_parts import parts_of
from gaswitness.report_points import point_rows
from gaswitness.report_punch import punch_list
from gaswitness.report_settings import settings_of
from gaswitness.report_unseen import unseen_of
from gaswitness_sitefile.rules import design_warnings

STAGES = {
    "fat": "Factory acceptance test (FAT)",
    "sat": "Site acceptance test (SAT)",
}
COMMANDS = {"rehearse": "Rehearsal", "survey": "Survey of the register map"}


@dataclass(frozen=True, slots=True)
class Chosen:
    """What whoever makes the report says of it. `stage`: fat, sat, or empty."""

    number: str = ""
    revision: str = ""
    stage: str = ""


def build_report(issues: Sequence[Issue], chosen: Chosen) -> Report:
    """The report of the issues of one run, the oldest first."""
    newest = issues[-1]
    facts = tuple(issue_facts(issue) for issue in issues)
    items = items_of([(issue.name, issue.run.verdicts) for issue in issues])
    parts = parts_of(issues)
    defects = unseen_of(issues)
    outcome = overall_outcome(facts, items, parts)
    return Report(
        identity=_identity(newest, chosen),
        issues=facts,
        outcome=outcome,
        headline=headline(outcome, items, parts),
        words=tuple(outcome_words(facts, items, parts, defects)),
        people=_people(issues),
        instruments=_instruments(issues),
        gases=_gases(issues),
        doubts=tuple(_doubts(newest)),
        items=items,
        parts=parts,
        points=point_rows(newest, {item.id: item for item in items}),
        punch=punch_list(issues, items, parts),
        settings=settings_of(issues[0], newest),
        frames=frames_of(issues, items),
        attached=_attached(issues),
        map_defects=defects,
    )


def _identity(issue: Issue, chosen: Chosen) -> Identity:
    panel, command = issue.site.panel, issue.run.facts.command
    stage = STAGES.get(chosen.stage) or COMMANDS.get(command, "Witnessed test")
    rehearsed = ", rehearsed" if chosen.stage and command == "rehearse" else ""
    return Identity(
        title=f"{stage} of {panel.tag}{rehearsed}",
        stage=f"{stage}{rehearsed}",
        number=chosen.number or f"{panel.tag}-{issue.chain.head[:8]}",
        revision=chosen.revision or issue.name,
        tag=panel.tag,
        name=panel.name,
        location=panel.location,
        vendor=panel.vendor,
        product=panel.product,
        product_revision=panel.revision,
        site_document=panel.document,
        site_document_revision=panel.document_revision,
    )


def _doubts(issue: Issue) -> list[str]:
    """What the design rules doubt in the site file: the check of documents."""
    return [
        f"{warning.what} [{warning.rule}]: {warning.reason}. Source: {warning.source}."
        for warning in design_warnings(issue.run.site)
    ]


def _people(issues: Sequence[Issue]) -> tuple[Person, ...]:
    found = [
        Person(b["role"], b["name"], b["initials"], b["company"])
        for issue in issues
        for b in (entry.body for entry in issue.run.people)
    ]
    return tuple(dict.fromkeys(found))


def _instruments(issues: Sequence[Issue]) -> tuple[Instrument, ...]:
    found = [
        Instrument(b["name"], b["maker_number"], b["certificate"], b["due"] or "")
        for issue in issues
        for b in (entry.body for entry in issue.run.instruments)
    ]
    return tuple(dict.fromkeys(found))


def _gases(issues: Sequence[Issue]) -> tuple[Gas, ...]:
    found = [
        Gas(
            b["gas"],
            b["composition"],
            b["cylinder"],
            b["certificate"],
            b["expires"] or "",
            b["overridden"],
        )
        for issue in issues
        for b in (entry.body for entry in issue.run.test_gases)
    ]
    return tuple(dict.fromkeys(found))


def _attached(issues: Sequence[Issue]) -> tuple[AttachedFile, ...]:
    return tuple(
        AttachedFile(
            b["name"],
            b["sha256"],
            b["media_type"],
            b.get("about", ""),
            b.get("words", ""),
            issue.name,
            b64decode(b["base64"]),
        )
        for issue in issues
        for b in (entry.body for entry in issue.run.attachments)
    )
