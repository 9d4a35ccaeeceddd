"""`junit.xml`: verdicts for the test reports of CI systems. Pure: verdicts in, text out.

Tests of a plan come first, a case each. A failed verdict or test is a failure. An inconclusive one
is an *error*: CI systems show skipped tests as harmless, and an inconclusive must never pass for a
pass. What was not run is skipped.
"""

from collections.abc import Sequence
from typing import Final
from xml.etree import ElementTree as ET

from gaswitness.about import AboutRun
from gaswitness.wording import response_words, shown
from gaswitness_probe.verdict import Kind, Outcome, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome

PLAN: Final = "plan"
"""Class name of the cases that are tests of a plan."""
ELEMENTS: Final = {
    Outcome.FAILED: "failure",
    Outcome.INCONCLUSIVE: "error",
    Outcome.NOT_RUN: "skipped",
}


def junit_xml(
    verdicts: Sequence[Verdict],
    about: AboutRun,
    *,
    digest: str = "",
    tests: Sequence[PlanOutcome] = (),
) -> str:
    """The whole file as text; `digest` is the head of the evidence's chain, `tests` those of a plan
    that were to be done."""
    outcomes = [*(one.outcome for one in tests), *(one.outcome for one in verdicts)]
    root = ET.Element("testsuites", {"name": "gaswitness", **totals(outcomes)})
    if tests:
        root.append(_plan(tests))
    for kind in Kind:
        of_kind = [verdict for verdict in verdicts if verdict.kind is kind]
        if of_kind:
            root.append(_suite(kind, of_kind, about, digest))
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def _plan(tests: Sequence[PlanOutcome]) -> ET.Element:
    outcomes = [one.outcome for one in tests]
    suite = ET.Element("testsuite", {"name": f"gaswitness.{PLAN}", **totals(outcomes)})
    for one in tests:
        name = shown(f"{one.test.id} {one.test.title}")
        seconds = f"{one.test.ended_s - one.test.begun_s:.3f}"
        case = ET.SubElement(suite, "testcase", {"classname": PLAN, "name": name, "time": seconds})
        if one.outcome in ELEMENTS:
            message = shown(one.because or str(one.outcome))
            into = ET.SubElement(
                case, ELEMENTS[one.outcome], {"type": str(one.outcome), "message": message}
            )
        else:
            into = ET.SubElement(case, "system-out")
        claims = [f"{claim.claim}: {claim.outcome}" for claim in (*one.claims, *one.beside)]
        into.text = shown("\n".join(claims))
    return suite


def _suite(kind: Kind, verdicts: Sequence[Verdict], about: AboutRun, digest: str) -> ET.Element:
    suite = ET.Element(
        "testsuite", {"name": f"gaswitness.{kind}", **totals([one.outcome for one in verdicts])}
    )
    properties = ET.SubElement(suite, "properties")
    for name, value in _facts(about, digest):
        ET.SubElement(properties, "property", {"name": name, "value": shown(value)})
    for verdict in verdicts:
        suite.append(_case(verdict))
    return suite


def _facts(about: AboutRun, digest: str) -> list[tuple[str, str]]:
    facts = [
        ("software", about.software),
        ("panel", about.panel),
        ("site", f"{about.site.name} sha256:{about.site.sha256}"),
        *(("script", f"{script.name} sha256:{script.sha256}") for script in about.scripts),
        ("link", about.link),
        ("seed", "" if about.seed is None else str(about.seed)),
        ("stopped", about.stopped),
        ("evidence", digest),
    ]
    return [(name, value) for name, value in facts if value]


def totals(outcomes: Sequence[Outcome]) -> dict[str, str]:
    """The attributes of a suite that count its cases."""
    return {
        "tests": str(len(outcomes)),
        "failures": str(outcomes.count(Outcome.FAILED)),
        "errors": str(outcomes.count(Outcome.INCONCLUSIVE)),
        "skipped": str(outcomes.count(Outcome.NOT_RUN)),
    }


def _case(verdict: Verdict) -> ET.Element:
    case = ET.Element(
        "testcase", {"classname": f"gaswitness.{verdict.kind}", "name": shown(verdict.id)}
    )
    if verdict.outcome in ELEMENTS:
        found = ET.SubElement(
            case,
            ELEMENTS[verdict.outcome],
            {"type": str(verdict.outcome), "message": shown(_message(verdict))},
        )
        found.text = shown(_details(verdict))
    else:
        ET.SubElement(case, "system-out").text = shown(_details(verdict))
    return case


def _message(verdict: Verdict) -> str:
    return verdict.because or verdict.seen or str(verdict.outcome)


def _details(verdict: Verdict) -> str:
    lines = [
        ("expected", verdict.expected),
        ("seen", verdict.seen),
        ("response", response_words(verdict.response_s)),
        ("because", verdict.because),
        ("proof", str(verdict.proof)),
    ]
    text = [f"{name}: {value}" for name, value in lines if value]
    text += [
        f"{aspect.name}: {aspect.outcome}" + (f", {aspect.because}" if aspect.because else "")
        for aspect in verdict.aspects
    ]
    return "\n".join(text)
