"""A traced panel against the same panel looked at in every single scan."""

import math
from itertools import pairwise

import pytest

from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.panel_trace import trace_panel
from gaswitness_scenarios.trace_readers import POWERED, facts_of_site
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.load import load_site

SITE = load_site(demo_site_path()).site
SCRIPTS = {path.stem: path for path in site_scripts(demo_site_path())}


def script(tmp_path, steps, site=SITE):
    path = tmp_path / "own.yaml"
    path.write_text(f"gaswitness_script: 1\ntitle: Own\nsteps:\n{steps}", encoding="utf-8")
    return load_script(path, site)


def named(name):
    return load_script(SCRIPTS[name], SITE)


def fact(panel, name):
    return panel.powered if name == POWERED else panel.fact(name)


def in_every_scan(played, seed):
    """When each fact became what, asked after every scan and every step."""
    panel = VirtualPanel(SITE, seed=seed)
    names = facts_of_site(SITE)
    seen = {name: [(0.0, fact(panel, name))] for name in names}
    scanning = panel.state.scanning
    scans = [scanning.at_s(n) for n in range(scanning.last(played.length_s) + 1)]
    moments = sorted(
        [(at_s, 0, None) for at_s in scans] + [(step.at_s, 1, step) for step in played.steps],
        key=lambda one: one[:2],
    )
    for at_s, _, step in moments:
        panel.advance(at_s)
        if step is not None and (stimulus := stimulus_of(step)) is not None:
            panel.apply(stimulus, at_s)
        for name in names:
            now = fact(panel, name)
            if now != seen[name][-1][1]:
                seen[name].append((at_s, now))
    return {name: tuple(changes) for name, changes in seen.items()}


@pytest.mark.parametrize("name", ["00-first-look", "10-readings", "80-mute", "90-power"])
def test_every_change_is_seen_in_the_scan_in_which_it_comes(name):
    played = named(name)
    traced = trace_panel(SITE, played, seed=3)
    every = in_every_scan(played, seed=3)
    assert {fact: traced.changes(fact) for fact in traced.facts} == every
    assert sum(len(changes) > 1 for changes in every.values()) > 5


def test_samples_are_what_the_panel_shows_at_their_instants(tmp_path):
    played = named("50-faults")
    traced = trace_panel(SITE, played, seed=1, columns=50)
    panel = VirtualPanel(SITE, seed=1)
    steps = list(played.steps)
    compared = 0
    for before, sample in pairwise(traced.samples):
        while steps and steps[0].at_s <= before.at_s:
            step = steps.pop(0)
            if (stimulus := stimulus_of(step)) is not None:
                panel.apply(stimulus, step.at_s)
        panel.advance(sample.at_s)
        if before.at_s == sample.at_s:
            continue
        for tag, reading, gas in zip(traced.channels, sample.readings, sample.gases, strict=True):
            shown = panel.reading(tag)
            assert shown == reading or (math.isnan(shown) and math.isnan(reading))
            assert panel.gas(tag) == gas
            compared += 1
    assert compared > 5000


def test_a_step_of_gas_has_a_sample_before_it_and_one_after(tmp_path):
    played = script(tmp_path, "  - hold_s: 50\n  - gas: {channel: AT-301, to: 12}\n  - hold_s: 9\n")
    traced = trace_panel(SITE, played)
    at = traced.channels.index("AT-301")
    assert [s.gases[at] for s in traced.samples if s.at_s == 50.0] == [0.0, 12.0]


def test_the_peak_of_a_short_whiff_in_a_long_shift_is_sampled(tmp_path):
    steps = (
        "  - hold_s: 14000\n  - gas: {channel: AT-301, to: 9}\n  - hold_s: 12\n"
        "  - gas: {channel: AT-301, to: clean}\n  - hold_s: 14788\n"
    )
    traced = trace_panel(SITE, script(tmp_path, steps))
    at = traced.channels.index("AT-301")
    peak = max(s.readings[at] for s in traced.samples)
    # First order: 9 (1 - exp(-12 / tau)), tau = t90 / ln 10 = 10 s / 2.3026; noise 0.1 at most.
    assert peak == pytest.approx(9 * (1 - 10**-1.2), abs=0.1 + 9 * 10**-1.2 * 0.13)
    assert len(traced.samples) < 20_000


def test_a_recorded_spike_is_seen_at_its_tip(tmp_path):
    quick = SITE.model_dump(by_alias=True)
    quick["channels"] = list(quick["channels"])
    quick["channels"][6] |= {"t90_s": 0.0, "noise": 0.0}
    site = type(SITE).model_validate(quick)
    (tmp_path / "spike.csv").write_text("time_s,level\n100,0\n101,8\n102,0\n", encoding="utf-8")
    played = script(
        tmp_path,
        "  - hold_s: 3000\n  - gas: {channel: AT-301, trace: spike.csv}\n  - hold_s: 9000\n",
        site,
    )
    traced = trace_panel(site, played, columns=20)
    at = traced.channels.index("AT-301")
    assert max(s.readings[at] for s in traced.samples) >= 4  # a scan each 0.5 s: 4 to 8


def test_a_part_of_a_run_is_the_same_as_in_the_whole():
    played = named("00-first-look")
    whole = trace_panel(SITE, played)
    part = trace_panel(SITE, played, from_s=60.0, until_s=100.0)
    assert part.samples[0].at_s == 60.0
    assert part.samples[-1].at_s == 100.0
    inside = [change for change in whole.changes("AT-201.A1") if 60 < change[0] < 100]
    assert list(part.changes("AT-201.A1")) == [(60.0, False), *inside]
    assert [one.at_s for one in part.happenings] == [86.0, 99.0]


def test_what_a_person_would_see_is_told():
    told = [one.text for one in trace_panel(SITE, named("80-mute")).happenings]
    assert "Does the sounder at the plant-room door sound? yes" in told
    assert "Does the sounder at the plant-room door still sound? no" in told


def test_time_that_goes_backwards_is_refused():
    with pytest.raises(ValueError, match="nothing lies between 9 s and 9 s"):
        trace_panel(SITE, named("00-first-look"), from_s=9.0, until_s=9.0)
