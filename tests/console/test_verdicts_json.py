"""verdicts.json against its own schema, by jsonschema, and byte for byte."""

import json
from dataclasses import replace

import jsonschema
import pytest

from gaswitness.about import AboutRun, NamedDigest
from gaswitness.verdicts_json import verdicts_json, verdicts_schema
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Proof, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome

Verdicts = tuple[Verdict, ...]


def test_the_file_keeps_to_its_schema(verdicts: Verdicts, about: AboutRun) -> None:
    schema = verdicts_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    document = json.loads(verdicts_json(verdicts, about))
    jsonschema.Draft202012Validator(schema).validate(document)
    del document["verdicts"][0]["because"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(document)


def test_the_schema_knows_every_kind_and_outcome() -> None:
    defs = verdicts_schema()["$defs"]
    assert defs["verdict"]["properties"]["kind"]["enum"] == [str(kind) for kind in Kind]
    assert defs["outcome"]["enum"] == [str(outcome) for outcome in Outcome]


def test_the_summary_counts_all_four(verdicts: Verdicts, about: AboutRun) -> None:
    document = json.loads(verdicts_json(verdicts, about))
    assert document["summary"] == {"failed": 1, "inconclusive": 1, "not_run": 1, "proven": 2}


def test_a_verdict_says_everything(verdicts: Verdicts, about: AboutRun) -> None:
    document = json.loads(verdicts_json(verdicts, about))
    assert document["verdicts"][1] == {
        "id": "cell/AT-101.A1 > BN-1",
        "kind": "cell",
        "verdict": "proven",
        "expected": "BN-1 acts within 3 s",
        "seen": "it did",
        "response_s": [1.8, 2.4],
        "because": "",
        "proof": "witnessed",
        "aspects": [],
    }


def test_times_are_rounded_to_microseconds(verdicts: Verdicts, about: AboutRun) -> None:
    document = json.loads(verdicts_json(verdicts, about))
    assert document["verdicts"][3]["response_s"] == [6.5, 7.5]


def test_kinds_stand_in_their_own_order(verdicts: Verdicts, about: AboutRun) -> None:
    turned = json.loads(verdicts_json(verdicts[::-1], about))["verdicts"]
    assert [found["kind"] for found in turned] == ["point", "cell", "cell", "cell", "cell"]


def test_equal_input_gives_equal_bytes(verdicts: Verdicts, about: AboutRun) -> None:
    again = replace(about, site=NamedDigest(about.site.name, about.site.sha256))
    assert verdicts_json(verdicts, about) == verdicts_json(tuple(verdicts), again)
    assert verdicts_json(verdicts, about).endswith("}\n")


def test_no_response_and_no_number_are_null(about: AboutRun) -> None:
    endless = Verdict("cell/x", Kind.CELL, Outcome.INCONCLUSIVE, response_s=(1.0, float("inf")))
    aspect = Aspect("rise", Outcome.NOT_RUN, at_s=float("nan"))
    text = verdicts_json([replace(endless, aspects=(aspect,))], about)
    found = json.loads(text)["verdicts"][0]
    assert found["response_s"] is None
    assert found["aspects"][0]["at_s"] is None


def test_foreign_text_is_kept_and_valid_utf8(about: AboutRun) -> None:
    odd = Verdict("point/x", Kind.POINT, Outcome.FAILED, seen="\udce4\x1b\x00 °")
    text = verdicts_json([odd], about)
    assert json.loads(text.encode("utf-8"))["verdicts"][0]["seen"] == "\udce4\x1b\x00 °"


def test_tests_of_the_plan_stand_with_their_claims(
    verdicts: Verdicts, about: AboutRun, of_plan: tuple[PlanOutcome, ...]
) -> None:
    document = json.loads(verdicts_json(verdicts, about, None, of_plan))
    jsonschema.Draft202012Validator(verdicts_schema()).validate(document)
    tests = {one["id"]: one for one in document["tests"]}
    assert [(name, one["verdict"], one["how"]) for name, one in tests.items()] == [
        ("T-1", "proven", "done"),
        ("T-2", "failed", "done"),
        ("T-3", "inconclusive", "done"),
        ("T-4", "not_run", "skipped"),
        ("T-5", "not_run", "not begun"),
    ]
    assert tests["T-1"]["attempt"] == 2
    assert tests["T-1"]["claims"] == [
        {"claim": "cell/AT-101.A1 > BN-1", "verdict": "proven", "because": ""}
    ]
    assert tests["T-3"]["because"] == "cell/AT-101.A1 > BN-1: rizes: it was not seen to happen"
    assert [one["claim"] for one in tests["T-2"]["beside"]] == []
    assert json.loads(verdicts_json(verdicts, about))["tests"] == []


def test_one_side_of_what_is_reported_may_be_witnessed(about: AboutRun) -> None:
    sides = (
        Aspect("rises", Outcome.PROVEN),
        Aspect("witnessed acting", Outcome.PROVEN, proof=Proof.WITNESSED),
    )
    verdict = Verdict("output/BN-1", Kind.OUTPUT, Outcome.PROVEN, aspects=sides)
    document = json.loads(verdicts_json([verdict], about))
    jsonschema.Draft202012Validator(verdicts_schema()).validate(document)
    found = document["verdicts"][0]
    assert found["proof"] == "reported"
    assert [one["proof"] for one in found["aspects"]] == ["reported", "witnessed"]
