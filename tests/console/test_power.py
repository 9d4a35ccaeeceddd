"""`gaswitness power` as a user types it: the table, the worst device, the words, the exit codes."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

# 200 m of 1.5 mm2, class 2, at 20 °C: 2 x 12.1 ohm/km x 0.2 km = 4.84 ohm to AT-1, as much again
# to AT-2; 0.1 A each at rest, and 0.5 A more for the sounder at AT-2.
SITE = """gaswitness_site: 1
panel: {tag: GDP-9}
channels:
  - {tag: AT-1, gas: CH4, unit: "%LEL", range: [0, 100], levels: {A1: {setpoint: 20}}}
  - {tag: AT-2, gas: CH4, unit: "%LEL", range: [0, 100], levels: {A1: {setpoint: 20}}}
outputs:
  - {tag: S1, kind: sounder, at: AT-2}
matrix:
  - {cause: any.A1, effect: S1, response_s: 3}
points:
  - {name: r, table: input register, address: 0, type: float32, shows: AT-1.reading}
bus:
  supply_v: 24
  cable: {cross_section_mm2: 1.5, temperature_c: 20}
  devices:
    - {tag: AT-1, address: 1, draws: {current_a: 0.1}, least_v: 15}
    - {tag: AT-2, address: 2, draws: {current_a: 0.1}, least_v: 15}
  segments:
    - {from: panel, to: AT-1, length_m: 200}
    - {from: AT-1, to: AT-2, length_m: 200}
  terminator: AT-2
  outputs:
    - {output: S1, draws: {current_a: 0.5}}
  panel: {rest_a: 0.3}
"""


def power(site: object, here: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-c", "from gaswitness.cli import main; main()", "power", str(site)],
        cwd=here,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONIOENCODING": "utf-8", "COLUMNS": "80"},
        timeout=60,
        check=False,
    )
    assert "Traceback" not in done.stderr
    assert max((len(line) for line in done.stdout.splitlines()), default=0) <= 80
    return done


@pytest.fixture
def told(tmp_path):
    """The exit code, and what is said, with a line for each line."""

    def run(*changes):
        text = SITE
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
            text = text.replace(old, new)
        (tmp_path / "site.yaml").write_text(text, "utf-8")
        done = power("site.yaml", tmp_path)
        return done.returncode, done.stdout + done.stderr

    return run


def cells(text, first):
    """The rest of the line that begins with this cell."""
    return next(line.split()[1:] for line in text.splitlines() if line.split()[:1] == [first])


def test_a_bus_that_carries_its_full_alarm_is_enough(told):
    """By hand: 24 - 4.84 x 0.2 = 23.032, - 4.84 x 0.1 = 22.548 V at rest; 24 - 4.84 x 0.7 = 20.612,
    - 4.84 x 0.6 = 17.708 V in full alarm."""
    code, text = told()

    assert code == 0
    devices = text.partition("Volts at the devices")[2]
    assert cells(devices, "AT-1") == ["1", "15", "23.03", "20.61", "5.61"]
    assert cells(devices, "AT-2") == ["2", "15", "22.55", "17.71", "2.71"]
    assert cells(devices, "S1") == ["15", "-", "17.71", "2.71"]
    assert "ENOUGH, by what the site file says: nothing drops out; least margin 2.71 V" in text
    assert "Caution: This is arithmetic" in text
    assert "\x1b" not in text


def test_the_cable_is_listed_segment_by_segment(told):
    _, text = told()

    cable = text.partition("Volts at the devices")[0]
    assert cells(cable, "panel") == ["AT-1", "200", "1.5", "2", "20", "4.840", "0.200", "0.700"]
    assert cells(cable, "AT-1") == ["AT-2", "200", "1.5", "2", "20", "4.840", "0.100", "0.600"]


def test_what_drops_out_is_told_with_1(told):
    """By hand: AT-2 at 17.708 V works from 18 only; its sounder goes with it."""
    code, text = told(("current_a: 0.1}, least_v: 15}\n  seg", "current_a: 0.1}}\n  seg"))

    assert code == 1
    assert "Drops out in full alarm on mains\n  1. AT-2: has 17.71 V, works from 18 V" in text
    assert ", and with it S1" in text
    assert "0.29 V BELOW the 18 V" in " ".join(text.split())
    assert text.splitlines()[-1] == "TOO SMALL: AT-2, S1 drop out"
    assert cells(text.partition("Volts")[2], "AT-2")[-2:] == ["drops", "out"]


def test_a_collapse_is_told_and_no_crash(told):
    code, text = told(("current_a: 0.5}", "power_w: 60}"))

    assert code == 1
    assert "1. S1: the voltage collapses (no working point); works from 15 V" not in text
    assert "1. AT-2: the voltage collapses (no working point); works from 15 V" in text
    assert "AT-2, in full alarm on mains: the voltage collapses" in text


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("limit_a: 0.69", "0.700 A, MORE THAN its limit of 0.69 A"),
        ("spur: {fuse_a: 0.2}", "Spur: 0.22 A MORE THAN the 0.2 A fuse at 230 V"),
        (
            "battery: {capacity_ah: 15, regulated: true, efficiency: 1}",
            "Needed: 16.09 Ah = 1.25 x (24 h x 0.500 A + 1.75 x 0.5 h x 1.000 A)",
        ),
    ],
)
def test_a_supply_that_is_too_small_is_told_with_1(told, more, words):
    """By hand: 24 V x 1.0 A / (0.8 x 0.6 x 230 V) = 0.217 A; 1.25 (12 + 0.875) = 16.09 Ah."""
    code, text = told(("  supply_v: 24\n", f"  supply_v: 24\n  {more}\n"))

    assert code == 1
    assert words in " ".join(text.split())
    assert text.splitlines()[-1].startswith("TOO SMALL: the ")


def test_a_battery_says_how_long_it_stands_by(told):
    """By hand: (20 / 1.25 - 0.875) / 0.5 = 30.25 h."""
    more = "battery: {capacity_ah: 20, regulated: true, efficiency: 1}"
    code, text = told(("  supply_v: 24\n", f"  supply_v: 24\n  {more}\n"))

    assert code == 0
    assert "Fitted: 20 Ah, which stands by for 30.2 h and then carries 30 min of alarm" in text
    assert "annex D, from memory. It is for fire alarms" in " ".join(text.split())


def test_little_to_spare_is_a_warning_and_no_failure(told):
    code, text = told(("  supply_v: 24\n", "  supply_v: 24\n  margin_v: 3\n"))

    assert code == 0
    assert "2.71 V to spare in full alarm on mains, less than the 3 V wanted" in text


def test_rules_of_the_bus_are_among_the_warnings(told):
    code, text = told(("  terminator: AT-2\n", ""))

    assert code == 0
    assert "no device carries the line terminator; the bus ends at AT-2 [GW601]" in text


def test_a_site_without_a_bus_cannot_be_judged(told):
    code, text = told((SITE[SITE.index("bus:") :], ""))

    assert code == 3
    assert "the site file has no section 'bus'\nNOT JUDGED: state supply_v" in text


def test_a_load_that_nobody_states_cannot_be_judged(told):
    code, text = told(("  outputs:\n    - {output: S1, draws: {current_a: 0.5}}\n", ""))

    assert code == 3
    assert "does not say what S1 draws (bus.outputs)" in text
    assert "[GW604]" in text


def test_a_wrong_bus_is_told_with_its_line(told):
    code, text = told(("to: AT-2, length_m: 200", "to: AT-2, length_m: 200 m"))

    assert code == 2
    assert text.startswith("site.yaml:20:30: length_m must be a number, found '200 m'")


def test_the_demo_carries_its_full_alarm(tmp_path):
    done = power("demo", tmp_path)

    assert done.returncode == 0
    assert "\nWarnings\n" not in done.stdout
    assert "ENOUGH, by what the site file says: nothing drops out" in done.stdout
    assert not re.search(r" $", done.stdout, flags=re.M)
