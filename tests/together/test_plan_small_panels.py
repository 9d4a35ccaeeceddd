"""Plans of small panels, each with a trait that a plan must know of, played on a good panel."""

import pytest

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.claim_names import SIDES, ClaimNames
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.plan import make_plan
from gaswitness_scenarios.plan_report import figures
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.site_facts import facts_of
from gaswitness_sitefile.load import load_site

VOTES = """
gaswitness_site: 1
panel: {tag: GDP-1}
pace: {poll_period_s: 0.5, timeout_s: 1.0}
timing: {scan_s: 0.5, refresh_s: 0.1, shortest_dwell_s: 2.0, heartbeat_s: 2.0, warm_up_s: 15}
channels:
  - &same
    tag: AT-1
    gas: CH4
    unit: "%LEL"
    range: [0, 100]
    detector: infrared
    t90_s: 5
    levels:
      A1: {setpoint: 15, hysteresis: 1}
      A2: {setpoint: 30, hysteresis: 2, latching: true}
  - {<<: *same, tag: AT-2}
  - {<<: *same, tag: AT-3}
outputs:
  - {tag: P1, kind: relay}
  - {tag: V1, kind: valve, normally_energised: true}
inputs: [{tag: DI-2, kind: fire contact}]
matrix:
  - {cause: "2oo3(AT-1.A1, AT-2.A1, AT-3.A1)", effect: P1, response_s: 4}
  - cause: "2oo3(AT-1.A2, AT-2.A2, AT-3.A2) OR DI-2.active"
    effect: V1
    response_s: 4
    latching: true
map: {notation: pdu, gaps: exception}
points:
  - {name: r1, table: input register, address: 0, type: float32, shows: AT-1.reading, unit: "%LEL"}
  - {name: r2, table: input register, address: 2, type: float32, shows: AT-2.reading, unit: "%LEL"}
  - {name: r3, table: input register, address: 4, type: float32, shows: AT-3.reading, unit: "%LEL"}
  - {name: hb, table: input register, address: 6, type: uint16, shows: heartbeat}
  - name: b
    table: input register
    address: 7
    type: bit field
    shows: bits
    bits:
      {0: AT-1.A1, 1: AT-1.A2, 2: AT-2.A1, 3: AT-2.A2, 4: AT-3.A1, 5: AT-3.A2, 6: P1.active,
       7: V1.active, 8: DI-2.active, 9: AT-1.inhibit, 10: AT-2.inhibit, 11: AT-3.inhibit,
       12: panel.fault, 13: AT-1.fault, 14: AT-2.fault, 15: AT-3.fault}
"""


def site_of(text, folder):
    path = folder / "site.yaml"
    path.write_text(text, "utf-8")
    return load_site(path)


def played(site, folder, seed=0):
    """The plan of the site, and its rehearsal on a panel that does as the site says."""
    plan = make_plan(site.site)
    path = folder / "plan.yaml"
    path.write_text(plan.text("A plan."), "utf-8")
    script = load_script(path, site.site)
    return plan, rehearse(site, [script], RehearsalOptions(seed=seed))


def failed(run):
    return [(v.id, v.because) for v in run.verdicts if v.outcome is Outcome.FAILED]


@pytest.mark.parametrize("seed", [0, 5])
def test_an_output_that_latched_beside_anothers_vote_is_reset_before_its_own(tmp_path, seed):
    _, run = played(site_of(VOTES, tmp_path), tmp_path, seed)
    assert failed(run) == []
    expected = [v.outcome for v in run.verdicts if v.id.startswith("expectation/2oo3")]
    assert len(expected) >= 8
    assert set(expected) == {Outcome.PROVEN}


SALTMARSH = demo_site_path().parent.parent / "saltmarsh" / "site.yaml"


def test_a_plan_draws_no_more_than_the_panels_own_bus_can_feed(tmp_path):
    """Inlet and wet well sounding at once leave the screen room too little voltage, by design."""
    plan, run = played(load_site(SALTMARSH), tmp_path, seed=5)
    assert failed(run) == []
    assert figures(plan).open == ()
    assert plan.ground.unfed == {}
    in_gas = [test.tags for test in plan.tests if test.group in ("levels", "cells", "power")]
    assert len(in_gas) > 3
    assert all(not {"AT-1", "AT-2"} <= tags for tags in in_gas)
    names = [
        step["expect"]["name"] for test in plan.tests for step in test.steps if "expect" in step
    ]
    assert len(names) == len(set(names))


def test_what_the_bus_cannot_feed_at_all_is_not_planned_and_said(tmp_path):
    thin = SALTMARSH.read_text("utf-8").replace("cross_section_mm2: 1.5", "cross_section_mm2: 1.0")
    site = site_of(thin.replace("length_m: 90,", "length_m: 190,"), tmp_path)
    plan, run = played(site, tmp_path)
    assert failed(run) == []
    found = figures(plan)
    assert {want.cell.effect for want in found.open} >= {"S2"}
    assert any("too little voltage" in want.why for want in found.open)
    assert any("What AT-2" in line and "too little voltage" in line for line in found.unprovable)


LOFT = """
gaswitness_site: 1
panel: {tag: GDP-2}
pace: {poll_period_s: 1, timeout_s: 1}
timing: {scan_s: 1, refresh_s: 0.5, shortest_dwell_s: 3.0, warm_up_s: 30}
channels:
  - tag: B-1
    gas: CH4
    unit: "%LEL"
    range: [0, 100]
    detector: catalytic
    t90_s: 12
    noise: 0.1
    tolerance: 3
    levels:
      A1: {setpoint: 10, hysteresis: 1}
      A2: {setpoint: 20, hysteresis: 2, latching: true}
  - tag: B-2
    gas: CO
    unit: ppm
    range: [0, 300]
    detector: electrochemical
    t90_s: 25
    tolerance: 6
    levels:
      A1: {setpoint: 30, hysteresis: 3}
outputs:
  - {tag: GV, kind: valve, normally_energised: true}
  - {tag: BZ, kind: sounder, mutable: true}
  - {tag: LT, kind: beacon}
matrix:
  - {cause: B-1.A2, effect: GV, response_s: 5}
  - {cause: B-1.A1, effect: BZ, response_s: 5}
  - {cause: B-2.A1, effect: BZ, response_s: 5}
  - {cause: B-2.A1, effect: LT, response_s: 5}
map: {notation: pdu}
points:
  - {name: r, table: input register, address: 0, type: uint16, shows: B-1.reading, unit: "%LEL"}
  - {name: a, table: discrete input, address: 0, type: bit, shows: B-1.A2}
  - {name: g, table: discrete input, address: 1, type: bit, shows: GV.active}
  - {name: l, table: discrete input, address: 2, type: bit, shows: LT.active}
  - {name: f, table: discrete input, address: 3, type: bit, shows: panel.fault}
"""
"""A panel of whose second detector no point shows anything, and no point shows its buzzer."""

SECOND_READING = """
  - {name: s, table: input register, address: 1, type: float32, shows: B-2.reading, unit: ppm}
"""


def looks_at(test, tag):
    asked = [step["look"] for step in test.steps if "look" in step]
    return [one["ask"] for one in asked if one["fact"] == f"{tag}.active"]


def test_every_cell_of_an_output_that_no_point_shows_is_looked_at_in_its_own_test(tmp_path):
    plan, run = played(site_of(LOFT + SECOND_READING.strip("\n"), tmp_path), tmp_path)
    assert failed(run) == []
    for cell in ("B-1.A1 > BZ", "B-2.A1 > BZ"):
        (test,) = [one for one in plan.tests if f"cell/{cell}: witnessed acting" in one.claims]
        assert f"cell/{cell}: witnessed at rest" in test.claims
        assert looks_at(test, "BZ") == ["Does BZ sound?", "Does BZ still sound?"]
        verdict = next(one for one in run.verdicts if one.id == f"cell/{cell}")
        seen = {one.name: one.outcome for one in verdict.aspects}
        assert seen["witnessed acting"] is Outcome.PROVEN
        assert seen["witnessed at rest"] is Outcome.PROVEN
    mutes = next(one for one in plan.tests if one.group == "gates")
    assert len(looks_at(mutes, "BZ")) >= 3
    planned = {(w.cell.id, w.kind): w.shown for w in figures(plan).wants}
    assert planned["B-1.A1 > BZ", "F"]
    assert planned["B-1.A1 > BZ", "M"]
    assert not planned["B-1.A1 > BZ", "R"], "a look does not tell within which time it came"


def test_what_no_point_shows_is_not_counted_as_planned_and_costs_no_gas(tmp_path):
    site = site_of(LOFT, tmp_path)
    plan = make_plan(site.site)
    found = figures(plan)
    of_second = [want for want in found.wants if want.cell.cause == "B-2.A1"]
    assert of_second
    assert not any(want.shown for want in of_second)
    assert any("no point shows B-2.A1 or the reading of B-2" in want.why for want in of_second)
    short = next(w for w in found.wants if (w.cell.id, w.kind) == ("B-1.A1 > BZ", "U"))
    assert short.why == "no point shows B-1.A1, nor what it drives"
    levels = next(test for test in plan.tests if test.group == "levels")
    assert levels.tags == {"B-1"}
    assert levels.gas_s < 600
    told = "\n".join(found.unprovable)
    assert "as wide as the tolerance of B-1.A2" in told
    assert not any("setpoint" in claim for claim in levels.claims)
    assert "panel.warm_up" in told
    assert "B-2.reading" in told


def test_what_stays_open_on_a_good_panel_is_told_beforehand(tmp_path):
    plan, run = played(site_of(VOTES, tmp_path), tmp_path)
    still_open = [v.id for v in run.verdicts if v.outcome is Outcome.INCONCLUSIVE]
    assert still_open == ["flag/panel.warm_up"]
    found = figures(plan)
    assert found.open == ()
    assert "no point shows panel.warm_up" in "\n".join(found.unprovable)
    assert any("ends NOT PROVEN" in line for line in found.unprovable)


def test_an_output_with_an_unseen_cause_is_expected_to_rest_while_others_are_in_gas(tmp_path):
    site = site_of(LOFT, tmp_path)
    plan, run = played(site, tmp_path)
    assert failed(run) == []
    cells = site.site.matrix
    wrong = cells[0].model_copy(update={"effect": "LT"})
    panel = site.site.model_copy(update={"matrix": (*cells, wrong)})
    script = load_script(tmp_path / "plan.yaml", site.site)
    again = rehearse(site, [script], RehearsalOptions(panel_site=panel))
    assert "expectation/LT stays off: B-1 past A2" in {one for one, _ in failed(again)}
    assert plan.tests


@pytest.mark.parametrize(
    "text", [VOTES, LOFT, SALTMARSH.read_text("utf-8")], ids=["votes", "loft", "saltmarsh"]
)
def test_every_verdict_and_side_that_a_run_comes_to_may_be_claimed(text, tmp_path):
    site = site_of(text, tmp_path).site
    _, run = played(load_site(tmp_path / "site.yaml"), tmp_path)
    ids = [one.id for one in run.verdicts]
    expectations = [one.partition("/")[2] for one in ids if one.startswith("expectation/")]
    names = ClaimNames(site, facts_of(site), expectations)
    claims = [*ids, *(f"{v.id}: {a.name}" for v in run.verdicts for a in v.aspects)]
    assert len(claims) > 60
    assert [(one, names.wrong(one)) for one in claims if names.wrong(one)] == []
    assert {one.partition("/")[0] for one in ids} >= set(SIDES)
