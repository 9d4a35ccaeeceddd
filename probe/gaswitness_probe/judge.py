"""The judge: from what was seen and what was done to verdicts. Pure; it may judge a record anew."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from gaswitness_probe.applied import Applied, Expectation, Looked
from gaswitness_probe.expect import Expectations
from gaswitness_probe.history import PointHistory
from gaswitness_probe.judge_expectations import judge_expectations
from gaswitness_probe.judge_first_up import judge_first_up
from gaswitness_probe.judge_flags import judge_flags
from gaswitness_probe.judge_levels import judge_levels
from gaswitness_probe.judge_outputs import judge_outputs
from gaswitness_probe.judge_readings import judge_readings
from gaswitness_probe.judge_states import judge_states
from gaswitness_probe.signal import Window
from gaswitness_probe.verdict import Kind, Outcome, Proof, Verdict, overall
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.site import Site


def judge(
    site: Site,
    histories: Mapping[str, PointHistory],
    applied: Sequence[Applied],
    looked: Sequence[Looked] = (),
    expectations: Sequence[Expectation] = (),
    span: tuple[float, float] = (0.0, 0.0),
    link: LinkAddress | None = None,
) -> tuple[Verdict, ...]:
    """Verdicts on readings, flags, levels, cells, outputs, and the tester's own expectations.

    `histories`: what was seen of each point, by its name. `applied`: what was done, each with the
    two instants between which it was. `span`: first and last instant of the run, in its seconds.
    `link`: over which it was seen; it tells what could not be proven at this pace.
    Ordered as the site file is; the same input gives the same verdicts.
    """
    view = PanelView(site, histories, applied, looked, Window(*span), link)
    return judge_by(Expectations(view), expectations)


def judge_by(
    expected: Expectations, expectations: Sequence[Expectation] = ()
) -> tuple[Verdict, ...]:
    """As `judge`, where the view of the run and what follows from it are at hand."""
    view = expected.view
    found: list[Verdict] = [
        *judge_readings(view),
        *judge_states(view),
        *judge_flags(expected),
        *judge_first_up(expected),
        *judge_levels(expected),
        *judge_outputs(expected),
        *judge_expectations(view, expectations),
    ]
    misread = _misread(found)
    return merged(_with_proof(view, _excused(verdict, misread)) for verdict in found)


def _misread(verdicts: Iterable[Verdict]) -> frozenset[str]:
    """Tags of channels whose reading is not what the gas makes it."""
    return frozenset(
        verdict.id.removeprefix("reading/")
        for verdict in verdicts
        if verdict.kind is Kind.READING
        and any(
            aspect.outcome is Outcome.FAILED and not aspect.name.endswith(" in fault")
            for aspect in verdict.aspects
        )
    )


def _excused(verdict: Verdict, misread: frozenset[str]) -> Verdict:
    """A level is judged by the reading that its register shows: by a wrong one it is not failed."""
    tag = verdict.id.removeprefix("level/").partition(".")[0]
    if (
        verdict.kind is not Kind.LEVEL
        or verdict.outcome is not Outcome.FAILED
        or tag not in misread
    ):
        return verdict
    because = (
        f"the reading of {tag} is wrong, and its levels cannot be judged by it; mend that first "
        f"(as the reading stands: {verdict.because})"
    )
    aspects = tuple(
        replace(aspect, outcome=Outcome.INCONCLUSIVE)
        if aspect.outcome is Outcome.FAILED
        else aspect
        for aspect in verdict.aspects
    )
    return replace(verdict, outcome=Outcome.INCONCLUSIVE, because=because, aspects=aspects)


def _with_proof(view: PanelView, verdict: Verdict) -> Verdict:
    """Who says so: the panel, or a person where no point shows the effect or only a person saw it
    fail."""
    if verdict.kind not in (Kind.CELL, Kind.OUTPUT):
        return verdict
    tag = verdict.id.rpartition(" > ")[2] if verdict.kind is Kind.CELL else verdict.id[7:]
    fact = f"{tag}.active"
    if view.source(fact) is None and view.shown(fact):
        return replace(verdict, proof=Proof.WITNESSED)
    failed = [one for one in verdict.aspects if one.outcome is Outcome.FAILED]
    if not failed or any(one.proof is not Proof.WITNESSED for one in failed):
        return verdict
    aspects = tuple(replace(one, proof=one.proof or verdict.proof) for one in verdict.aspects)
    return replace(verdict, proof=Proof.WITNESSED, aspects=aspects)


def merged(verdicts: Iterable[Verdict]) -> tuple[Verdict, ...]:
    """One verdict for each id, in the order of their first coming: the worst with all aspects."""
    by_id: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        by_id.setdefault(verdict.id, []).append(verdict)
    return tuple(_merge(same) for same in by_id.values())


def _merge(same: list[Verdict]) -> Verdict:
    if len(same) == 1:
        return same[0]
    outcome = overall([verdict.outcome for verdict in same])
    telling = [verdict for verdict in same if verdict.outcome is outcome]
    # The judge, who comes after the survey, knows what was done: its words say more of a failure.
    best = telling[-1] if outcome is Outcome.FAILED else telling[0]
    return replace(best, aspects=tuple(aspect for verdict in same for aspect in verdict.aspects))
