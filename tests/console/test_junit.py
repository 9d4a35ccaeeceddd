"""junit.xml, read back by the standard library's parser."""

from collections.abc import Sequence
from xml.etree import ElementTree as ET

import pytest

from gaswitness.about import AboutRun
from gaswitness.junit import junit_xml
from gaswitness_probe.verdict import Kind, Outcome, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome


def parsed(verdicts: Sequence[Verdict], about: AboutRun) -> ET.Element:
    return ET.fromstring(junit_xml(verdicts, about, digest="00ff").encode("utf-8"))


def test_totals_count_each_outcome(verdicts: tuple[Verdict, ...], about: AboutRun) -> None:
    root = parsed(verdicts, about)
    assert root.tag == "testsuites"
    assert {key: root.get(key) for key in ("tests", "failures", "errors", "skipped")} == {
        "tests": "5",
        "failures": "1",
        "errors": "1",
        "skipped": "1",
    }


@pytest.mark.parametrize(
    ("outcome", "element"),
    [
        (Outcome.FAILED, "failure"),
        (Outcome.INCONCLUSIVE, "error"),
        (Outcome.NOT_RUN, "skipped"),
    ],
)
def test_only_a_proven_case_looks_passed(outcome: Outcome, element: str, about: AboutRun) -> None:
    root = parsed([Verdict("cell/x", Kind.CELL, outcome, because="why")], about)
    found = root.find(f"testsuite/testcase/{element}")
    assert found is not None
    assert (found.get("type"), found.get("message")) == (str(outcome), "why")


def test_a_proven_case_has_no_complaint(about: AboutRun) -> None:
    root = parsed([Verdict("cell/x", Kind.CELL, Outcome.PROVEN, response_s=(1.0, 2.0))], about)
    case = root.find("testsuite/testcase")
    assert case is not None
    assert [child.tag for child in case] == ["system-out"]
    assert "response: 1.5 s ± 0.5" in (case[0].text or "")


def test_the_evidence_is_named(verdicts: tuple[Verdict, ...], about: AboutRun) -> None:
    root = parsed(verdicts, about)
    values = {p.get("name"): p.get("value") for p in root.iterfind("testsuite/properties/*")}
    assert values["evidence"] == "00ff"
    assert values["seed"] == "7"


def test_every_character_makes_well_formed_xml(about: AboutRun) -> None:
    text = "".join(map(chr, range(0x300))) + "\ud800\ufffe\uffff]]>&<"
    verdict = Verdict(text, Kind.POINT, Outcome.FAILED, text, text, because=text)
    case = parsed([verdict], about).find("testsuite/testcase")
    assert case is not None
    assert "\\x00\\x01" in (case.get("name") or "")


def test_a_test_of_the_plan_is_a_case_and_only_a_proven_one_looks_passed(
    of_plan: tuple[PlanOutcome, ...], about: AboutRun
) -> None:
    """All verdicts are good: a CI system has nothing but the plan's cases to stop it."""
    good = [Verdict("cell/AT-101.A1 > BN-1", Kind.CELL, Outcome.PROVEN)]
    root = ET.fromstring(junit_xml(good, about, tests=of_plan))
    cases = root.findall("testsuite[@name='gaswitness.plan']/testcase")
    assert {case.get("classname") for case in cases} == {"plan"}
    assert [(case.get("name"), [child.tag for child in case]) for case in cases] == [
        ("T-1 the first", ["system-out"]),
        ("T-2 a vote", ["failure"]),
        ("T-3 another", ["error"]),
        ("T-4 on the roof", ["skipped"]),
        ("T-5 the last", ["skipped"]),
    ]
    assert [case.get("time") for case in cases][:2] == ["30.000", "40.000"]
    assert cases[3][0].get("message") == "skipped: no ladder"
    assert cases[0][0].text == "cell/AT-101.A1 > BN-1: proven"
    totals = [root.get(key) for key in ("tests", "failures", "errors", "skipped")]
    assert totals == ["6", "1", "1", "2"]
