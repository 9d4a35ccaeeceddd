"""One thing wrong with a function of the panel: it is failed where it is, on the library's site for
such functions. The panel differs in its copy of the site file, or in how it follows a rule.
"""

from pathlib import Path

import panel_changes as changes
import pytest

from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.first_up import FirstUp
from gaswitness_simulator.output import OutputState
from gaswitness_sitefile.load import load_site

LOADED = load_site(Path(__file__).parents[2] / "scenarios" / "sites" / "larkmoor" / "site.yaml")
SCRIPTS = {path.name[:2]: load_script(path, LOADED.site) for path in site_scripts(LOADED.path)}


def failed(number, panel_change=lambda site: site):
    options = RehearsalOptions(seed=5, panel_site=panel_change(LOADED.site))
    verdicts = rehearse(LOADED, [SCRIPTS[number]], options).verdicts
    return {verdict.id: verdict for verdict in verdicts if verdict.outcome.value == "failed"}


@pytest.mark.parametrize(
    ("change", "script", "blamed", "says"),
    [
        (
            changes.output("K3", pulse_s=12.0),
            "20",
            {"cell/AT-1.A2 > K3", "cell/AT-2.A2 > K3", "cell/AT-3.A2 > K3"},
            "allowed is 7.2 to 9.3 s",
        ),
        (
            changes.output("K3", pulse_s=5.0),
            "20",
            {"cell/AT-1.A2 > K3", "cell/AT-2.A2 > K3", "cell/AT-3.A2 > K3"},
            "allowed is 7.2 to 9.3 s",
        ),
        (
            changes.output("S1", pulse_s=None),
            "20",
            {"cell/AT-1.A1 > S1", "cell/AT-2.A1 > S1", "cell/AT-3.A1 > S1"},
            "S1 acted for",
        ),
        (
            changes.output("F1", minimum_on_s=None),
            "20",
            {"cell/any.A1 > F1"},
            "allowed is 36 to 44.5 s",
        ),
        (
            changes.output("F1", minimum_on_s=70.0),
            "20",
            {"cell/any.A1 > F1"},
            "",
        ),
        (
            changes.point("First bay in alarm", codes={0: "none", 1: "AT-2", 2: "AT-1", 3: "AT-3"}),
            "10",
            {"flag/AT-1.first_up", "flag/AT-2.first_up"},
            "that its alarm was the first",
        ),
        (
            changes.point("AT-3 first up", shows="AT-2.first_up"),
            "10",
            {"flag/AT-3.first_up"},
            "that its alarm was the first",
        ),
        (
            changes.point("F1 forced", shows="S1.forced"),
            "30",
            {"flag/F1.forced"},
            "that somebody forces it",
        ),
    ],
)  # fmt: skip
def test_a_panel_of_another_site_file_is_failed(change, script, blamed, says):
    found = failed(script, change)
    assert blamed <= set(found), list(found)
    for name in blamed:
        assert any(says in aspect.because for aspect in found[name].aspects), found[name]


def latest(self, channels, *, unaccepted, reset):
    """The last in alarm takes the place of the first."""
    before = self.tag
    standing = [tag for tag, one in channels.items() if one.in_alarm]
    known = getattr(latest, "known", [])
    came = [tag for tag in standing if tag not in known]
    latest.known = standing
    self.tag = came[0] if came else before if standing or unaccepted else ""
    return tuple(tag for tag in (before, self.tag) if tag)


def own_alarm(self, channels, *, unaccepted, reset):
    """It goes with its own alarm, and the next one that stands takes its place."""
    before = self.tag
    standing = [tag for tag, one in channels.items() if one.in_alarm]
    self.tag = before if before in standing else standing[0] if standing else ""
    return tuple(tag for tag in (before, self.tag) if tag)


def by_accept(self, channels, *, unaccepted, reset):
    """Accepting clears it with alarms still there."""
    before = self.tag
    if not before and unaccepted:
        self.tag = next((tag for tag, one in channels.items() if one.in_alarm), "")
    elif not unaccepted:
        self.tag = ""
    return tuple(tag for tag in (before, self.tag) if tag)


def for_ever(self, channels, *, unaccepted, reset):
    """Nothing clears it."""
    if self.tag:
        return ()
    self.tag = next((tag for tag, one in channels.items() if one.in_alarm), "")
    return (self.tag,) if self.tag else ()


def never(self, channels, *, unaccepted, reset):
    return ()


@pytest.mark.parametrize(
    ("follow", "blamed"),
    [
        (latest, "flag/AT-2.first_up"),
        (own_alarm, "flag/AT-2.first_up"),
        (by_accept, "flag/AT-2.first_up"),
        (for_ever, "flag/AT-3.first_up"),
        (never, "flag/AT-2.first_up"),
    ],
)
def test_a_wrong_first_up_is_failed(monkeypatch, follow, blamed):
    latest.known = []
    monkeypatch.setattr(FirstUp, "follow", follow)
    found = failed("10")
    assert blamed in found
    assert {name.partition("/")[0] for name in found} <= {"flag", "expectation"}


def output_follow(change):
    """A panel whose outputs follow another rule: `change` gets the output, before and after."""
    right = OutputState.follow

    def follow(self, at_s, **scan):
        right(self, at_s, **scan)
        change(self)
        return True

    return follow


def disobeys(output):
    output.active = False if output.forced is not None else output.active


def drags_another(output):
    """Forcing F1 drives B1, too."""
    if output.facts.tag == "F1":
        drags_another.forced = output.forced
    if output.facts.tag == "B1":
        output.active |= bool(drags_another.forced)


@pytest.mark.parametrize(
    ("change", "blamed", "others"),
    [
        (disobeys, {"output/F1", "output/K1", "output/B2"}, True),
        (drags_another, {"output/B1"}, False),
    ],
)
def test_a_wrong_output_test_is_failed(monkeypatch, change, blamed, others):
    drags_another.forced = None
    monkeypatch.setattr(OutputState, "follow", output_follow(change))
    found = failed("30")
    assert blamed <= set(found)
    if not others:
        assert {name for name in found if name.startswith(("output/", "cell/"))} == blamed


def loud(self, at_s):
    """Test and calibration are shown, and the channel goes on driving."""
    RIGHT_MODES(self, at_s)
    self.silent = self.inhibited


def short_calibration(self, at_s):
    """A calibration is over in half its time."""
    if self.calibrated_s is not None and not getattr(short_calibration, self.facts.tag, None):
        setattr(short_calibration, self.facts.tag, True)
        self.calibrated_s -= (self.calibrated_s - at_s) / 2
    RIGHT_MODES(self, at_s)


RIGHT_MODES = ChannelState._follow_modes


@pytest.mark.parametrize(
    ("modes", "blamed"),
    [
        (loud, {"output/K2", "output/F1", "output/K3", "output/S1", "output/B1"}),
        (short_calibration, {"flag/AT-1.calibration", "flag/AT-2.calibration"}),
    ],
)
def test_wrong_tests_and_calibrations_are_failed(monkeypatch, modes, blamed):
    monkeypatch.setattr(ChannelState, "_follow_modes", modes)
    assert blamed <= set(failed("40"))


@pytest.mark.parametrize("number", SCRIPTS)
def test_nothing_wrong_is_nothing_failed(number):
    assert failed(number) == {}
