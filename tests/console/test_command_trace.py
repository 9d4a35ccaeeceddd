"""`gaswitness trace` as typed: what it writes, what it refuses."""

import csv
import io
import math
import re
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from gaswitness.cli import group, run
from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.load import load_site

SVG = "{http://www.w3.org/2000/svg}"
SCRIPTS = demo_site_path().parent / "scripts"


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def texts(path):
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    return [one.text for one in root.iter(f"{SVG}text")]


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def test_the_demo_is_drawn_under_a_name_of_its_own(here):
    assert run(["trace", "--script", "00-first-look"]) == 0
    found = texts(here / "trace-GDP-1-00-first-look.svg")
    assert "GDP-1: First look" in found
    for said in (
        "AT-201 Boiler house, burner 1, CH4",
        "A1 10 %LEL rising",
        "A2 20 %LEL rising",
        "AT-201 A1",
        "AT-301 fault",
        "V1 Boiler gas valve",
        "warm-up",
        "Press accept at the panel",
        "panel time since the first power-up, in min:s",
    ):
        assert said in found


def test_the_same_run_is_the_same_file(here):
    for name in ("a.svg", "b.svg"):
        assert run(["trace", "--script", "80-mute", "-o", name]) == 0
    assert (here / "a.svg").read_bytes() == (here / "b.svg").read_bytes()


def test_a_valve_that_closes_without_supply_is_drawn_so(here):
    assert run(["trace", "--script", "90-power", "-o", "p.svg"]) == 0
    found = texts(here / "p.svg")
    assert "power off" in found
    assert found.count("coil off") == 5  # K1, K3, K4, V1, V2
    assert "S1 muted" in found
    assert "coil off: a normally energised output without supply acts, too." in found


def test_the_table_holds_what_the_panel_shows(here):
    assert run(["trace", "--script", "50-faults", "-o", "f.svg", "--csv", "f.csv"]) == 0
    site = load_site(demo_site_path()).site
    steps = list(load_script(SCRIPTS / "50-faults.yaml", site).steps)
    panel = VirtualPanel(site)
    compared = gaps = 0
    last_s = -1.0
    for row in rows(here / "f.csv"):
        at_s = float(row["time_s"])
        while steps and steps[0].at_s < at_s:
            step = steps.pop(0)
            if (stimulus := stimulus_of(step)) is not None:
                panel.apply(stimulus, step.at_s)
        if at_s == last_s:
            continue  # the second of two rows: after a step that this panel has yet to see
        last_s = at_s
        panel.advance(at_s)
        for tag, unit in (("AT-101", "ppm"), ("AT-301", "%LEL"), ("AT-601", "%vol")):
            said, shown = row[f"{tag}.reading [{unit}]"], panel.reading(tag)
            assert said == ("" if math.isnan(shown) else repr(shown))
            gaps += said == ""
        for fact in ("AT-104.A2", "AT-301.fault", "K1.energised", "panel.unaccepted"):
            assert row[fact] == ("1" if panel.fact(fact) else "0")
        compared += 1
    assert compared > 500
    assert gaps > 10


def test_an_alarm_of_one_scan_in_eight_hours_is_in_picture_and_table(here):
    (here / "whiff.yaml").write_text(
        "gaswitness_script: 1\ntitle: A whiff\nsteps:\n"
        "  - hold_s: 14000\n  - gas: {channel: AT-301, to: 30}\n  - hold_s: 1.9\n"
        "  - gas: {channel: AT-301, to: clean}\n  - hold_s: 14798\n",
        encoding="utf-8",
    )
    assert run(["trace", "--script", "whiff.yaml", "-o", "w.svg", "--csv", "w.csv"]) == 0
    ons = [row for row in rows(here / "w.csv") if row["AT-301.A1"] == "1"]
    assert 1 <= len(ons) <= 4
    text = (here / "w.svg").read_text(encoding="utf-8")
    found = re.search(r"AT-301 A1 on, 3:53:2[0-9.]+ to 3:53:2[0-9.]+</title><rect ([^>]*)/>", text)
    assert found
    assert 'width="1.5"' in found[1]
    curves = re.findall(r"<title>reading</title><path d=\"([^\"]*)\"", text)
    tops = [min(float(y) for y in re.findall(r"[ML][0-9.]+ ([0-9.]+)", d)) for d in curves]
    lows = [max(float(y) for y in re.findall(r"[ML][0-9.]+ ([0-9.]+)", d)) for d in curves]
    assert max(low - top for low, top in zip(lows, tops, strict=True)) > 30


def test_only_what_was_chosen_is_drawn_and_the_rest_is_named(here):
    command = ["trace", "--script", "50-faults", "-o", "c.svg"]
    assert run([*command, "--channel", "AT-104", "--output", "K4"]) == 0
    found = texts(here / "c.svg")
    assert "AT-104 A1" in found
    assert "AT-101 A1" not in found
    assert "K1 Common fault" not in found
    assert any(one.startswith("Not drawn: AT-101, AT-102, AT-103, AT-201") for one in found)
    assert "Not told: 68 steps at channels that are not drawn." in found


def test_a_part_of_the_time_is_drawn_alone(here):
    command = ["trace", "--script", "00-first-look", "-o", "z.svg", "--csv", "z.csv"]
    assert run([*command, "--from", "65", "--until", "72"]) == 0
    table = rows(here / "z.csv")
    assert (float(table[0]["time_s"]), float(table[-1]["time_s"])) == (65.0, 72.0)
    assert "1:05" in texts(here / "z.svg")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--script", "00-first-look", "--channel", "AT-20l"], "the site has no channel 'AT-20l'"),
        (["--script", "00-first-look", "--output", "V9"], "the site has no output 'V9'"),
        (["--script", "00-first-look", "--from", "500"], "would end at 176 s, not after it begins"),
        (["--script", "nowhere.yaml"], "nowhere.yaml"),
        ([], "Missing option '--script'"),
    ],
)
def test_wrong_use_is_exit_2_and_says_why(here, capsys, arguments, said):
    assert run(["trace", *arguments]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert list(here.iterdir()) == []


def test_a_file_that_is_no_earlier_trace_is_not_overwritten(here, capsys):
    (here / "points.csv").write_text("name,table\n", encoding="utf-8")
    (here / "logo.svg").write_text("<svg/>", encoding="utf-8")
    one = ["trace", "--script", "00-first-look"]
    assert run([*one, "-o", "t.svg", "--csv", "points.csv"]) == 2
    assert run([*one, "-o", "logo.svg"]) == 2
    assert "is there, and no earlier trace: name another file" in capsys.readouterr().err
    assert (here / "points.csv").read_text(encoding="utf-8") == "name,table\n"
    assert not (here / "t.svg").exists()
    assert run([*one, "-o", "t.svg", "--csv", "t.csv"]) == 0
    assert run([*one, "-o", "t.svg", "--csv", "t.csv"]) == 0


def test_a_folder_that_is_not_there_is_said(here, capsys):
    assert run(["trace", "--script", "00-first-look", "-o", "no/where.svg"]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_help_says_that_nothing_is_on_a_wire():
    done = CliRunner().invoke(group, ["trace", "--help"])
    assert "with nothing on a wire" in " ".join(done.output.split())
