"""Every thing to be proven, by its newest verdict over all issues of a run. Pure.

A retest speaks of what was tested again and of nothing else: what it did not run counts as the
issue before left it, side by side. So a failure goes only where the same side was proven since.
"""

from collections.abc import Iterator, Sequence

from gaswitness.report_data import Earlier, Finding, Item
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall

Issued = tuple[str, Sequence[Verdict]]
"""An issue's name, and its verdicts."""


def items_of(issued: Sequence[Issued]) -> tuple[Item, ...]:
    """One item for each verdict id, ordered by kind, then as the newest issue has them."""
    ids: dict[str, list[tuple[str, Verdict]]] = {}
    for name, verdicts in reversed(issued):
        for verdict in verdicts:
            ids.setdefault(verdict.id, []).insert(0, (name, verdict))
    found = [_item(told) for told in ids.values()]
    rank = {kind: at for at, kind in enumerate(Kind)}
    return tuple(sorted(found, key=lambda item: rank[item.kind]))


def _item(told: Sequence[tuple[str, Verdict]]) -> Item:
    """`told`: the issues that speak of it, the oldest first."""
    said = [(name, one) for name, one in told if one.outcome is not Outcome.NOT_RUN] or [told[-1]]
    issue, verdict = said[-1]
    findings = {aspect.name: finding_of(verdict, aspect) for aspect in verdict.aspects}
    carried: dict[str, Finding] = {}
    for _, earlier in reversed(said[:-1]):
        for aspect in earlier.aspects:
            held = findings.get(aspect.name) or carried.get(aspect.name)
            unsaid = held is None or held.outcome is Outcome.NOT_RUN
            if unsaid and aspect.outcome is not Outcome.NOT_RUN:
                carried[aspect.name] = finding_of(earlier, aspect)
    outcome = overall([verdict.outcome, *(one.outcome for one in carried.values())])
    because, telling = verdict.because, verdict
    if outcome is not verdict.outcome:
        one = next(found for found in carried.values() if found.outcome is outcome)
        because = f"{one.aspect}, not tested again since: {one.because}"
    return Item(
        id=verdict.id,
        kind=verdict.kind,
        outcome=outcome,
        proof=verdict.proof,
        expected=telling.expected,
        seen=telling.seen,
        because=because,
        response_s=verdict.response_s,
        issue=issue,
        history=tuple(Earlier(name, one.outcome) for name, one in told),
        findings=tuple({**findings, **carried}.values()),
        carried=tuple(carried),
    )


def finding_of(verdict: Verdict, aspect: Aspect) -> Finding:
    """One side of a verdict."""
    return Finding(
        of=verdict.id,
        aspect=aspect.name,
        outcome=aspect.outcome,
        expected=aspect.expected,
        seen=aspect.seen,
        because=aspect.because,
        response_s=aspect.response_s,
        proof=aspect.proof or verdict.proof,
        at_s=aspect.at_s,
    )


def whole_finding(verdict: Verdict) -> Finding:
    """The verdict as a whole, as a finding. It has no instant of its own."""
    return Finding(
        of=verdict.id,
        aspect="",
        outcome=verdict.outcome,
        expected=verdict.expected,
        seen=verdict.seen,
        because=verdict.because,
        response_s=verdict.response_s,
        proof=verdict.proof,
        at_s=None,
    )


def findings_in(verdicts: Sequence[Verdict], kinds: frozenset[Kind]) -> Iterator[Finding]:
    """Every side of verdicts of these kinds that has an instant."""
    for verdict in verdicts:
        if verdict.kind in kinds:
            for aspect in verdict.aspects:
                if aspect.at_s is not None:
                    yield finding_of(verdict, aspect)
