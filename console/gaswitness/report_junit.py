"""`junit.xml` of a report: a case for each test of the plan or script, and one for each thing to be
proven, by its newest verdict. Failures and errors as in the run's own `junit.xml`. Pure.
"""

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from gaswitness.about import AboutRun, NamedDigest
from gaswitness.junit import ELEMENTS, PLAN, junit_xml, totals
from gaswitness.report_data import Finding, Item, Part, Report
from gaswitness.wording import shown
from gaswitness_probe.verdict import Aspect, Verdict


def report_junit(report: Report) -> str:
    """The whole file as text."""
    newest = report.issues[-1]
    about = AboutRun(
        command=newest.command,
        software=newest.software,
        panel=report.identity.tag,
        site=NamedDigest(newest.site, newest.site_sha256),
        link=newest.link,
        driver=newest.driver,
        seed=newest.seed,
    )
    verdicts = [_verdict(item) for item in report.items]
    root = ET.fromstring(junit_xml(verdicts, about, digest=newest.digest))
    suites = [
        _suite(name, [part for part in report.parts if part.planned is planned])
        for name, planned in ((PLAN, True), ("script", False))
    ]
    for suite in suites:
        if len(suite):
            root.insert(0, suite)
    if report.parts:
        for name in ("tests", "failures", "errors", "skipped"):
            root.set(name, str(sum(int(suite.get(name, "0")) for suite in root)))
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def _verdict(item: Item) -> Verdict:
    return Verdict(
        item.id,
        item.kind,
        item.outcome,
        item.expected,
        item.seen,
        item.response_s,
        item.because,
        item.proof,
        tuple(map(_aspect, item.findings)),
    )


def _aspect(one: Finding) -> Aspect:
    return Aspect(
        one.aspect, one.outcome, one.expected, one.seen, one.response_s, one.because, one.at_s
    )


def _suite(class_name: str, parts: Sequence[Part]) -> ET.Element:
    numbers = totals([part.outcome for part in parts])
    suite = ET.Element("testsuite", {"name": f"gaswitness.{class_name}", **numbers})
    for part in parts:
        name = shown(f"{part.id} {part.title}")
        seconds = f"{part.ended_s - part.begun_s:.3f}"
        case = ET.SubElement(
            suite, "testcase", {"classname": class_name, "name": name, "time": seconds}
        )
        if part.outcome in ELEMENTS:
            message = shown(part.because or str(part.outcome))
            attributes = {"type": str(part.outcome), "message": message}
            ET.SubElement(case, ELEMENTS[part.outcome], attributes)
    return suite
