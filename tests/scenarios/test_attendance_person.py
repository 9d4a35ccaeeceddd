"""People at a test: what they are told of its gas, and whose initials sign it."""

import pytest

from gaswitness_scenarios.attendance_person import PeopleAttending
from gaswitness_scenarios.equipment import Equipment
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_sitefile.load import load_site

SITE = """
gaswitness_site: 1
panel: {tag: GDP-3, name: Bottle store}
timing: {scan_s: 0.5}
channels:
  - {tag: AT-1, gas: CH4, unit: "%LEL", range: [0, 100], levels: {A1: {setpoint: 20}}}
  - {tag: AT-2, gas: O2, unit: "%vol", range: [0, 25], levels: {A1: {setpoint: 23.5}}}
outputs: [{tag: K1, kind: relay}]
matrix: [{cause: AT-1.A1, effect: K1, response_s: 4}]
map: {notation: pdu}
points: [{name: K1 acts, table: coil, address: 0, type: bit, shows: K1.active}]
"""
PLAN = """
gaswitness_script: 1
title: Two tests
steps:
  - test: {id: T-1, title: far}
  - gas: {channel: AT-1, to: 107}
  - gas: {channel: AT-2, to: 24}
  - test: {id: T-2, title: near}
  - gas: {channel: AT-1, to: 50}
  - gas: {channel: AT-2, to: 19}
"""
PEOPLE = {"tester": {"name": "Ada Brook"}, "witness": {"name": "Odo Marsh", "initials": "OMM"}}


class Typist:
    """Types one line after the other; keeps what was shown."""

    def __init__(self, *lines):
        self.lines = list(lines)
        self.shown = []

    def show(self, text):
        self.shown.append(text)

    async def answer(self, prompt):
        return self.lines.pop(0)


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.yaml"
    path.write_text(SITE)
    return load_site(path).site


@pytest.fixture
def parts(tmp_path, site):
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    return load_script(path, site).tests


def attending(site, person):
    equipment = Equipment.model_validate({"gaswitness_equipment": 1, **PEOPLE})
    return PeopleAttending(person, site, equipment, lambda: 1.0, lambda: "2026-11-26T14:00:00Z")


def test_gas_that_can_burn_is_told_beforehand(site, parts):
    """100 %LEL is the lower explosive limit by its meaning; 23.5 %vol: 29 CFR 1910.146 (memory)."""
    people = attending(site, Typist())
    far, near = ("\n".join(people.gases(part)) for part in parts)
    assert "CH4 to 107 %LEL" in far
    assert "burns or explodes once lit" in far
    assert "in so much oxygen things burn fiercely" in far
    assert "CH4 to 50 %LEL" in near
    assert "Beware" not in near


@pytest.mark.parametrize(
    ("lines", "signed"),
    [
        (["ab omm"], ["AB", "OMM"]),
        (["go on", "ab omm"], ["AB", "OMM"]),
        (["ab om", "AB OM"], ["AB", "OM"]),
    ],
)
def test_words_that_are_nobodys_initials_sign_only_when_typed_twice(site, parts, lines, signed):
    entries = []
    notes = PlanNotes(lambda kind, body, at_s: entries.append((kind, body)))
    person = Typist(*lines)
    people = attending(site, person)
    people.write_to(notes, lambda *_: None)
    notes.begun(parts[0].test, parts[0].first, 0.0)
    notes.over(1.0)
    assert run_virtual(people.after(parts[0], None)) is False
    assert not person.lines
    assert [body["initials"] for kind, body in entries if kind == "initials"] == signed
    said = "\n".join(person.shown)
    assert ("the same once more signs with it" in said) == (len(lines) > 1)
