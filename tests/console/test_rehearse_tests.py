"""`gaswitness rehearse --tests`: some tests of a plan, and what the outputs say of the rest."""

import json
from xml.etree import ElementTree as ET

import pytest
from report_records import HERE

from gaswitness.cli import run
from gaswitness.report_build import Chosen, build_report
from gaswitness.report_issues import read_issues


def rehearsed(folder, *more):
    plan = str(HERE / "plan.yaml")
    return run(["rehearse", str(HERE / "site.yaml"), "--script", plan, "--out", str(folder), *more])


def test_only_the_chosen_tests_are_played(tmp_path, capsys):
    assert rehearsed(tmp_path / "some", "--tests", "T-002") == 3
    assert "1 of 1 proven, with 2 claims in all" in capsys.readouterr().out
    document = json.loads((tmp_path / "some" / "verdicts.json").read_text("utf-8"))
    assert [(one["id"], one["verdict"]) for one in document["tests"]] == [("T-002", "proven")]
    unasked = next(one for one in document["verdicts"] if one["id"] == "level/AT-2.A1")
    assert unasked["verdict"] == "not_run"
    cases = ET.parse(tmp_path / "some" / "junit.xml").findall(".//testcase[@classname='plan']")
    assert [case.get("name") for case in cases] == ["T-002 AT-1 closes the valve"]
    issues = read_issues(tmp_path / "some")
    assert issues[0].run.facts.options["tests"] == "T-002"
    report = build_report(issues, Chosen())
    assert [(one.id, one.how) for one in report.parts] == [
        ("T-002", "done"),
        ("T-001", "not asked for"),
    ]
    assert "Of 2 tests of the plan: 1 proven, 1 not asked for." in report.headline
    assert run(["verify", str(tmp_path / "some")]) == 0


def test_a_plan_is_rehearsed_the_same_to_the_byte(tmp_path):
    for name in ("one", "two"):
        rehearsed(tmp_path / name, "--tests", "T-002,T-001", "--quiet")
    for file in ("verdicts.json", "junit.xml", "run.sqlite"):
        one, two = ((tmp_path / name / file).read_bytes() for name in ("one", "two"))
        assert one == two, file


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ("T-9", "the plan has no test 'T-9': write one of T-001, T-002"),
        (" ,", "--tests names no test"),
    ],
)
def test_a_test_that_is_not_there_is_told(chosen, said, tmp_path, capsys):
    assert rehearsed(tmp_path / "run", "--tests", chosen) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "run").exists()
