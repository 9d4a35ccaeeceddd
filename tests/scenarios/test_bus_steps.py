"""Steps that change the bus, the mains and the panel's program; and the library's site for them."""

from pathlib import Path

import jsonschema
import pytest

from gaswitness_probe.applied import PanelUpset, PowerSet
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Window
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_probe.view import PanelView
from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.schema import script_schema
from gaswitness_scenarios.translate import Actions, stimulus_of
from gaswitness_simulator import stimulus_bus as sim
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.yaml_text import parse_yaml

SALTMARSH = Path(__file__).parents[2] / "scenarios" / "sites" / "saltmarsh" / "site.yaml"


@pytest.fixture(scope="module")
def loaded_site():
    return load_site(SALTMARSH)


@pytest.fixture
def load(tmp_path, loaded_site):
    def loaded(*steps, site=loaded_site.site):
        path = tmp_path / "script.yaml"
        lines = "\n".join(f"  - {step}" for step in steps)
        path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n{lines}\n", encoding="utf-8")
        jsonschema.validate(parse_yaml(path.read_text("utf-8"), "s").data, script_schema())
        return load_script(path, site)

    return loaded


STEPS = {
    "bus: {break: AT-2}": (
        sim.BusBreak("AT-2", on=True),
        "Open one wire of the bus cable to AT-2 (Wet well)",
    ),
    "bus: {short: AT-2}": (
        sim.BusShort("AT-2", on=True),
        "Short the two wires of the bus cable to AT-2 (Wet well)",
    ),
    "bus: {mend: AT-2}": (sim.BusMend("AT-2"), "Mend the bus cable to AT-2 (Wet well)"),
    "bus: {take_off: AT-1}": (
        sim.DeviceOff("AT-1", on=True),
        "Take AT-1 (Inlet) off its base",
    ),
    "bus: {put_back: AT-1}": (
        sim.DeviceOff("AT-1", on=False),
        "Put AT-1 (Inlet) back on its base",
    ),
    "bus: {wrong_type: AT-3}": (
        sim.DeviceType("AT-3", wrong=True),
        "Fit a detector of another type in the place of AT-3 (Screen room)",
    ),
    "bus: {right_type: AT-3}": (
        sim.DeviceType("AT-3", wrong=False),
        "Fit the right detector in the place of AT-3 (Screen room)",
    ),
    "bus: {address: {device: AT-3, to: 0}}": (
        sim.DeviceAddress("AT-3", 0),
        "Set AT-3 (Screen room) to address 0",
    ),
    "bus: {own_address: AT-3}": (
        sim.DeviceAddress("AT-3", None),
        "Set AT-3 (Screen room) to its own address",
    ),
    "bus: {swap_wires: AT-2}": (
        sim.WiresSwapped("AT-2"),
        "Swap the two wires of the bus at AT-2 (Wet well)",
    ),
    "bus: {terminator: off}": (sim.TerminatorOff(on=True), "Take the line terminator away"),
    "bus: {terminator: on}": (sim.TerminatorOff(on=False), "Fit the line terminator"),
    "bus: {noise_percent: 30}": (
        sim.BusNoise(30.0),
        "Noise spoils 30 % of the answers on the bus",
    ),
    "bus: {noise_percent: 0}": (sim.BusNoise(0.0), "End the noise on the bus"),
    "mains: off": (
        sim.Mains(on=False),
        "Switch the panel's mains off, the battery stays connected",
    ),
    "mains: on": (sim.Mains(on=True), "Switch the panel's mains on"),
    "press: discover": (
        sim.AskDiscovery(),
        "Ask the panel for a discovery while it offers one",
    ),
    "watchdog: restart": (
        sim.WatchdogRestart(),
        "The panel's program hangs, and its watchdog restarts it",
    ),
}


@pytest.mark.parametrize("written", STEPS)
def test_a_step_says_what_to_do_and_does_it(load, written):
    (step,) = load(written).steps
    assert (stimulus_of(step), step.words) == STEPS[written]


REFUSED = {
    "bus: {break: JB-9}": "no cable of the bus leads to 'JB-9'",
    "bus: {take_off: AT-9}": "no device of the bus is called 'AT-9'",
    "bus: {address: {device: AT-9, to: 1}}": "no device of the bus is called 'AT-9'",
}


@pytest.mark.parametrize("written", REFUSED)
def test_what_the_bus_does_not_have_is_refused_with_the_place(load, written):
    with pytest.raises(ScriptError) as caught:
        load(written)
    assert REFUSED[written] in str(caught.value)
    assert "script.yaml:4" in str(caught.value)


def test_one_step_changes_one_thing_of_the_bus(tmp_path, loaded_site):
    path = tmp_path / "two.yaml"
    path.write_text(
        "gaswitness_script: 1\ntitle: T\nsteps:\n  - bus: {break: AT-1, short: AT-2}\n", "utf-8"
    )
    with pytest.raises(ScriptError, match="one change in a step"):
        load_script(path, loaded_site.site)


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("bus: {break: AT-1}", "write bus: with scan: {}"),
        ("press: discover", "write panel_life: {}"),
        ("watchdog: restart", "write panel_life: {}"),
    ],
)
def test_a_site_without_such_a_life_refuses_the_step_and_says_how_to_have_it(
    load, loaded_site, written, remedy
):
    plain = loaded_site.site.model_copy(update={"panel_life": None, "bus": None})
    with pytest.raises(ScriptError) as caught:
        load(written, site=plain)
    assert remedy in str(caught.value)


def applied(site, step):
    return Actions(site).applied(step, 10.0, 11.0).action


def test_mains_without_a_battery_are_the_power_to_the_probe(load, loaded_site):
    site = loaded_site.site
    bare = site.model_copy(update={"bus": site.bus.model_copy(update={"battery": None})})
    assert applied(bare, load("mains: off", site=bare).steps[0]) == PowerSet(on=False)
    assert applied(site, load("mains: off").steps[0]) == PanelUpset(may_restart=True)


def test_after_a_change_of_the_bus_nothing_follows_for_faults_that_nobody_made(load, loaded_site):
    site = loaded_site.site
    done = Actions(site).applied(load("bus: {break: AT-1}").steps[0], 10.0, 11.0)
    view = PanelView(site, {}, [done], span=Window(0.0, 100.0))
    made = [view.made("AT-1.fault").at(at_s) for at_s in (5.0, 50.0)]
    assert made == [FALSE, UNKNOWN]
    assert view.broken == []


def test_a_restart_may_have_cost_the_panel_its_memory_and_begins_its_warm_up(load, loaded_site):
    site = loaded_site.site
    done = Actions(site).applied(load("watchdog: restart").steps[0], 200.0, 200.0)
    view = PanelView(site, {}, [done], span=Window(100.0, 900.0))
    # key_response_s 2 s and restart_s 2 s
    assert view.broken == [Window(200.0, 204.0)]
    warm = [view.flag("panel.warm_up").at(at_s) for at_s in (199.0, 230.0, 280.0)]
    # 1 + 4 + 10 + 20 + 30 s and the flag's 2 s later it is over at the latest
    assert warm == [FALSE, UNKNOWN, FALSE]
    assert TRUE not in warm


@pytest.mark.parametrize("script", site_scripts(SALTMARSH), ids=lambda one: one.stem)
def test_the_library_shows_the_bad_days_and_nothing_is_failed(loaded_site, tmp_path, script):
    played = load_script(script, loaded_site.site)
    result = rehearse(loaded_site, [played], RehearsalOptions(evidence=tmp_path / "run.sqlite"))
    failed = [one.id for one in result.verdicts if one.outcome is Outcome.FAILED]
    own = [one for one in result.verdicts if one.kind is Kind.EXPECTATION]
    assert failed == []
    assert {one.outcome for one in own} == {Outcome.PROVEN}
