"""What people say in a witness run is on the disk before they are told that it is kept."""

from pathlib import Path

import pytest

from gaswitness_probe import evidence as evidence_module
from gaswitness_probe.evidence import Evidence
from gaswitness_scenarios.events import ignore
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.record import Record
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site
PLAN = """
gaswitness_script: 1
title: One test
steps:
  - test: {id: T-1, title: one}
  - gas: {channel: AT-1, to: past A1}
  - look: {fact: AT-1.A1, ask: Is the lamp lit?}
"""


@pytest.fixture
def script(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    return load_script(path, SITE)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A record that by itself writes nothing to the disk for a minute."""
    monkeypatch.setattr(evidence_module, "COMMIT_AFTER_S", 60.0)
    with Evidence.create(tmp_path / "run.sqlite") as evidence:
        yield evidence


SAID = {
    "a test left out": lambda r, test, gas, look: r.notes.left_out(test, 1, "no ladder", 1.0),
    "a deviation": lambda r, test, gas, look: r.notes.deviation("B", "no label", "T-1", "", 1.0),
    "a note": lambda r, test, gas, look: r.remark("it is warm", 1.0, "Ada Brook", "T-1"),
    "a step done": lambda r, test, gas, look: r.done(2, gas, 1.0, 2.0),
    "a step left out": lambda r, test, gas, look: r.skipped(2, gas, 1.0, "cylinder empty"),
    "an answer": lambda r, test, gas, look: r.done(3, look, 1.0, 2.0, looked=True),
}


@pytest.mark.parametrize("what", SAID)
def test_what_people_say_is_on_the_disk_at_once(kept, script, what):
    record = Record(SITE, kept, ignore, durable=True)
    record.playing(script, 0.0, (0.0, 0.0))
    before = kept.committed
    SAID[what](record, *script.steps)
    assert kept.committed > before
    last = kept.committed
    assert kept.sync() == last  # nothing was left waiting


def test_a_rehearsal_waits_for_no_disk(kept, script):
    record = Record(SITE, kept, ignore)
    record.playing(script, 0.0, (0.0, 0.0))
    record.remark("it is warm", 1.0)
    record.notes.left_out(script.steps[0], 1, "no ladder", 1.0)
    assert kept.committed == 0
