"""The verdicts of a record worked out again from its exchanges, actions and answers alone: the
survey asked anew of what was answered then, and the judge asked anew."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from gaswitness_probe.exchange import Exchange
from gaswitness_probe.judge import judge
from gaswitness_probe.kept_exchange import OutOfStepError
from gaswitness_probe.read_plan import plan_reads
from gaswitness_probe.replayed_client import ReplayedClient, at_once
from gaswitness_probe.survey import survey
from gaswitness_probe.survey_clock import ClockAgain
from gaswitness_probe.survey_second_kept import SecondAgain
from gaswitness_probe.verdict import Kind, Verdict
from gaswitness_probe.workable import workable
from gaswitness_scenarios.kept_run import KeptRun
from gaswitness_scenarios.merge import all_verdicts
from gaswitness_scenarios.replay import KeptSurvey

SURVEYED: Final = (Kind.LINK, Kind.POINT)
"""Kinds of verdicts that rest on the survey, wholly or in part."""


@dataclass(frozen=True, slots=True)
class JudgedAgain:
    """`verdicts`: all that the record gives, by kind. `surveyed`: whether those of the survey are
    among them."""

    verdicts: tuple[Verdict, ...]
    surveyed: bool


def judged_again(run: KeptRun) -> JudgedAgain:
    """Judge a record anew.

    Raises OutOfStepError where one part of it does not follow from another, EvidenceError, and
    SiteFileError where its site is no good site any more.
    """
    surveys = run.replayed.surveys
    # One that no poll followed, and another did, broke off: it came to no verdicts.
    whole = [one for one in surveys if one.blocks is not None or one is surveys[-1]]
    surveyed = [surveyed_again(run, one) for one in whole][-1:]
    judged: tuple[Verdict, ...] = ()
    if run.of("polling"):
        judged = judge(
            run.site.site,
            run.histories(),
            run.applied,
            looked=run.looked,
            expectations=run.expectations,
            span=run.span_s,
            link=run.address,
        )
    return JudgedAgain(all_verdicts(*surveyed, judged), bool(surveyed))


def surveyed_again(run: KeptRun, kept: KeptSurvey) -> tuple[Verdict, ...]:
    """The verdicts of one survey, every question of it asked anew of what was answered then; and
    the plan of the poll that came after it held to the one that the record names.

    Raises OutOfStepError where it would have asked something else.
    """
    site = run.site.site
    clock = ClockAgain(kept.instants)
    first = next(iter((*kept.before, *kept.exchanges)), None)
    client = ReplayedClient(
        kept.exchanges, unit=_unit(first, run), clock=clock, pace=site.pace, rtu=run.rtu
    )
    for exchange in kept.before:
        client.told(exchange)
    second = SecondAgain(_name(kept.second), iter(kept.second)) if kept.second else None
    found = at_once(survey(client, site, clock, second=second))
    clock.finished()
    if second is not None:
        second.finished()
    if kept.blocks is not None:
        plan = at_once(workable(client, plan_reads(site, run.address)))
        if (plan.blocks, plan.refused) != (kept.blocks, kept.refused):
            raise OutOfStepError("what was polled is not what site and panel give to be polled")
    client.finished()
    return found


def _name(second: list[Mapping[str, Any]]) -> str:
    return next((str(body["name"]) for body in second if "name" in body), "")


def _unit(first: Exchange | None, run: KeptRun) -> int:
    if first is None or not first.request:
        address = run.address
        return (address.unit if address is not None else None) or 1
    return first.request[0 if run.rtu else 6]
