"""The plan of every site exercises all of it, by a checker that shares no code with the planner."""

import pytest
from plan_coverage import missing_from

from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan import make_plan
from gaswitness_sitefile.load import load_site

SITES = sorted(path.parent.name for path in demo_site_path().parent.parent.glob("*/site.yaml"))


@pytest.mark.parametrize("name", SITES)
def test_the_plan_of_a_site_exercises_all_of_it(name, tmp_path):
    loaded = load_site(demo_site_path().parent.parent / name / "site.yaml")
    path = tmp_path / "plan.yaml"
    path.write_text(make_plan(loaded.site).text("A plan."), encoding="utf-8")
    assert missing_from(loaded.site, load_script(path, loaded.site)) == []
