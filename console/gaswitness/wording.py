"""How outcomes, kinds, numbers and foreign text are worded for people. Pure functions."""

import math
import re
from collections.abc import Iterable
from typing import Final

from gaswitness_probe.verdict import Interval, Outcome, Verdict

OUTCOME_WORDS: Final = {
    Outcome.PROVEN: "proven",
    Outcome.FAILED: "failed",
    Outcome.INCONCLUSIVE: "inconclusive",
    Outcome.NOT_RUN: "not run",
}
FINEST_DECIMALS: Final = 3

_UNSHOWABLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


def shown(text: str) -> str:
    r"""The text with control characters made visible (ESC as `\x1b`), newlines and tabs left.

    What a panel sends is foreign: it must neither steer a terminal nor break XML.
    """
    return _UNSHOWABLE.sub(lambda found: _escape(found[0]), text)


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def response_words(response_s: Interval | None) -> str:
    """A measured response such as `2.1 s ± 0.3`; empty where none was measured.

    The uncertainty has one digit, or two where the first is a 1; three decimals at most. What is
    shown always covers the interval.
    """
    if response_s is None or not all(math.isfinite(end) for end in response_s):
        return ""
    low, high = response_s
    middle, half = (low + high) / 2, (high - low) / 2
    decimals = min(max(_decimals(half), 0), FINEST_DECIMALS)
    shown_middle = round(middle, decimals)
    step = 10.0**-decimals
    around = half + abs(shown_middle - middle)
    shown_half = math.ceil(around / step - 1e-6) * step
    return f"{shown_middle + 0.0:.{decimals}f} s ± {shown_half:.{decimals}f}"


def _decimals(half: float) -> int:
    if half < 10.0 ** -(FINEST_DECIMALS + 1):
        return FINEST_DECIMALS
    first = -math.floor(math.log10(half) + 1e-9)
    return first + 1 if half * 10.0**first < 2 - 1e-9 else first


def duration_words(seconds: float) -> str:
    """A length of time such as `45 s`, `12 min 5 s`, `8 h 2 min`."""
    whole = round(seconds)
    hours, minutes = divmod(whole // 60, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {whole % 60} s" if minutes else f"{whole} s"


def counts(verdicts: Iterable[Verdict]) -> dict[Outcome, int]:
    """How many verdicts there are of each outcome, all four named."""
    outcomes = [verdict.outcome for verdict in verdicts]
    return {outcome: outcomes.count(outcome) for outcome in Outcome}


def counts_words(verdicts: Iterable[Verdict]) -> str:
    """Such as `40 proven, 1 failed, 0 inconclusive, 2 not run`."""
    return ", ".join(f"{n} {OUTCOME_WORDS[outcome]}" for outcome, n in counts(verdicts).items())
