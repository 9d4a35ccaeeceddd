"""Steps of a script that disturb the link: nothing for the panel, nothing for the probe."""

from pathlib import Path

import jsonschema
import pytest

from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.schema import script_schema
from gaswitness_scenarios.script import LinkCleared, LinkSpoilt
from gaswitness_scenarios.translate import Actions, stimulus_of
from gaswitness_sitefile.link_fault import Delay, Lasting, Late, LinkFault, Scope, Silent
from gaswitness_sitefile.load import load_site

LATE = LinkFault(Late(Delay(0.2, 1.5)), Scope(unit=1), Lasting(for_s=30.0, percent=5.0))


@pytest.fixture(scope="module")
def site():
    return load_site(Path(__file__).parent / "a_site.yaml").site


@pytest.fixture
def load(tmp_path, site):
    def loaded(*steps):
        path = tmp_path / "script.yaml"
        lines = "\n".join(f"  - {step}" for step in steps)
        path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n{lines}\n", encoding="utf-8")
        return load_script(path, site)

    return loaded


@pytest.mark.parametrize(
    "written",
    [
        "link_fault: {kind: late 0.2..1.5 s, percent: 5, unit: 1, for_s: 30}",
        'link_fault: "late 0.2..1.5 s, 5 %, unit 1, for 30 s"',
        'link_fault: {kind: "late 0.2..1.5 s, 5 %, unit 1", for_s: 30}',
    ],
)
def test_a_link_fault_is_written_with_keys_or_on_one_line(load, written):
    (step,) = load(written).steps
    assert isinstance(step, LinkSpoilt)
    assert step.fault == LATE
    assert step.words.startswith("Disturb the link (late 0.2..1.5 s, unit 1, 5 %, for 30 s):")


def test_faults_end_by_kind_or_all(load):
    steps = load("link_clear: silent", "link_clear: all").steps
    assert [(type(step), step.kind) for step in steps] == [
        (LinkCleared, Silent),
        (LinkCleared, None),
    ]
    assert steps[1].words == "End every fault of the link"


def test_they_are_no_stimulus_and_nothing_that_the_probe_is_told(load, site):
    for step in load("link_fault: silent", "link_clear: all").steps:
        assert stimulus_of(step) is None
        assert Actions(site).applied(step, 0.0, 1.0) is None


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("link_fault: lat 3 s", "did you mean late"),
        ("link_fault: {kind: late 3 s, unit: 300}", "from 0 to 255"),
        ('link_fault: {kind: "busy, unit 1", unit: 2}', "comes twice"),
        ("link_fault: {kind: late, secs: 3}", "secs"),
        ("link_clear: everything", "is no kind of link fault"),
    ],
)
def test_what_cannot_be_is_refused_at_its_line(load, written, says):
    with pytest.raises(ScriptError) as caught:
        load("say: hello", written)
    (problem,) = caught.value.problems
    assert problem.place.line == 5
    assert says in str(problem)


@pytest.mark.parametrize(
    ("step", "good"),
    [
        ({"link_fault": "late 3 s"}, True),
        ({"link_fault": {"kind": "late 3 s", "unit": 1}}, True),
        ({"link_fault": {"unit": 1}}, False),
        ({"link_clear": "all"}, True),
    ],
)
def test_the_schema_takes_both_forms(step, good):
    script = {"gaswitness_script": 1, "title": "T", "steps": [step]}
    checker = jsonschema.Draft202012Validator(script_schema())
    assert checker.is_valid(script) is good
