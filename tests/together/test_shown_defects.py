"""What a run says that it would have shown of the map's defects, it shows in panels that have them.

A rehearsal names the defects that would have been failed. Each is then put into the panel, by the
panel's own side, and the same is played again: something is failed.
GASWITNESS_MAP_DEFECTS=0..900 tries these instead of a few, and goes on past a surprise.
"""

import os
import random
from collections import Counter

import pytest
from map_defect_panels import defective, inverting

from gaswitness_probe.map_defects import map_defects
from gaswitness_probe.shown_defects import shown_defects
from gaswitness_scenarios import run
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse

SCRIPTS = ("00", "50")
FEW = 7


@pytest.fixture(scope="module")
def good(demo, demo_scripts):
    return rehearse(demo, [demo_scripts[number] for number in SCRIPTS])


@pytest.fixture(scope="module")
def weighed(good):
    return shown_defects(good.seen)


@pytest.fixture(scope="module")
def defects(demo):
    return {(one.kind, one.place): one for one in map_defects(demo.site)}


@pytest.fixture
def failed_with(demo, demo_scripts, monkeypatch):
    """Ids of what is failed of a panel with the defect; None where no panel of ours can have it."""

    def failed(defect):
        panel = defective(demo.site, defect)
        if defect.kind in ("bit inverted", "bits inverted"):
            places = {(p.table, p.address) for p in demo.site.points if p.name in defect.points}
            if not all(table.of_bits for table, _ in places):
                return None
            monkeypatch.setattr(run, "VirtualDevice", inverting(places))
        elif panel is None:
            return None
        scripts = [demo_scripts[number] for number in SCRIPTS]
        result = rehearse(demo, scripts, RehearsalOptions(panel_site=panel))
        monkeypatch.undo()
        return [one.id for one in result.verdicts if one.outcome.value == "failed"]

    return failed


def asked_for(shown):
    """One of each kind where all are asked for by number, else a few kinds at random."""
    first, _, end = os.environ.get("GASWITNESS_MAP_DEFECTS", "").partition("..")
    if end:
        return shown[int(first) : int(end)]
    by_kind = {}
    for one in random.Random("a few defects").sample(shown, len(shown)):
        by_kind.setdefault(one[0], one)
    return random.Random("a few kinds").sample(list(by_kind.values()), FEW)


@pytest.mark.timeout(7200)
def test_a_defect_that_would_have_shown_is_failed(weighed, defects, failed_with):
    tried, surprises = Counter(), []
    for key in asked_for(list(weighed.shown)):
        found = failed_with(defects[key])
        tried["not to be had" if found is None else "failed" if found else "missed"] += 1
        if found == []:
            surprises.append(key)
    print(dict(tried))
    assert surprises == []
    assert tried["failed"] >= FEW - 2


def test_a_good_panel_fails_nothing(good):
    assert [one.id for one in good.verdicts if one.outcome.value == "failed"] == []


@pytest.fixture(scope="module")
def first_look(demo, demo_scripts):
    return shown_defects(rehearse(demo, [demo_scripts["00"]]).seen)


def test_what_no_gas_reached_was_not_shown(first_look):
    """Only AT-201 had gas, and only AT-301 a fault."""
    hidden = {(one.kind, one.place) for one in first_look.not_shown}
    assert ("scale ten times too great", "AT-101 reading") in hidden
    assert ("scale ten times too great", "AT-201 reading") in hidden  # it never settled
    assert ("scale ten times too great", "AT-601 reading") not in hidden  # 20.9 in clean air
    assert ("readings exchanged", "AT-101 and AT-102") in hidden
    assert ("readings exchanged", "AT-101 and AT-601") not in hidden
    assert ("state A1 under another code", "AT-101 state") in hidden
    assert ("state A1 under another code", "AT-201 state") not in hidden
    assert ("fault not flagged", "AT-301") not in hidden


def test_every_reason_says_what_would_show_it(weighed):
    assert weighed.not_shown
    assert all(one.because and one.remedy for one in weighed.not_shown)


def test_more_stimuli_show_more(weighed, first_look):
    assert first_look.share < weighed.share
    assert {*first_look.shown} < {*weighed.shown}


def test_what_nothing_can_tell_is_said_so(weighed):
    alike = {(one.kind, one.place): one.because for one in weighed.alike}
    assert "same bits" in alike["signed in place of unsigned", "AT-501 reading"]
    assert "same setpoints" in alike["setpoints exchanged", "AT-101 and AT-102"]
    assert alike["fault shown as a reading of 0", "AT-501 reading"] == "in fault it is to show 0"
