"""How verdicts, instants and responses stand in the cells of a report. Pure."""

from typing import Final

from gaswitness.report_blocks import Cell, Tone, cell
from gaswitness.report_data import Finding
from gaswitness.wording import OUTCOME_WORDS, response_words
from gaswitness_probe.verdict import Outcome

TONES: Final = {
    Outcome.PROVEN: Tone.PROVEN,
    Outcome.FAILED: Tone.FAILED,
    Outcome.INCONCLUSIVE: Tone.INCONCLUSIVE,
    Outcome.NOT_RUN: Tone.NOT_RUN,
}


def outcome_cell(outcome: Outcome | None) -> Cell:
    """The verdict in a word."""
    if outcome is None:
        return cell("no verdict")
    return cell(OUTCOME_WORDS[outcome], tone=TONES[outcome])


def seen_words(finding: Finding) -> str:
    """What was seen; where that says nothing, or all is not well, why."""
    if finding.outcome is Outcome.PROVEN:
        return finding.seen or finding.because
    return finding.because or finding.seen


def response_cell(finding: Finding) -> Cell:
    """The measured response with its uncertainty."""
    return cell(response_words(finding.response_s))


def instant(at_s: float | None) -> str:
    """An instant of the run."""
    return "" if at_s is None else f"{at_s:.1f} s"
