"""Steps of what people do at a panel beside its keys; and the library's site for them."""

import json
from pathlib import Path

import jsonschema
import pytest

from gaswitness_probe import applied as done
from gaswitness_probe.entries_back import applied_of
from gaswitness_probe.evidence_entries import applied_body
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.rest import not_at_rest, settle_s
from gaswitness_scenarios.restore import undoing
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.schema import script_schema
from gaswitness_scenarios.script import Calibration, Drift
from gaswitness_scenarios.shown import shows
from gaswitness_scenarios.translate import Actions, stimulus_of
from gaswitness_simulator import stimulus_panel as sim
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.rules import design_warnings
from gaswitness_sitefile.yaml_text import parse_yaml

LARKMOOR = Path(__file__).parents[2] / "scenarios" / "sites" / "larkmoor" / "site.yaml"
LOADED = load_site(LARKMOOR)


@pytest.fixture
def load(tmp_path):
    def loaded(*steps, site=LOADED.site):
        path = tmp_path / "script.yaml"
        lines = "\n".join(f"  - {step}" for step in steps)
        path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n{lines}\n", encoding="utf-8")
        jsonschema.validate(parse_yaml(path.read_text("utf-8"), "s").data, script_schema())
        return load_script(path, site)

    return loaded


STEPS = {
    "output_test: {output: F1, on: on}": (
        sim.ForceOutput("F1", on=True),
        done.OutputForced("F1", on=True),
        "Force the output F1 (Roof fan) on at the panel",
    ),
    "output_test: {output: F1, on: off}": (
        sim.ForceOutput("F1", on=False),
        done.OutputForced("F1", on=False),
        "Force the output F1 (Roof fan) off at the panel",
    ),
    "output_test: {output: F1, on: end}": (
        sim.ForceOutput("F1", on=None),
        done.OutputForced("F1", on=None),
        "End the output test of F1 (Roof fan) at the panel",
    ),
    "test_mode: AT-2": (
        sim.PutInTest("AT-2", on=True),
        done.InTestSet("AT-2", on=True),
        "Put AT-2 (Middle bay, under the roof) in test at the panel",
    ),
    "end_test_mode: AT-2": (
        sim.PutInTest("AT-2", on=False),
        done.InTestSet("AT-2", on=False),
        "Take AT-2 (Middle bay, under the roof) out of test",
    ),
    "calibrate: {channel: AT-2, for_s: 90}": (
        sim.Calibrate("AT-2", 90.0),
        done.Calibrated("AT-2", 90.0),
        "Put AT-2 (Middle bay, under the roof) in calibration at the panel for 90 s, and "
        "calibrate it",
    ),
}


@pytest.mark.parametrize("written", STEPS)
def test_a_step_is_read_and_told_to_both_sides(load, written):
    (step,) = load(written).steps
    stimulus, action, words = STEPS[written]
    assert stimulus_of(step) == stimulus
    assert Actions(LOADED.site).applied(step, 3.0, 4.0) == done.Applied(3.0, 4.0, action)
    assert step.words == words
    assert not step.only_virtual


def test_several_tags_and_all_are_as_many_steps(load):
    assert [one.channel for one in load("test_mode: [AT-1, AT-3]").steps] == ["AT-1", "AT-3"]
    assert len(load("output_test: {output: all, on: yes}").steps) == len(LOADED.site.outputs)
    each = "for_each: {output: [K1, K2], steps: [{output_test: {output: '{output}', on: on}}]}"
    assert [one.output for one in load(each).steps] == ["K1", "K2"]


def test_a_calibration_takes_its_time_and_one_at_once_none(load):
    (step,) = load("calibrate: {channel: AT-1, for_s: 90}").steps
    assert isinstance(step, Calibration)
    assert load("hold_s: 5", "calibrate: {channel: AT-1, for_s: 90}").length_s == 95.0
    for written in ("calibrate: AT-1", "calibrate: [AT-1]", "calibrate: {channel: AT-1}"):
        (step,) = load(written).steps
        assert isinstance(step, Drift)
        assert step.words == "Calibrate AT-1 (West bay, under the roof)"


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("output_test: {output: K9, on: on}", "the site has no output 'K9'"),
        ("test_mode: AT-9", "the site has no channel 'AT-9'"),
        ("calibrate: {channel: AT-9, for_s: 9}", "the site has no channel 'AT-9'"),
        ("calibrate: AT-9", "the site has no channel 'AT-9'"),
    ],
)
def test_what_is_not_there_is_refused(load, written, says):
    with pytest.raises(ScriptError, match=says):
        load(written)


@pytest.mark.parametrize(
    "written",
    [
        "output_test: {output: K1}",
        "output_test: {output: K1, on: perhaps}",
        "calibrate: {channel: AT-1, for_s: 0}",
        "test_mode: []",
    ],
)
def test_what_cannot_be_is_refused(tmp_path, written):
    path = tmp_path / "script.yaml"
    path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n  - {written}\n", encoding="utf-8")
    with pytest.raises(ScriptError) as caught:
        load_script(path, LOADED.site)
    assert "script.yaml:4" in str(caught.value)


def test_what_was_left_standing_is_undone(load):
    script = load(
        "test_mode: [AT-1, AT-2]",
        "output_test: {output: [K1, K2], on: on}",
        "end_test_mode: AT-1",
        "output_test: {output: K2, on: end}",
    )
    assert [stimulus_of(step) for step in undoing(LOADED.site, script.steps)] == [
        sim.PutInTest("AT-2", on=False),
        sim.ForceOutput("K1", on=None),
    ]


def test_what_is_expected_or_looked_at_may_be_any_of_these_facts(load):
    facts = ("AT-1.test", "AT-1.calibration", "AT-1.first_up", "K1.forced", "panel.test")
    steps = [f"expect: {{fact: {fact}, is: off, within_s: 1}}" for fact in facts]
    assert [step.fact for step in load(*steps).steps] == list(facts)


# --- the library's site -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rehearsed():
    scripts = [load_script(path, LOADED.site) for path in site_scripts(LARKMOOR)]
    return rehearse(LOADED, scripts, RehearsalOptions(seed=3))


def test_larkmoor_is_designed_well():
    assert design_warnings(LOADED) == ()


def test_all_of_larkmoor_is_proven(rehearsed):
    left = {v.id: v.because for v in rehearsed.verdicts if v.outcome is not Outcome.PROVEN}
    assert left == {}
    kinds = {one.kind for one in rehearsed.verdicts}
    assert {Kind.CELL, Kind.FLAG, Kind.LEVEL, Kind.OUTPUT, Kind.EXPECTATION} <= kinds


def test_each_function_of_larkmoor_is_proven_by_what_was_seen_of_it(rehearsed):
    proven = {
        (verdict.id, aspect.name)
        for verdict in rehearsed.verdicts
        for aspect in verdict.aspects
        if aspect.outcome is Outcome.PROVEN
    }
    assert {
        ("cell/AT-1.A2 > K3", "pulse"),
        ("cell/DI-1.active > K3", "pulse"),
        ("cell/AT-2.A1 > S1", "pulse"),
        ("cell/any.A1 > F1", "minimum on"),
        ("output/S1", "mutes"),
        ("output/S1", "sounds again"),
        ("output/B1", "forced off"),
        *((f"output/{tag}", "forced on") for tag in LOADED.site.output_of),
        *((f"flag/{tag}.forced", "comes") for tag in LOADED.site.output_of),
        *((f"flag/AT-{n}.{what}", "comes") for n in (1, 2, 3) for what in ("test", "calibration")),
        *((f"flag/AT-{n}.first_up", "goes") for n in (1, 2, 3)),
        ("flag/panel.test", "goes"),
    } <= proven


# --- what else must know of them ----------------------------------------------------------------


@pytest.fixture
def seen():
    """What the last sample of each named fact of the library's site was."""

    def look(**facts):
        told = {name.replace("__", ".").replace("_", "-"): value for name, value in facts.items()}
        names = {point.shows: point.name for point in LOADED.site.points}
        when = Seen(1.0, 1.1)
        return {
            names[fact]: PointHistory(names[fact], [Run(value, (int(value),), when, when)])
            for fact, value in told.items()
        }

    return look


@pytest.mark.parametrize(
    ("written", "fact", "other"),
    [
        ("test_mode: AT-1", {"AT_1__test": True}, {"AT_1__test": False}),
        ("end_test_mode: AT-1", {"AT_1__test": False}, {"AT_1__test": True}),
        (
            "calibrate: {channel: AT-1, for_s: 9}",
            {"AT_1__calibration": True},
            {"AT_1__calibration": False},
        ),
        ("output_test: {output: K1, on: off}", {"K1__forced": True}, {"K1__forced": False}),
        ("output_test: {output: K1, on: end}", {"K1__forced": False}, {"K1__forced": True}),
    ],
)
def test_the_map_shows_that_a_step_was_done(load, seen, written, fact, other):
    (step,) = load(written).steps
    assert shows(LOADED.site, seen(**fact), step)
    assert not shows(LOADED.site, seen(**other), step)


def test_a_panel_with_an_output_forced_or_a_channel_in_test_is_not_at_rest(seen):
    assert not_at_rest(LOADED.site, seen(K1__forced=True)) == ("K1.forced",)
    assert not_at_rest(LOADED.site, seen(AT_2__test=True)) == ("AT-2.test",)
    assert not_at_rest(LOADED.site, seen(AT_2__calibration=True)) == ("AT-2.calibration",)
    assert not_at_rest(LOADED.site, seen(AT_2__test=False)) == ()


def test_a_script_is_waited_out_until_every_output_has_had_its_time():
    """The fan: 40 s at least after an answer within 4 s, two polls, a scan and a refresh."""
    assert settle_s(LOADED.site) == pytest.approx(40 + 4 + 2 * 0.5 + 0.5 + 0.1)


@pytest.mark.parametrize(
    "action",
    [done.OutputForced("K1", on=None), done.InTestSet("AT-1", on=True), done.Calibrated("A", 9.0)],
)
def test_the_record_tells_of_them_and_is_read_back(action):
    applied = done.Applied(1.0, 2.0, action)
    assert applied_of(json.loads(json.dumps(applied_body(applied)))) == applied
