"""How long a record takes to be judged again, beside the rehearsal that made it."""

import time

import pytest

from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.verify_run import verify_run
from gaswitness_sitefile.load import load_site


@pytest.mark.benchmark
def test_a_record_is_judged_again_sooner_than_it_was_made(tmp_path):
    site = load_site(demo_site_path())
    scripts = [load_script(path, site.site) for path in site_scripts(site.path)]
    path = tmp_path / "run.sqlite"
    begun = time.process_time()
    result = rehearse(site, scripts, RehearsalOptions(evidence=path))
    made_s = time.process_time() - begun
    begun = time.process_time()
    report = verify_run(path)
    again_s = time.process_time() - begun
    assert report.holds
    print(
        f"{result.stats.exchanges} exchanges: made in {made_s:.1f} s, judged again in {again_s:.1f}"
    )
    assert again_s < made_s
