"""How long planning takes, and what plans cost beside their bound and the naive order."""

import time

import pytest
from bench_plan import SITES, row
from make_large_matrix import large_matrix_site

from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan import make_plan
from gaswitness_scenarios.plan_report import figures
from gaswitness_sitefile.load import load_site


def test_a_zone_of_the_large_matrix_is_planned_whole_and_loads(tmp_path):
    site = large_matrix_site(channels=10, outputs=12)
    plan = make_plan(site)
    path = tmp_path / "plan.yaml"
    path.write_text(plan.text("Ten detectors."), "utf-8")
    assert len(load_script(path, site).tests) == len(plan.tests)
    found = figures(plan)
    # a sounder whose two causes share a detector cannot sound again for the first of them
    assert {want.kind for want in found.open} <= {"S"}
    assert found.bound_s < found.gas_s < found.naive_s / 3


def test_a_contact_that_silences_another_cell_lets_a_vote_be_seen():
    """The vote and `A AND NOT DI-2` drive one output: with DI-2 made every pair is alone there."""
    site = large_matrix_site(channels=5, outputs=12)
    vote = next(cell for cell in site.matrix if cell.cause.startswith("2oo5"))
    assert any("NOT DI-2" in cell.cause for cell in site.matrix if cell.effect == vote.effect)
    wants = {want.kind: want for want in figures(make_plan(site)).wants if want.cell.id == vote.id}
    assert wants["V"].shown, wants["V"].why


@pytest.mark.benchmark
def test_200_alarm_levels_on_80_effects_are_planned_in_seconds():
    site = large_matrix_site()
    causes = {f"{channel.tag}.{name}" for channel in site.channels for name in channel.levels}
    assert (len(causes), len(site.outputs)) == (200, 80)
    begun = time.perf_counter()
    plan = make_plan(site)
    plan.text("Large.")
    found = figures(plan)
    took_s = time.perf_counter() - begun
    print(f"planned, written and counted in {took_s:.1f} s: {found.shown} of {len(found.wants)}")
    assert took_s < 30


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("name", "naive_times"), [("fernhollow", 8), ("thornquay", 10), ("larkwater", 4)]
)
def test_a_plan_costs_a_fraction_of_the_naive_order(name, naive_times):
    found, cells, _ = row(name, load_site(SITES / name / "site.yaml").site)
    print(" | ".join(map(str, cells)))
    assert found.gas_s * naive_times < found.naive_s
    assert found.gas_s < 8 * found.bound_s
