from datetime import date

import pytest

from gaswitness_scenarios.equipment import Participant, equipment_kept, load_equipment
from gaswitness_scenarios.plan_notes import PlanNotes
from gaswitness_sitefile.errors import GaswitnessError, SiteFileError

TODAY = date(2026, 11, 26)
GAS = "{gas: CO, composition: 50 ppm CO in air, cylinder: C4, certificate: G-9, expires: %s}"


def written(tmp_path, text):
    path = tmp_path / "equipment.yaml"
    path.write_text(f"gaswitness_equipment: 1\n{text}")
    return path


def test_people_instruments_and_gas_are_read(tmp_path):
    text = (
        "tester: {name: Ada Brook}\nwitness: {name: Odo Marsh, initials: OMM}\n"
        "instruments: [{name: Stop watch, due: 2027-01-01}]\n"
        f"gases: [{GAS % '2026-11-26'}]\n"
    )
    found = load_equipment(written(tmp_path, text), TODAY)
    assert {role: who.signs for role, who in found.people.items()} == {
        "tester": "AB",
        "witness": "OMM",
    }
    assert found.gases_for("CO")[0].certificate == "G-9"
    assert found.gases_for("NH3") == ()


def test_gas_that_has_expired_is_refused_at_its_line_unless_a_reason_is_given(tmp_path):
    late = GAS % "2026-11-25"
    text = f"gases:\n  - {late}\n  - {late}\ninstruments: [{{name: Watch, due: 2026-01-01}}]\n"
    with pytest.raises(SiteFileError) as refused:
        load_equipment(written(tmp_path, text), TODAY)
    problems = refused.value.problems
    assert [problem.place.line for problem in problems] == [3, 4, 5]
    assert "expired on 2026-11-25" in problems[0].what
    assert "override" in problems[0].remedy
    assert "Watch held until 2026-01-01" in problems[2].what
    overridden = late.replace("}", ", override: agreed by phone}")
    found = load_equipment(written(tmp_path, f"gases: [{overridden}]"), TODAY)
    assert found.gases[0].override == "agreed by phone"


def test_what_is_no_equipment_file_is_refused_with_all_that_is_wrong(tmp_path):
    with pytest.raises(SiteFileError) as refused:
        load_equipment(written(tmp_path, "tester: {nam: A}\ngases: [{gas: CO}]"), TODAY)
    assert len(refused.value.problems) >= 3


def test_initials_come_from_the_name():
    assert Participant(name="Ada of Brook").signs == "AOB"


def kept(equipment):
    """Bodies of the entries that a record has of it."""
    entries = {}
    PlanNotes(lambda kind, body, at_s: entries.setdefault(kind, []).append(body)).equipment(
        equipment, 0.0
    )
    return (entries[kind] for kind in ("people", "instrument", "test_gas"))


def test_what_a_record_keeps_of_it_comes_back_once_and_is_refused_once_expired(tmp_path):
    text = (
        "tester: {name: Ada Brook}\nwitness: {name: Odo Marsh, initials: OMM, company: Lime}\n"
        "instruments: [{name: Stop watch, due: 2027-01-01}]\n"
        f"gases: [{GAS % '2026-11-26'}]\n"
    )
    before = load_equipment(written(tmp_path, text), TODAY)
    people, instruments, gases = kept(before)
    found = equipment_kept(people * 2, instruments * 2, gases * 2, TODAY)
    assert found.people["witness"] == before.witness
    assert found.people["tester"].signs == "AB"
    assert (found.instruments, found.gases) == (before.instruments, before.gases)
    with pytest.raises(GaswitnessError, match="expired on 2026-11-26"):
        equipment_kept(people, instruments, gases, date(2026, 11, 27))
