"""Bars of a chart from what was seen: on, off, and, between samples that differ, unknown. Pure.

A sample that stands alone keeps a place of its own, however short: an alarm that a single sample
saw is drawn as on for as long as the sample may speak of.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from gaswitness.chart import Bar, State, Stretch
from gaswitness.wording import duration_words
from gaswitness_probe.applied import Looked
from gaswitness_probe.observe import Stretch as Seen
from gaswitness_probe.signal import FALSE, TRUE, Signal, Truth
from gaswitness_probe.view import PanelView

STATES: Final = {TRUE: State.ON, FALSE: State.OFF}
TENTHS_UP_TO_S: Final = 120.0
Span = tuple[float, float]


def seen_bar(view: PanelView, fact: str, label: str, span: Span) -> Bar:
    """What was seen of a fact."""
    return Bar(label, tuple(_between(view.parts(fact), span)), f"{label}, {fact} as seen")


def _between(parts: Sequence[Seen], span: Span) -> Iterator[Stretch]:
    """The parts, and what lies between them as unknown, within the span."""
    begun = span[0]
    for part in parts:
        from_s, to_s = _surely(part)
        if to_s < span[0] or from_s > span[1]:
            continue
        if from_s > begun:
            yield Stretch(begun, from_s, State.UNKNOWN)
        state = STATES.get(part.value, State.UNKNOWN)
        start, end = max(from_s, begun), min(to_s, span[1])
        yield Stretch(start, end, state, _lasted(part) if state is State.ON else "")
        begun = end
    if begun < span[1]:
        yield Stretch(begun, span[1], State.UNKNOWN)


def _surely(part: Seen) -> Span:
    """Where the part surely held; of a single sample, where its instant lies."""
    held = part.known
    return (part.first.low, part.last.high) if held is None else (held.low, held.high)


def _lasted(part: Seen) -> str:
    held = part.known
    if held is None:
        return "one sample"
    long_s = held.high - held.low
    said = f"{long_s:.1f} s" if long_s < TENTHS_UP_TO_S else duration_words(long_s)
    return f">{said}"


def must_bar(signal: Signal, label: str, span: Span) -> Bar:
    """What must be by the matrix; unknown where either is allowed, or nothing is known."""
    stretches = tuple(
        Stretch(part.start, part.end, STATES.get(part.value, State.UNKNOWN), _asked(part.value))
        for part in signal.within(*span)
    )
    return Bar(label, stretches, f"{label}, what must be")


def _asked(value: Truth) -> str:
    return "must act" if value is TRUE else "" if value is FALSE else "either"


def looked_bar(looked: Iterable[Looked], fact: str, label: str, span: Span) -> Bar:
    """What a person saw or heard, each answer from question to reply; nothing in between."""
    answers = sorted(
        (one for one in looked if one.fact == fact and span[0] <= one.answered_s < span[1]),
        key=lambda one: one.asked_s,
    )
    stretches = tuple(
        Stretch(
            max(one.asked_s, span[0]), one.answered_s, State.ON if one.value else State.OFF, "seen"
        )
        for one in answers
    )
    return Bar(label, stretches, f"{label}, {fact} as a person saw it")


def on_times(view: PanelView, fact: str, span: Span) -> Iterator[Span]:
    """From when to when the fact was seen on, within the span."""
    for part in view.parts(fact):
        from_s, to_s = _surely(part)
        if part.value is TRUE and to_s >= span[0] and from_s <= span[1]:
            yield max(from_s, span[0]), min(to_s, span[1])
