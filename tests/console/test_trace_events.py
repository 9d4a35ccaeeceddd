"""`gaswitness trace --events` as typed: the log of a script, one row an event."""

import csv
import io
from pathlib import Path

import pytest

from gaswitness.cli import run

LARKMOOR = Path(__file__).parents[2] / "scenarios" / "sites" / "larkmoor" / "site.yaml"


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def told(path):
    return [(row["subject"], row["what"]) for row in rows(path)]


def test_the_log_of_a_script_is_written(here, capsys):
    asked = ["trace", str(LARKMOOR), "--script", "30-output-test", "--events", "log.csv"]
    assert run(asked) == 0
    assert "; log.csv" in capsys.readouterr().out
    assert told(here / "log.csv")[:3] == [
        ("panel", "power on"),
        ("panel", "warm_up on"),
        ("panel", "warm_up off"),
    ]
    about_fan = [what for subject, what in told(here / "log.csv") if subject == "F1"]
    assert about_fan[:4] == ["forced on", "active on", "active off", "forced off"]
    found = rows(here / "log.csv")
    assert [int(row["event"]) for row in found] == list(range(1, len(found) + 1))
    first = next(row for row in found if row["subject"] == "F1")
    assert (first["called"], first["code"], first["subject_code"]) == (
        "F1 (Roof fan)",
        "23",
        "2004",
    )
    times = [float(row["time_s"]) for row in found]
    assert times == sorted(times)


def test_a_site_that_keeps_no_log_has_one_told_all_the_same(here):
    assert run(["trace", "--script", "80-mute", "--events", "log.csv"]) == 0
    assert ("panel", "mute") in told(here / "log.csv")


def test_events_before_the_beginning_keep_their_numbers(here):
    asked = ["trace", str(LARKMOOR), "--script", "20-pulses", "--events", "log.csv"]
    assert run([*asked, "--from", "100", "--until", "300"]) == 0
    found = rows(here / "log.csv")
    assert float(found[0]["time_s"]) >= 100
    assert int(found[0]["event"]) > 10
    assert float(found[-1]["time_s"]) <= 300


def test_another_file_is_not_written_over_but_an_earlier_log_is(here, capsys):
    (here / "log.csv").write_text("precious\n", encoding="utf-8")
    asked = ["trace", str(LARKMOOR), "--script", "30-output-test", "--events", "log.csv"]
    assert run(asked) != 0
    assert "log.csv: is there, and no earlier trace" in capsys.readouterr().err
    assert (here / "log.csv").read_text(encoding="utf-8") == "precious\n"
    (here / "log.csv").unlink()
    assert run(asked) == 0
    assert run(asked) == 0
