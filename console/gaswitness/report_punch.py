"""The punch list: deviations that people noted, and what the verdicts leave open.

Categories as the trade has them (common practice, no source): A before the plant runs, B before it
is handed over, C when it suits. What follows from a verdict has a category proposed, for the
parties to agree.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from gaswitness.report_data import Item, Part, PunchItem
from gaswitness.report_issues import Issue
from gaswitness.wording import OUTCOME_WORDS
from gaswitness_probe.verdict import Outcome

PROPOSED: Final = {Outcome.FAILED: "A", Outcome.INCONCLUSIVE: "B"}
CATEGORY_WORDS: Final = {
    "A": "to be mended before the plant runs",
    "B": "to be mended before it is handed over",
    "C": "to be mended when it suits, or an improvement",
}


def punch_list(
    issues: Sequence[Issue], items: Sequence[Item], parts: Sequence[Part]
) -> tuple[PunchItem, ...]:
    """Noted deviations first, then what verdicts leave open; failed things first."""
    newest = {part.id: part for part in parts}
    noted = list(_noted(issues, newest))
    return (*noted, *_open(items))


def _noted(issues: Sequence[Issue], newest: dict[str, Part]) -> Iterator[PunchItem]:
    for issue in issues:
        for entry in issue.run.deviations:
            body = entry.body
            about = str(body.get("about", ""))
            part = newest.get(about)
            told = "" if part is None else f"{OUTCOME_WORDS[part.outcome]} in issue {part.issue}"
            yield PunchItem(
                number=f"D{issue.name}.{body['number']}",
                category=str(body["category"]),
                about=about,
                text=str(body["text"]),
                by=str(body.get("by", "")),
                issue=issue.name,
                noted=True,
                newest=told,
            )


def _open(items: Sequence[Item]) -> Iterator[PunchItem]:
    number = 0
    for outcome in PROPOSED:
        for item in items:
            if item.outcome is outcome:
                number += 1
                yield PunchItem(
                    number=f"V{number}",
                    category=PROPOSED[outcome],
                    about=item.id,
                    text=f"{OUTCOME_WORDS[outcome]}: {item.because or item.seen or item.expected}",
                    by="the verdict",
                    issue=item.issue,
                    noted=False,
                    newest=f"{OUTCOME_WORDS[outcome]} in issue {item.issue}",
                )
