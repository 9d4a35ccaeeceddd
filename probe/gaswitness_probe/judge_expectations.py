"""Verdicts on the tester's own expectations, beside those that follow from the matrix."""

from collections.abc import Iterator, Sequence

from gaswitness_probe.applied import Expectation
from gaswitness_probe.history import Value
from gaswitness_probe.observe import Stretch, signal_of, stretches
from gaswitness_probe.respond import seconds
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Segment, Truth, combine
from gaswitness_probe.verdict import Kind, Outcome, Verdict
from gaswitness_probe.view import PanelView


def judge_expectations(view: PanelView, expectations: Sequence[Expectation]) -> Iterator[Verdict]:
    """A verdict for each expectation, in the order given."""
    for expectation in expectations:
        yield _judged(view, expectation)


def _judged(view: PanelView, expectation: Expectation) -> Verdict:
    parts = _wanted(view, expectation)
    outcome = _outcome(expectation, parts)
    words = _words(expectation)
    last_s = expectation.from_s + expectation.within_s
    seen = _seen(view, expectation, parts)
    because = {
        Outcome.PROVEN: f"{expectation.fact}: {seen}",
        Outcome.FAILED: f"{expectation.fact}: {seen}; expected {words}",
        Outcome.INCONCLUSIVE: f"{expectation.fact} was not seen well enough from "
        f"{seconds(expectation.from_s)} to {seconds(last_s)}; poll faster or hold longer",
        Outcome.NOT_RUN: f"nothing shows {expectation.fact}",
    }[outcome]
    return Verdict(
        f"expectation/{expectation.id}", Kind.EXPECTATION, outcome, words, seen, because=because
    )


def _words(expectation: Expectation) -> str:
    if expectation.between is not None:
        low, high = expectation.between
        state = f"between {low:g} and {high:g}"
    else:
        state = "on" if expectation.value else "off"
    stays = f", staying so for {expectation.for_s:g} s" if expectation.for_s else ""
    return (
        f"{expectation.fact} {state} within {expectation.within_s:g} s of "
        f"{seconds(expectation.from_s)}{stays}"
    )


def _wanted(view: PanelView, expectation: Expectation) -> list[Stretch]:
    """Stretches that are true where the fact is as expected."""
    if expectation.between is None:
        if expectation.value:
            return view.parts(expectation.fact)
        return [
            Stretch(Truth(2 - part.value), part.first, part.last)
            for part in view.parts(expectation.fact)
        ]
    point = view.reading_point(expectation.fact.partition(".")[0])
    if point is None:
        return []
    low, high = expectation.between

    def inside(value: Value) -> Truth:
        if value is None or isinstance(value, str):
            return UNKNOWN
        return TRUE if low <= value <= high else FALSE

    return stretches(view.runs(point), inside, view.eyesight)


def _outcome(expectation: Expectation, parts: list[Stretch]) -> Outcome:
    if not parts:
        return Outcome.NOT_RUN
    first_s = expectation.from_s
    last_s = first_s + expectation.within_s
    signal = signal_of(parts)
    possible = combine(lambda now: FALSE if now[0] is FALSE else TRUE, [signal])

    def fits(piece: Segment, since_s: float = first_s) -> bool:
        start = max(piece.start, since_s)
        return start <= last_s and start + expectation.for_s <= piece.end

    # What was done may have been done earlier than it was surely done: then it counts from there.
    since_s = first_s if expectation.since_s is None else min(first_s, expectation.since_s)
    if not any(piece.value is TRUE and fits(piece, since_s) for piece in possible.segments()):
        return Outcome.FAILED
    if any(piece.value is TRUE and fits(piece) for piece in signal.segments()):
        return Outcome.PROVEN
    if expectation.for_s == 0 and any(
        part.value is TRUE and first_s <= sample.low and sample.high <= last_s
        for part in parts
        for sample in (part.first, part.last)
    ):
        return Outcome.PROVEN
    return Outcome.INCONCLUSIVE


def _seen(view: PanelView, expectation: Expectation, parts: list[Stretch]) -> str:
    first_s = expectation.from_s
    last_s = first_s + expectation.within_s
    for part in parts:
        if part.value is TRUE and part.last.high >= first_s and part.first.low <= last_s:
            return f"as expected by {seconds(max(first_s, part.first.high))}"
    if expectation.between is not None:
        point = view.reading_point(expectation.fact.partition(".")[0])
        runs = view.runs(point) if point is not None else ()
        values = [
            run.value
            for run in runs
            if isinstance(run.value, float | int)
            and run.last.answered_s >= first_s
            and run.first.asked_s <= last_s
        ]
        if values:
            return f"from {min(values):.4g} to {max(values):.4g}"
    return f"not as expected until {seconds(last_s)}"
