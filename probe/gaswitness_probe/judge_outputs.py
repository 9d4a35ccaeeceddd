"""Verdicts on the cells of the matrix and on the outputs that they drive."""

from collections.abc import Iterator

from gaswitness_probe.aspects import by_name, telling_aspect
from gaswitness_probe.expect import CellView, Expectations, OutputView
from gaswitness_probe.judge_forced import forced_aspects
from gaswitness_probe.look_advice import looks_needed
from gaswitness_probe.output_contradictions import find_contradictions
from gaswitness_probe.output_findings import Findings
from gaswitness_probe.output_proofs import find_proofs
from gaswitness_probe.output_witnessed import find_witnessed, looks_at_rest
from gaswitness_probe.provable import provable
from gaswitness_probe.respond import (
    allowance,
)
from gaswitness_probe.signal import FALSE, TRUE
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.matrix import Fact, facts_of


def judge_outputs(expectations: Expectations) -> Iterator[Verdict]:
    """A verdict for every output and for every cell, in the order of the site file."""
    view = expectations.view
    in_advance = {one.id: one for one in provable(view.site, view.link).cells}
    for output in expectations.outputs.values():
        findings = Findings(in_advance)
        if output.parts:
            find_proofs(output, findings)
            find_contradictions(output, findings)
            find_witnessed(output, findings)
        for cell in output.cells:
            yield _cell_verdict(output, cell, findings)
        yield _output_verdict(output, findings)


def _cell_verdict(output: OutputView, cell: CellView, findings: Findings) -> Verdict:
    aspects = by_name(findings.of_cell.get(cell.cell.id, []))
    rise = next((aspect for aspect in aspects if aspect.name == "rises"), None)
    outcome = overall([aspect.outcome for aspect in aspects])
    expected = f"{cell.cell.effect} {allowance(cell.rise)} {cell.cell.cause}"
    if not aspects:
        outcome, because = _unexercised(output, cell)
        return Verdict(f"cell/{cell.cell.id}", Kind.CELL, outcome, expected, because=because)
    if rise is not None and outcome is not Outcome.FAILED and rise.outcome is Outcome.NOT_RUN:
        outcome = Outcome.INCONCLUSIVE
    telling = telling_aspect(aspects, outcome)
    because = telling.because
    if rise is None and outcome is Outcome.PROVEN:
        outcome = Outcome.INCONCLUSIVE
        because += f"; that {cell.cell.effect} comes in time was not seen"
    return Verdict(
        f"cell/{cell.cell.id}",
        Kind.CELL,
        outcome,
        expected=telling.expected if outcome is Outcome.FAILED else expected,
        seen=telling.seen,
        response_s=rise.response_s if rise is not None else None,
        because=because,
        aspects=tuple(aspects),
    )


def _unexercised(output: OutputView, cell: CellView) -> tuple[Outcome, str]:
    view = output.view
    if not output.parts:
        why = f"nothing shows {output.fact}, and nobody looked"
        return Outcome.INCONCLUSIVE, f"{why}; {looks_needed(cell, 'rises')}"
    unseen = [
        str(fact)
        for fact in dict.fromkeys(facts_of(cell.cell.cause_tree))
        if _unseen_fact(view, fact)
    ]
    if unseen:
        return Outcome.INCONCLUSIVE, f"nothing shows {', '.join(unseen)}"
    if cell.cause.ever(TRUE):
        return Outcome.INCONCLUSIVE, (
            f"{cell.cell.cause} stood, but was not seen to come, or not for long enough"
        )
    known = sum(
        part.end - part.start for part in cell.cause.within(*view.span) if part.value is FALSE
    )
    if known >= (view.span.high - view.span.low) / 2:
        return Outcome.NOT_RUN, f"{cell.cell.cause} never came"
    return Outcome.INCONCLUSIVE, (
        f"whether {cell.cell.cause} came could not be seen: samples lie further apart than the "
        f"panel's shortest dwell of {view.site.timing.shortest_dwell_s:g} s, or were lost; "
        "poll faster"
    )


def _unseen_fact(view: PanelView, fact: Fact) -> bool:
    text = str(fact)
    if text.startswith(("any.", "panel.")):
        return False
    return not view.shown(text) and not text.endswith(".inhibit")


def _output_verdict(output: OutputView, findings: Findings) -> Verdict:
    tag = output.output.tag
    verdict_id = f"output/{tag}"
    expected = f"{tag} moves only for its causes"
    if not output.parts:
        return Verdict(
            verdict_id,
            Kind.OUTPUT,
            Outcome.INCONCLUSIVE,
            expected,
            because=f"nothing shows {output.fact}: a person has to look",
        )
    aspects = by_name([*findings.of_output, *forced_aspects(output)])
    failed_cells = any(
        aspect.outcome is Outcome.FAILED for found in findings.of_cell.values() for aspect in found
    )
    if not any(aspect.name == "moves only for its causes" for aspect in aspects):
        aspects.insert(0, _kept_still(output, failed_cells=failed_cells))
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = telling_aspect(aspects, outcome)
    return Verdict(
        verdict_id,
        Kind.OUTPUT,
        outcome,
        expected=telling.expected or expected,
        seen=telling.seen,
        because=telling.because,
        aspects=tuple(aspects),
    )


def _seen_still(output: OutputView, name: str, expected: str) -> Aspect:
    """As `_kept_still`, where nothing but looks tells, each of one instant."""
    tag = output.output.tag
    rests = looks_at_rest(output)
    if not rests:
        because = f"nobody looked at {tag} while it surely had to be off; a person has to look then"
        return Aspect(name, Outcome.INCONCLUSIVE, expected, because=because)
    if not all(rests):
        because = "a person found it on then; that is judged with what was witnessed at rest"
        return Aspect(name, Outcome.NOT_RUN, expected, because=because)
    times = "once" if len(rests) == 1 else f"{len(rests)} times"
    return Aspect(
        name,
        Outcome.PROVEN,
        expected,
        seen=f"off, looked at {times} while it had to be",
        because=f"{tag} was off whenever a person looked while it had to be, {times}",
    )


def _kept_still(output: OutputView, *, failed_cells: bool) -> Aspect:
    """That the output was off wherever it had to be, as far as this was seen."""
    tag = output.output.tag
    name, expected = "moves only for its causes", f"{tag} off while none of its causes stands"
    agreed = 0.0
    for part in output.parts:
        if part.value is FALSE and part.known is not None:
            agreed += sum(
                piece.end - piece.start
                for piece in output.expected.within(*part.known)
                if piece.value is FALSE
            )
    if agreed <= 0.0 and output.view.source(output.fact) is None:
        return _seen_still(output, name, expected)
    if agreed <= 0.0:
        return Aspect(
            name,
            Outcome.INCONCLUSIVE,
            expected,
            because="it was never known at once that the output had to be off and was off",
        )
    also = "; what its cells did is judged with them" if failed_cells else ""
    return Aspect(
        name,
        Outcome.PROVEN,
        expected,
        seen=f"off for {agreed:.0f} s while it had to be",
        because=f"{tag} was off whenever it had to be, {agreed:.0f} s in all{also}",
    )
