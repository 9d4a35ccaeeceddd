"""The report as data to the report as sheets: which section comes where."""

from collections.abc import Sequence

from gaswitness import report_back, report_coverage, report_front, report_tests, report_unseen
from gaswitness.report_blocks import Sheets
from gaswitness.report_data import Report
from gaswitness.report_issues import Issue


def report_sheets(report: Report, issues: Sequence[Issue]) -> Sheets:
    """All sheets, drawings included. `issues`: those that the report was built from."""
    identity = report.identity
    return Sheets(
        title=identity.title,
        number=identity.number,
        revision=identity.revision,
        tag=identity.tag,
        front=tuple(report_front.front(report)),
        sections=(
            report_front.scope(report),
            report_front.records(report),
            report_front.people(report),
            report_front.preconditions(report),
            report_coverage.coverage(report, issues[-1].site),
            report_unseen.unseen(report),
            report_tests.tests(report, issues),
            report_coverage.verdicts(report),
            *report_back.back_sections(report),
            report_back.frames(report),
        ),
    )
