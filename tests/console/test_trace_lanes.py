"""Lanes of a trace for what has a life: exposure, the bus, the panel's stages, its supply."""

import csv
import io
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from gaswitness.cli import run

SITES = Path(__file__).parents[2] / "scenarios" / "sites"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def drawn(tmp_path, monkeypatch):
    """Texts of the picture, its bars by label as (state, from, to), and the table's rows."""
    monkeypatch.chdir(tmp_path)

    def draw(site, script):
        command = ["trace", str(SITES / site), "--script", script, "-o", "t.svg", "--csv", "t.csv"]
        assert run(command) == 0
        whole = (tmp_path / "t.svg").read_text(encoding="utf-8")
        root = ElementTree.fromstring(whole)
        texts = [one.text for one in root.iter(f"{SVG}text")]
        titles = [one.text for one in root.iter(f"{SVG}title")]
        bars = [found.groups() for one in titles if (found := BAR.match(one))]
        rows = list(csv.DictReader(io.StringIO((tmp_path / "t.csv").read_text("utf-8"))))
        return texts, bars, rows

    return draw


BAR = re.compile(r"(.*) (?:on|off), ([0-9:.]+) to ([0-9:.]+)$")


def seconds(text):
    found = 0.0
    for part in text.split(":"):
        found = 60 * found + float(part)
    return found


def spans(bars, label):
    return [(seconds(begun), seconds(ended)) for name, begun, ended in bars if name == label]


def test_a_shift_is_drawn_with_its_averages_and_the_twa_alarm(drawn):
    texts, bars, rows = drawn("coldbrook", "30-shift")
    for said in ("AT-31 exposure, CO", "STEL 100 ppm", "TWA 20 ppm", "average of 15 min"):
        assert said in texts
    assert spans(bars, "AT-31 STEL") == []
    ((begun, ended),) = spans(bars, "AT-31 TWA")
    assert 5.5 * 3600 < begun < 6 * 3600
    assert ended == pytest.approx(28910, abs=1)
    averages = [float(row["AT-31.TWA.average [ppm]"]) for row in rows]
    on = [row["AT-31.TWA"] == "1" for row in rows]
    assert averages == sorted(averages)
    assert all(now == (average >= 20 - 1e-9) for now, average in zip(on, averages, strict=True))
    # The sum of the shift over 8 h, as EH40/2005 computes it: from the readings in the table.
    readings = [float(row["AT-31.reading [ppm]"]) for row in rows]
    times = [float(row["time_s"]) for row in rows]
    total = sum(
        max(0.0, reading) * (after - before)
        for reading, before, after in zip(readings[1:], times, times[1:], strict=False)
    )
    assert averages[-1] == pytest.approx(total / (8 * 3600), rel=0.01)


def test_channels_whose_averages_and_gas_hardly_move_are_not_drawn(drawn):
    texts, _, _ = drawn("coldbrook", "10-leak-and-fan")
    assert "AT-21 Boiler room, above the gas train, CH4" in texts
    assert not any(one.startswith(("AT-11", "AT-12", "AT-31")) for one in texts)
    assert "Not drawn: AT-11, AT-12, AT-31, F1, K1." in texts


def test_the_stages_of_a_power_up_are_lanes_one_after_the_other(drawn):
    texts, bars, rows = drawn("saltmarsh", "10-power-up")
    stages = ["relay pulse", "self-test", "discovery offered", "warm-up"]
    # The second power-up is at 1:40; 1, 4, 10 and 30 s by the site file and the defaults.
    ends = [100, 101, 105, 115, 145]
    for number, stage in enumerate(stages):
        assert stage in texts
        _, (begun, ended) = [one for one in spans(bars, stage) if one[1] != one[0]][:2]
        assert begun == pytest.approx(ends[number], abs=0.6)
        assert ended == pytest.approx(ends[number + 1], abs=0.6)
    assert "discovery" not in texts
    ((begun, ended),) = spans(bars, "on battery")
    assert (begun, ended) == pytest.approx((50, 70), abs=0.6)
    pulsed = [row for row in rows if row["panel.relay_pulse"] == "1"]
    assert all(row[f"{tag}.energised"] == "1" for row in pulsed[1:] for tag in ("K1", "K2", "S1"))


def test_a_discovery_shows_what_is_missing_and_what_is_wrong(drawn):
    texts, bars, _ = drawn("saltmarsh", "20-discovery")
    assert len(spans(bars, "discovery")) == 2
    for lane in ("AT-2 missing", "AT-2 comms fault", "AT-3 wrong type", "setup differs"):
        assert lane in texts
        assert len(spans(bars, lane)) == 1
    assert not any(one.startswith("AT-1") for one in texts)


def test_a_broken_bus_is_drawn_without_the_power_up_before_it(drawn):
    texts, bars, rows = drawn("saltmarsh", "30-bus-break")
    assert len(spans(bars, "bus fault")) == 2
    assert [len(spans(bars, f"AT-{n} comms fault")) for n in (1, 2, 3)] == [1, 1, 2]
    assert "self-test: no coil is on; a normally energised output acts, too." in texts
    assert "relay pulse" not in texts
    assert not any("K3" in one for one in texts if not one.startswith("Not drawn"))
    assert {row["AT-1.comms_fault"] for row in rows} == {"0", "1"}


def test_a_restart_by_the_watchdog_is_a_lane(drawn, tmp_path):
    path = tmp_path / "hang.yaml"
    path.write_text(
        "gaswitness_script: 1\ntitle: Hang\nsteps:\n  - hold_s: 50\n  - watchdog: restart\n"
        "  - hold_s: 60\n  - press: reset\n  - hold_s: 5\n",
        encoding="utf-8",
    )
    texts, bars, _ = drawn("saltmarsh", str(path))
    assert "restarted by watchdog" in texts
    ((begun, ended),) = spans(bars, "restarted by watchdog")
    assert begun == pytest.approx(52, abs=0.6)  # restart_s: 2 s
    assert ended == pytest.approx(110, abs=1.1)


def test_a_brown_out_shows_the_voltage_that_falls_below_what_the_detector_needs(drawn):
    texts, bars, rows = drawn("saltmarsh", "40-brown-out")
    assert "Voltage at AT-3" in texts
    assert "least 15 V" in texts
    ((begun, ended),) = spans(bars, "AT-3 comms fault")
    served = [row for row in rows if row["panel.relay_pulse"] == "0"]
    low = [float(row["time_s"]) for row in served if float(row["AT-3.supply [V]"]) < 15]
    assert min(low) == pytest.approx(begun, abs=1.6)
    assert max(low) == pytest.approx(ended, abs=1.6)
    # At rest by hand: 3 detectors take 2.3 W, 96 mA at 24 V; 180, 90 and 60 m of 1.5 mm2 of class 2
    # have 2 x 12.1 ohm/km: 4.356, 2.178 and 1.452 ohm. 24 - 4.356 x 0.0975 - 2.178 x 0.0553
    # - 1.452 x 0.0426 = 23.39 V.
    assert float(rows[-1]["AT-3.supply [V]"]) == pytest.approx(23.39, abs=0.02)


def test_a_bus_that_keeps_its_voltage_has_no_picture_of_it(drawn):
    for script in ("10-power-up", "30-bus-break"):
        texts, _, _ = drawn("saltmarsh", script)
        assert not any(one.startswith("Voltage at") for one in texts)
