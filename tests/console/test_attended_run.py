"""A witness run as people do it: at a terminal, the panel in another process, with a test left out,
one done again, a stop, a resumption, and a second issue of the record.
"""

import json
import re
import sqlite3
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest

from gaswitness_scenarios.tell import Telling, tell_panel

pexpect = pytest.importorskip("pexpect", reason="no pseudo-terminal to type into here")
if not hasattr(pexpect, "spawn"):
    pytest.skip("no pseudo-terminal to type into here", allow_module_level=True)

PROGRAM = "from gaswitness.cli import main; main()"
SPEED = "40"
SITE = """
gaswitness_site: 1
panel: {tag: P-1, name: Kiln shed}
pace: {poll_period_s: 1}
timing: {scan_s: 0.5, refresh_s: 0.1, shortest_dwell_s: 3}
channels:
  - tag: AT-1
    name: Kiln door
    gas: CO
    unit: ppm
    range: [0, 100]
    t90_s: 5
    levels: {A1: {setpoint: 30, hysteresis: 3}}
outputs:
  - {tag: V1, name: Fuel valve, kind: valve}
matrix:
  - {cause: AT-1.A1, effect: V1, response_s: 6}
points:
  - {name: gas, table: input register, address: 0, type: float32, shows: AT-1.reading, unit: ppm}
  - {name: alarm, table: discrete input, address: 0, type: bit, shows: AT-1.A1}
  - {name: fault, table: discrete input, address: 1, type: bit, shows: AT-1.fault}
  - {name: inhibit, table: discrete input, address: 2, type: bit, shows: AT-1.inhibit}
  - {name: valve, table: coil, address: 0, type: bit, shows: V1.active}
"""
PLAN = """
gaswitness_script: 1
title: Kiln shed
steps:
  - test:
      id: T-1
      title: Carbon monoxide at the kiln door
      proves: ["level/AT-1.A1: clears", "cell/AT-1.A1 > V1: rises"]
      moves: V1
  - gas: {channel: AT-1, to: past A1}
  - hold_s: 30
  - look: {fact: V1.active, ask: Is the fuel valve shut?}
  - gas: {channel: AT-1, to: clean}
  - hold_s: 30
  - test: {id: T-2, title: Inhibit of the kiln door, proves: "flag/AT-1.inhibit: comes"}
  - inhibit: AT-1
  - hold_s: 20
  - uninhibit: AT-1
  - hold_s: 20
  - test: {id: T-3, title: The kiln door in fault, proves: "flag/AT-1.fault: comes"}
  - fault: AT-1
  - hold_s: 20
  - fault_clear: AT-1
  - hold_s: 20
"""
EQUIPMENT = """
gaswitness_equipment: 1
tester: {name: Ada Brook, company: Lime & Sons}
witness: {name: Odo Marsh, initials: OMM}
instruments: [{name: Stop watch, maker_number: S-77, certificate: C-1, due: 2099-01-01}]
gases:
  - {gas: CO, composition: 50 ppm CO in air, cylinder: "4", certificate: G-9, expires: 2099-01-01}
"""


class People:
    """Does at the served panel what the program asks for, and types what a person would."""

    def __init__(self, arguments, control):
        self.terminal = pexpect.spawn(
            sys.executable, ["-c", PROGRAM, *arguments], encoding="utf-8", timeout=60
        )
        self.terminal.setwinsize(50, 120)
        self.control = control

    def reads(self, *patterns):
        """Wait for the first of them; which it was."""
        return self.terminal.expect(list(patterns))

    def types(self, line):
        self.terminal.sendline(line)

    def begins(self, test):
        self.reads(rf"Test {test} \(")
        self.reads(r"Enter = begin")

    def steps(self, *numbers, look="y"):
        """Do the steps as each is asked for."""
        for number in numbers:
            self.reads(rf"Step {number} of \d+: ")
            asked = self.reads(r"Enter = done", r"y = yes")
            if asked == 1:
                self.types(look)
                continue
            tell_panel("127.0.0.1", self.control, Telling(steps=(number,)))
            self.reads("The panel shows it")

    def confirms(self, then):
        """Enter until what comes then is shown: the first one, if it follows hard upon what the
        panel showed by itself, is taken for the answer to that."""
        self.reads("Enter = done")
        self.types("")
        while self.reads(then, "Enter = done"):
            self.types("")

    def ends(self):
        """The exit code, and what was shown last."""
        shown = self.terminal.read()
        self.terminal.close()
        return self.terminal.exitstatus, shown


@pytest.fixture
def panel(tmp_path):
    """A served panel with the plan: its link, and the port of its control channel."""
    (tmp_path / "site.yaml").write_text(SITE)
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "equipment.yaml").write_text(EQUIPMENT)
    arguments = ["serve", str(tmp_path / "site.yaml"), "--listen", "127.0.0.1:0"]
    arguments += ["--script", str(tmp_path / "plan.yaml"), "--speed", SPEED]
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *arguments], stdout=subprocess.PIPE, text=True, bufsize=1
    )
    lines = []
    while not (lines and lines[-1].startswith("speed")):
        lines.append(process.stdout.readline())
        assert lines[-1], lines
    link = next(one.removeprefix("listening on ").strip() for one in lines if "listening" in one)
    control = int(re.search(r"control on tcp://[^:]+:(\d+)", "".join(lines))[1])
    yield link, control
    process.kill()
    process.wait()
    process.stdout.close()


def entries(record, kind):
    with sqlite3.connect(record) as db:
        rows = db.execute("SELECT body FROM entry WHERE kind = ? ORDER BY seq", (kind,))
        return [json.loads(body) for (body,) in rows]


def verdict_of(folder, name, verdict_id):
    found = json.loads((folder / name).read_text())["verdicts"]
    return next(one["verdict"] for one in found if one["id"] == verdict_id)


# One run from its first test to the second issue of its record: each part needs the one before.
def test_people_sign_leave_out_repeat_stop_resume_and_retest(panel, tmp_path):  # noqa: PLR0915
    link, control = panel
    site, out = str(tmp_path / "site.yaml"), tmp_path / "run"
    photo = tmp_path / "valve.jpg"
    photo.write_bytes(b"\xff\xd8 not much of a picture")
    equipment = ["--equipment", str(tmp_path / "equipment.yaml")]
    begun = ["witness", site, "--link", link, "--plan", str(tmp_path / "plan.yaml")]

    people = People([*begun, *equipment, "--out", str(out)], control)
    people.reads("Test T-1 ")
    people.reads("Gas: CO to .* ppm at AT-1")
    people.reads("50 ppm CO in air, certificate G-9")
    people.reads("Will move: V1 .Fuel valve., valve")
    people.reads("Enter = begin")
    people.types("?")
    people.reads("a deviation for the punch list")
    people.types("n wind from the west")
    people.reads("Enter = begin")
    people.types("")
    people.steps(2, 4, 5)
    people.reads("So far proven: 2 of 2")
    people.reads("initials of tester")
    people.types(f"a {photo} the valve, shut")
    people.reads("kept in the record")
    people.reads("initials of tester")
    people.types("d B the lamp of the valve is dark")
    people.reads("Deviation 1 is on the punch list")
    people.reads("initials of tester")
    people.types("ab om")
    people.reads("OM is not OMM, the initials of Odo Marsh")
    people.reads("initials of tester")
    people.types("ab om")

    people.begins("T-2")
    people.types("s no key to the cabinet")
    people.begins("T-3")
    people.types("")
    people.steps(13, 15)
    people.reads("So far proven: 1 of 1")
    people.types("r")
    people.begins("T-3")
    people.types("")
    people.steps(13)
    people.reads(r"Step 15 of \d+: ")
    people.reads("Enter = done")
    people.types("q lunch")
    code, shown = people.ends()
    assert code == 3, shown
    assert "not at rest" in shown
    assert "Mend the sensor fault of AT-1" in shown

    record = out / "run.sqlite"
    assert [one["text"] for one in entries(record, "deviation")] == [
        "the lamp of the valve is dark"
    ]
    assert entries(record, "attachment")[0]["words"] == "the valve, shut"
    assert [(one["test"], one["role"], one["initials"]) for one in entries(record, "initials")] == [
        ("T-1", "tester", "AB"),
        ("T-1", "witness", "OM"),
    ]
    assert [one["name"] for one in entries(record, "people")] == ["Ada Brook", "Odo Marsh"]
    assert entries(record, "test_gas")[0]["expires"] == "2099-01-01"

    # Who takes part, and with which gas, is known from the record.
    people = People(["witness", site, "--resume", str(out)], control)
    people.reads("Back to rest, 1 of 1: Mend the sensor fault of AT-1")
    people.reads("Enter = done")
    tell_panel("127.0.0.1", control, Telling(rest=True))
    people.reads("The panel shows it")
    people.reads("Back to rest, 1 of 2: Press reset")
    people.confirms("Back to rest, 2 of 2: Press accept")
    people.confirms("Test T-3 ")
    people.reads("Enter = begin")
    people.types("")
    people.steps(13, 15)
    people.reads("So far proven")
    people.reads("initials of tester .AB. and witness .OMM.")
    people.types("ab omm")
    code, shown = people.ends()
    assert "Evidence: " in shown
    signed = [(one["test"], one["attempt"], one["initials"]) for one in entries(record, "initials")]
    assert signed[-2:] == [("T-3", 3, "AB"), ("T-3", 3, "OMM")]
    ends = [(one["id"], one["attempt"], one["how"]) for one in entries(record, "test_end")]
    assert ends == [
        ("T-1", 1, "done"),
        ("T-2", 1, "skipped"),
        ("T-3", 1, "done"),
        ("T-3", 2, "stopped"),
        ("T-3", 3, "done"),
    ]
    assert verdict_of(out, "verdicts.json", "flag/AT-1.fault") == "proven"
    assert verdict_of(out, "verdicts.json", "flag/AT-1.inhibit") == "not_run"

    people = People(["witness", site, "--retest", str(out), *equipment], control)
    people.begins("T-2")
    people.types("")
    people.steps(8, 10)
    people.reads("So far proven: 1 of 1")
    people.types("ab omm")
    people.ends()
    second = out / "run-2.sqlite"
    assert [one["id"] for one in entries(second, "test")] == ["T-2"]
    assert entries(second, "run")[0]["options"]["issue"] == "2"
    assert verdict_of(out, "verdicts-2.json", "flag/AT-1.inhibit") == "proven"
    assert ET.parse(out / "junit-2.xml").getroot().tag == "testsuites"

    for one in (record, second):
        checked = subprocess.run(
            [sys.executable, "-c", PROGRAM, "verify", str(one)],
            check=False,
            capture_output=True,
            text=True,
        )
        assert checked.returncode == 0, checked.stdout
