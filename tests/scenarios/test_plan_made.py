"""A plan as a script: it loads, says what it proves, and leaves a panel at rest after each test."""

import re

import pytest

from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan import make_plan
from gaswitness_scenarios.plan_report import figures, open_by_reason
from gaswitness_scenarios.plan_text import flow, scalar
from gaswitness_scenarios.script import (
    Drift,
    Fault,
    Gas,
    Inhibit,
    Input,
    Look,
    PanelFault,
    Power,
)
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.yaml_text import parse_yaml

SITES = demo_site_path().parent.parent


@pytest.fixture(scope="module")
def demo():
    return load_site(demo_site_path()).site


@pytest.fixture(scope="module")
def plan(demo):
    return make_plan(demo)


@pytest.fixture(scope="module")
def script(plan, demo, tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "plan.yaml"
    path.write_text(plan.text("Words for people.\nAnd more: a colon."), "utf-8")
    return load_script(path, demo)


def test_the_text_loads_as_the_script_that_it_says(plan, script):
    assert script.title == "Test plan of GDP-1"
    assert script.text == "Words for people.\nAnd more: a colon."
    assert [part.test.id for part in script.tests] == [test.id for test in plan.tests]
    assert [part.test.proves for part in script.tests] == [
        tuple(test.claims) for test in plan.tests
    ]
    assert [part.test.moves for part in script.tests] == [
        tuple(sorted(test.moves)) for test in plan.tests
    ]
    preamble_s = plan.preamble[0]["hold_s"]
    length_s = preamble_s + sum(test.length_s for test in plan.tests)
    assert script.length_s == pytest.approx(length_s)


def test_the_same_site_gives_the_same_text(plan, demo):
    assert make_plan(demo).text("x") == plan.text("x")


def test_each_test_leaves_nothing_behind(script, demo):
    """Gas at clean air, faults mended, inhibits and contacts away, the supply on."""
    for part in script.tests:
        last = {}
        for step in part.steps:
            match step:
                case Gas():
                    last["gas", step.channel] = (
                        step.level == demo.channel_of[step.channel].clean_reading
                    )
                case Fault():
                    last["fault", step.channel, step.drop_out] = not step.on
                case Inhibit():
                    last["inhibit", step.channel] = not step.on
                case Input():
                    last["input", step.tag] = not step.on
                case PanelFault():
                    last["panel fault"] = not step.on
                case Power():
                    last["power"] = step.on
                case Drift():
                    last["drift", step.channel] = step.zero == 0
        assert all(last.values()), (part.test.id, [key for key, good in last.items() if not good])


def test_every_kind_of_every_cell_is_planned_for_the_demo(plan):
    found = figures(plan)
    assert found.open == ()
    by_cell = {}
    for want in found.wants:
        by_cell.setdefault(want.cell.id, []).append(want.kind)
    vote = "2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > K3"
    assert "".join(by_cell[vote]) == "RUFPAVIXDW"
    assert "".join(by_cell["DI-1.active > K3"]) == "RLPAW"
    assert "".join(by_cell["AT-101.A2 > S1"]) == "RUFPAMSIXDW"
    assert "".join(by_cell["panel.fault > K1"]) == "RFPIXDW"
    assert len(by_cell) == 40


def test_the_demo_costs_less_than_its_naive_order_and_more_than_its_bound(plan):
    found = figures(plan)
    assert 0 < found.bound_s < found.gas_s < found.naive_s / 5
    assert found.applications < found.naive_applications / 5
    assert found.gas_s < found.length_s


def test_what_it_says_of_gas_is_what_its_steps_do(plan):
    """Counted apart: a detector's gas goes on where it was in clean air before."""
    for test in plan.tests:
        on, count = set(), 0
        for step in test.steps:
            gas = step.get("gas")
            if gas is None:
                continue
            tags = gas["channel"] if isinstance(gas["channel"], list) else [gas["channel"]]
            for tag in tags:
                if gas["to"] == "clean":
                    on.discard(tag)
                elif tag not in on:
                    on.add(tag)
                    count += 1
        assert on == set(), test.id
        assert test.applications <= count <= test.applications + 11, test.id


def test_channels_of_a_round_move_no_output_together(plan, demo):
    driven = {}
    for cell in demo.matrix:
        found = re.fullmatch(r"(AT-\d+)\.A\d( AND NOT DI-2.active)?", cell.cause)
        if found:
            driven.setdefault(found[1], set()).add(cell.effect)
    assert sorted(tag for group in plan.rounds for tag in group) == sorted(demo.channel_of)
    for group in plan.rounds:
        effects = [effect for tag in group for effect in driven.get(tag, ())]
        assert len(effects) == len(set(effects)), group
    assert len(plan.rounds) == 5, "S2 is driven by five channels, each of which needs its own"


def test_every_pair_of_the_vote_has_an_expectation_and_every_single_one(script):
    names = {step.id for step in script.steps if hasattr(step, "within_s")}
    vote = "2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > K3: "
    found = {name.removeprefix(vote) for name in names if name.startswith(vote)}
    pairs = {frozenset(name.split(" with ")) for name in found if " with " in name}
    assert {frozenset(tag.partition(".")[0] for tag in pair) for pair in pairs} == {
        frozenset({"AT-101", "AT-102"}),
        frozenset({"AT-101", "AT-103"}),
        frozenset({"AT-102", "AT-103"}),
    }
    assert any(name.endswith(" alone") for name in found)


def test_every_output_is_looked_at_once_acting_and_once_at_rest(script, demo):
    asked = {}
    for step in script.steps:
        if isinstance(step, Look):
            asked.setdefault(step.fact, []).append(step.question)
    assert set(asked) == {f"{output.tag}.active" for output in demo.outputs}
    assert all(len(questions) == 2 for questions in asked.values()), asked


def test_every_point_that_a_stimulus_moves_is_claimed_by_one_test(plan, demo):
    claims = [claim for test in plan.tests for claim in test.claims if claim.startswith("point/")]
    assert len(claims) == len(set(claims))
    still = ("constant", "spare", "heartbeat", "panel.reset", "panel.accept", "panel.mute")
    moved = {
        f"point/{point.name}"
        for point in demo.points
        if point.shows not in still and not point.shows.endswith(".setpoint")
    }
    assert set(claims) == moved


def test_nobody_is_asked_to_look_where_a_point_shows(demo):
    assert '"look"' not in make_plan(demo, looks="unshown").text("x")
    assert "- look:" not in make_plan(demo, looks="unshown").text("x")
    assert "- look:" not in make_plan(demo, looks="none").text("x")


def test_a_choice_of_tests_keeps_their_numbers_and_order(plan):
    chosen = plan.only(["AT-201"])
    assert 0 < len(chosen.tests) < len(plan.tests)
    assert all("AT-201" in test.tags for test in chosen.tests)
    assert [test.id for test in chosen.tests] == sorted(test.id for test in chosen.tests)
    assert {test.group for test in plan.only(["inputs"]).tests} == {"inputs"}
    assert [test.id for test in plan.only(["T-002"]).tests] == ["T-002"]


def test_no_more_detectors_in_gas_than_hands(demo):
    few = make_plan(demo, at_once=2)
    assert all(len(group) <= 2 for group in few.rounds)
    levels = [test for test in few.tests if test.group == "levels"]
    assert len(levels) == 6
    assert all(test.applications <= 2 for test in levels)


def test_what_cannot_be_planned_says_why(demo):
    cells = [
        {"cause": "AT-101.over_range", "effect": "K1", "response_s": 4},
        {"cause": "panel.warm_up", "effect": "K1", "response_s": 4},
        {"cause": "AT-101.comms_fault", "effect": "K2", "response_s": 4},
    ]
    data = demo.model_dump(by_alias=True)
    site = type(demo).model_validate({**data, "matrix": [*data["matrix"], *cells]})
    reasons = "\n".join(open_by_reason(figures(make_plan(site)).open))
    assert "AT-101.over_range is no alarm level" in reasons
    assert "panel.warm_up comes with each return of the supply only" in reasons
    assert "AT-101.comms_fault: what is wrong on the bus is not planned" in reasons


def test_what_no_point_shows_is_told(demo):
    site = load_site(SITES / "coldbrook" / "site.yaml").site
    words = "\n".join(figures(make_plan(site)).unprovable)
    assert "no point shows AT-11.inhibit" in words
    assert "S1.muted" in words
    assert "the over-range of AT-21 latches" in words


@pytest.mark.parametrize(
    "text",
    [
        "plain words",
        "on: off",
        "a # b",
        "yes",
        "12",
        "1e3",
        "~",
        "- dash",
        'say "no"',
        "back\\slash",
        "[x]",
        "{y}",
        "a, b",
        "cell/AT-1.A1 > K1: rises",
        "null",
        "%LEL",
        "*star",
        "&and",
        "!bang",
        "|",
        "é",
        "AT-101.A2 AND NOT DI-2.active",
    ],
)
def test_any_text_comes_back_as_it_was(text):
    assert parse_yaml(f"a: {scalar(text)}\n", "x").data == {"a": text}
    assert parse_yaml(f"a: {flow({'b': [text, 1.5]})}\n", "x").data == {"a": {"b": [text, 1.5]}}
