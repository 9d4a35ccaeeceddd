"""Steps and punch list as CSV and as one workbook. Nothing in a cell is taken for a formula."""

from collections.abc import Iterator
from io import BytesIO
from typing import Final

from gaswitness.report_data import Finding, Part, PunchItem, Report, StepRow
from gaswitness.report_words import seen_words
from gaswitness.sheets import new_book, put_table
from gaswitness.wording import OUTCOME_WORDS, shown
from gaswitness_sitefile.rows import Rows, csv_text
from gaswitness_sitefile.tables import CellValue

Row = tuple[CellValue | None, ...]
STEPS: Final = (
    "issue",
    "test",
    "title",
    "step",
    "time of the run, s",
    "UTC",
    "done",
    "left out because",
    "what",
    "expected",
    "seen",
    "response from, s",
    "response to, s",
    "verdict",
    "proof",
    "initials",
)
PUNCH: Final = (
    "number",
    "category",
    "about",
    "what",
    "noted by",
    "issue",
    "newest verdict",
    "cleared by",
    "date",
)


def steps_csv(report: Report) -> str:
    """`steps.csv`: a row for each thing seen in a step, one for a step in which nothing was."""
    return csv_text(Rows(STEPS, tuple(map(_cleaned, _steps(report)))))


def punch_csv(report: Report) -> str:
    """`punch.csv`."""
    return csv_text(Rows(PUNCH, tuple(_cleaned(_punch(item)) for item in report.punch)))


def steps_book(report: Report) -> bytes:
    """`steps.xlsx`: the sheets `steps` and `punch list`."""
    identity = report.identity
    foot = f"{identity.number} revision {identity.revision}, panel {identity.tag}"
    book, sheets = new_book("steps", "punch list")
    put_table(sheets["steps"], STEPS, map(_cleaned, _steps(report)), foot=shown(foot))
    rows = (_cleaned(_punch(item)) for item in report.punch)
    put_table(sheets["punch list"], PUNCH, rows, foot=shown(foot))
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _cleaned(row: Row) -> Row:
    """Control characters made visible: a workbook cannot hold them."""
    return tuple(shown(value) if isinstance(value, str) else value for value in row)


def _steps(report: Report) -> Iterator[Row]:
    for part in report.parts:
        for step in part.steps:
            head = _head(part, step)
            for one in step.findings:
                yield (*head, *_finding(one), part.initials)
            for look in step.looks:
                answer = "yes" if look.value else "no"
                yield (
                    *head,
                    look.fact,
                    "a person looks",
                    answer,
                    None,
                    None,
                    "",
                    "witnessed",
                    part.initials,
                )
            if not step.findings and not step.looks:
                yield (*head, "", "", "", None, None, "", "", part.initials)


def _head(part: Part, step: StepRow) -> Row:
    return (
        part.issue,
        part.id,
        part.title,
        step.number,
        round(step.at_s, 3),
        step.at_utc,
        step.words,
        step.left_out,
    )


def _finding(one: Finding) -> Row:
    low, high = (None, None) if one.response_s is None else one.response_s
    return (
        one.name,
        one.expected,
        seen_words(one),
        None if low is None else round(low, 4),
        None if high is None else round(high, 4),
        OUTCOME_WORDS[one.outcome],
        str(one.proof),
    )


def _punch(item: PunchItem) -> Row:
    category = item.category if item.noted else f"{item.category} proposed"
    return (
        item.number,
        category,
        item.about,
        item.text,
        item.by,
        item.issue,
        item.newest,
        "",
        "",
    )
