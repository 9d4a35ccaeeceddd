"""Plans rehearsed: a good panel is proven in all that the plan claims, a wrong one is failed."""

import panel_changes as changes
import pytest

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.plan import make_plan
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site

SITES = demo_site_path().parent.parent


def rehearsed(site, plan, folder, panel=None):
    path = folder / "plan.yaml"
    path.write_text(plan.text("A plan."), "utf-8")
    script = load_script(path, site.site)
    return rehearse(site, [script], RehearsalOptions(panel_site=panel))


def unproven_claims(plan, verdicts):
    by_id = {verdict.id: verdict for verdict in verdicts}
    found = []
    for claim in {claim for test in plan.tests for claim in test.claims}:
        verdict = by_id.get(claim)
        if verdict is not None:
            outcome = verdict.outcome
        else:
            verdict_id, _, name = claim.partition(": ")
            aspects = by_id[verdict_id].aspects if verdict_id in by_id else ()
            outcome = next((one.outcome for one in aspects if one.name == name), None)
        if outcome is not Outcome.PROVEN:
            found.append((claim, outcome))
    return found


@pytest.mark.parametrize(
    ("name", "channels", "cells"),
    [("fernhollow", 11, 40), ("thornquay", 24, 67), ("larkwater", 6, 17)],
)
def test_the_planned_rehearsal_proves_all_of_a_site(name, channels, cells, tmp_path):
    site = load_site(SITES / name / "site.yaml")
    assert (len(site.site.channels), len(site.site.matrix)) == (channels, cells)
    plan = make_plan(site.site)
    verdicts = rehearsed(site, plan, tmp_path).verdicts
    assert [(one.id, one.because) for one in verdicts if one.outcome is not Outcome.PROVEN] == []
    assert unproven_claims(plan, verdicts) == []
    ids = {one.id for one in verdicts}
    assert ids >= {f"cell/{cell.id}" for cell in site.site.matrix}
    assert ids >= {f"point/{point.name}" for point in site.site.points if point.access == "r"}
    assert ids >= {f"output/{output.tag}" for output in site.site.outputs}


@pytest.fixture(scope="module")
def larkwater():
    site = load_site(SITES / "larkwater" / "site.yaml")
    return site, make_plan(site.site)


@pytest.mark.parametrize("group", ["levels", "cells", "gates", "power"])
def test_any_tests_of_a_plan_prove_their_claims_without_the_others(larkwater, group, tmp_path):
    site, plan = larkwater
    chosen = plan.only([group])
    verdicts = rehearsed(site, chosen, tmp_path).verdicts
    assert [one.id for one in verdicts if one.outcome is Outcome.FAILED] == []
    assert unproven_claims(chosen, verdicts) == []


def with_vote(cell_id, text):
    def changed(site):
        rows = [
            type(one).model_validate({**one.model_dump(by_alias=True), "cause": text})
            if one.id == cell_id
            else one
            for one in site.matrix
        ]
        return site.model_copy(update={"matrix": tuple(rows)})

    return changed


VOTE = "2oo2(AT-11.A1, AT-12.A1)"


@pytest.mark.parametrize(
    ("change", "only", "blamed"),
    [
        (changes.missing("AT-22.A2 > B1"), "cells", {"cell/AT-22.A2 > B1"}),
        (with_vote(f"{VOTE} > V1", VOTE.replace("2oo2", "1oo2")), "gates", {"output/V1"}),
        (changes.cell("AT-31.A2 > V2", on_delay_s=4), "cells", {"cell/AT-31.A2 > V2"}),
        (changes.cell("AT-12.A2 > S1", latching=True), "cells", {"cell/AT-12.A2 > S1"}),
        (
            changes.crossed("F1", "F2"),
            "cells",
            {"cell/AT-11.A1 AND NOT DI-2.active > F1", "cell/AT-21.A1 OR AT-22.A1 > F2"},
        ),
        (changes.setpoint("AT-32", "A1", 1.125), "levels", {"level/AT-32.A1"}),
        (changes.level("AT-21", "A2", hysteresis=0.02), "levels", {"level/AT-21.A2"}),
        (changes.level("AT-21", "A2", hysteresis=0.2), "levels", {"level/AT-21.A2"}),
        (changes.level("AT-32", "A2", latching=False), "levels", {"level/AT-32.A2"}),
        (
            changes.addresses_swapped("AT-11 reading", "AT-12 reading"),
            "levels",
            {"reading/AT-11", "reading/AT-12"},
        ),
        (
            changes.addresses_swapped("AT-11 over-range", "AT-12 over-range"),
            "levels",
            {"flag/AT-12.over_range"},
        ),
        (changes.output("S1", mutable=False), "gates", {"output/S1"}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_panel_with_one_thing_wrong_is_failed_by_name(larkwater, change, only, blamed, tmp_path):
    site, plan = larkwater
    panel = change(site.site)
    verdicts = rehearsed(site, plan.only([only]), tmp_path, panel).verdicts
    failed = {one.id for one in verdicts if one.outcome is Outcome.FAILED}
    assert blamed <= failed, failed
