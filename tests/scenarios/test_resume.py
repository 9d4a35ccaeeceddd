"""What still stands of a run that broke off, from the entries that its record holds."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from gaswitness_probe.evidence_read import Entry
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.resume import Earlier, _standing, joined
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site
PLAN = """
gaswitness_script: 1
title: Two tests
steps:
  - test: {id: T-1, title: one}
  - fault: AT-1
  - hold_s: 30
  - press: mute
  - test: {id: T-2, title: two}
  - hold_s: 5
"""
MEND = "Mend the sensor fault of AT-1 (Pit)"


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    return load_script(path, SITE)


class Record:
    """Entries, one a second, with what a kept run offers of them."""

    site = SimpleNamespace(site=SITE)

    def __init__(self):
        self.entries = []

    def add(self, kind, **body):
        seq = len(self.entries) + 1
        self.entries.append(Entry(seq, float(seq), kind, body))

    def step(self, number, words="", *, done=True):
        self.add("step", number=number, words=words)
        if done:
            self.add("applied", done_s=float(len(self.entries)) + 0.5)

    def of(self, *kinds):
        return tuple(entry for entry in self.entries if entry.kind in kinds)


def standing(record, plan):
    return [(one.step.words, one.done_s is not None) for one in _standing(record, plan)]


def test_steps_of_the_test_that_was_under_way_stand_the_last_perhaps_not_done(plan):
    record = Record()
    record.add("test", id="T-1")
    record.step(2)
    record.step(4, done=False)
    assert standing(record, plan) == [
        ("Put AT-1 (Pit) in sensor fault", True),
        ("Press mute at the panel", False),
    ]


def test_a_run_killed_again_before_it_was_at_rest_leaves_the_same(plan):
    record = Record()
    record.add("test", id="T-1")
    record.step(2)
    record.step(4, done=False)
    record.add("resumed", after_s=1.0)
    record.add("test_end", id="T-1", how="broken off")
    assert len(standing(record, plan)) == 2
    record.step(0, MEND, done=False)
    assert standing(record, plan)[-1] == (MEND, False)
    record.add("applied", done_s=9.0)
    assert standing(record, plan)[-1] == (MEND, True)
    record.step(0, "Press reset at the panel", done=False)
    assert standing(record, plan)[-1] == ("Press reset at the panel", False)
    record.add("at_rest", id="T-1")
    assert standing(record, plan) == []


@pytest.mark.parametrize(("how", "left"), [("done", 0), ("stopped", 1), ("skipped", 1)])
def test_only_a_test_that_was_done_has_brought_its_panel_to_rest(plan, how, left):
    record = Record()
    assert standing(record, plan) == []
    record.add("test", id="T-1")
    record.step(2)
    record.add("test_end", id="T-1", how=how)
    assert len(standing(record, plan)) == left


def history(*values):
    runs = tuple(Run(value, (value,), Seen(value, value), Seen(value, value)) for value in values)
    return PointHistory("P", runs)


def test_what_was_seen_before_and_after_is_one():
    found = joined({"P": history(1, 2)}, {"P": history(5), "Q": history(7)})
    assert [run.value for run in found["P"].runs] == [1, 2, 5]
    assert len(found["P"].runs) == 3
    assert found["P"].runs[-1].value == 5
    assert [run.value for run in found["P"].runs[1:]] == [2, 5]
    assert [run.value for run in found["Q"].runs] == [7]
    with pytest.raises(IndexError):
        found["P"].runs[3]


def test_the_next_part_begins_when_the_panel_counts_as_out_of_sight():
    earlier = Earlier(Path("r"), 0.0, 100.0, (), (), (), (), 0, (), {}, "")
    assert earlier.goes_on_s(1.0) == 106.0
    assert earlier.goes_on_s(4.0) == 113.0
