"""Steps of a script that change rooms, sensors and loops; and the library's site that has them."""

from math import isnan
from pathlib import Path

import jsonschema
import pytest

from gaswitness_probe.applied import FaultMade, GasApplied
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.driver_person import PersonDriver
from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.panel_trace import trace_panel
from gaswitness_scenarios.schema import script_schema
from gaswitness_scenarios.translate import UNTOLD_S, Actions, stimulus_of
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator import stimulus as sim
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.yaml_text import parse_yaml

COLDBROOK = Path(__file__).parents[2] / "scenarios" / "sites" / "coldbrook" / "site.yaml"


@pytest.fixture(scope="module")
def site():
    return load_site(COLDBROOK).site


@pytest.fixture
def load(tmp_path, site):
    def loaded(*steps):
        path = tmp_path / "script.yaml"
        lines = "\n".join(f"  - {step}" for step in steps)
        path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n{lines}\n", encoding="utf-8")
        return load_script(path, site)

    return loaded


STEPS = {
    "leak: {room: R-2, gas: CH4, flow_m3_h: 4}": (
        sim.Leak("R-2", "CH4", 4.0),
        "Let CH4 leak into R-2 (Boiler room), 4 m3/h",
    ),
    "leak: {room: R-2, gas: CH4, flow_m3_h: 0}": (
        sim.Leak("R-2", "CH4", 0.0),
        "Stop the leak of CH4 into R-2 (Boiler room)",
    ),
    "purge: {room: R-1, flow_m3_h: 900}": (
        sim.Purge("R-1", 900.0),
        "Purge R-1 (Fermentation hall) with 900 m3/h of fresh air",
    ),
    "drift: {channel: AT-12, zero: -0.4, span_percent: 60, over_s: 90}": (
        sim.Drift("AT-12", -0.4, 0.6, 90.0),
        "Let the sensor of AT-12 (Fermentation hall, oxygen) go to zero -0.4 %vol, span 60 % over "
        "90 s",
    ),
    "calibrate: AT-12": (
        sim.Drift("AT-12", 0.0, 1.0, 0.0),
        "Calibrate AT-12 (Fermentation hall, oxygen)",
    ),
    "loop: {channel: AT-31, current_ma: 3.5}": (
        sim.LoopCurrent("AT-31", 3.5),
        "Force the loop of AT-31 (Packing hall, trucks) to 3.5 mA",
    ),
    "gas: {channel: AT-21, to: room}": (
        sim.RoomAir("AT-21"),
        "Take the gas away from AT-21 (Boiler room, above the gas train), back to the air of R-2",
    ),
}


@pytest.mark.parametrize("written", STEPS)
def test_a_step_does_this_and_says_so(load, written):
    (step,) = load(written).steps
    stimulus, words = STEPS[written]
    assert stimulus_of(step) == stimulus
    assert step.words == words
    text = f"gaswitness_script: 1\ntitle: T\nsteps:\n  - {written}\n"
    jsonschema.validate(parse_yaml(text, "s").data, script_schema())


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("leak: {room: R-9, gas: CH4, flow_m3_h: 4}", "the site has no room 'R-9'"),
        ("leak: {room: R-1, gas: CH44, flow_m3_h: 4}", "no gas is called 'CH44'"),
        ("purge: {room: R-9, flow_m3_h: 4}", "the site has no room 'R-9'"),
        ("leak: {room: R-1, gas: CH4, flow_m3_h: -4}", "flow_m3_h must be at least 0"),
        ("drift: {channel: AT-21}", "drift changes nothing"),
        ("loop: {channel: AT-21, current_ma: 4}", "AT-21 has no loop"),
        ("gas: {channel: AT-21, to: room, over_s: 4}", "a room's air comes at once"),
    ],
)
def test_what_cannot_be_is_refused(load, written, words):
    with pytest.raises(ScriptError, match=words):
        load(written)


def test_the_probe_is_told_only_what_a_person_could_tell_it(load, site):
    actions = Actions(site)
    steps = load(
        "leak: {room: R-2, gas: CH4, flow_m3_h: 4}",
        "gas: {channel: AT-21, to: room}",
        "loop: {channel: AT-31, current_ma: 3.5}",
        "loop: {channel: AT-31, current_ma: 12}",
        "loop: {channel: AT-31}",
    ).steps
    told = [applied and applied.action for applied in (actions.applied(s, 0, 0) for s in steps)]
    leak, room, fails, mended, forced, released = told
    assert (leak, released) == (None, None)
    assert fails == FaultMade("AT-31", on=True)
    assert mended == FaultMade("AT-31", on=False)
    for untold in (room, forced):
        assert isinstance(untold, GasApplied)
        assert untold.over_s == UNTOLD_S


class Nobody:
    """A person whom nothing may be asked."""

    def __init__(self):
        self.shown = []

    def show(self, text):
        self.shown.append(text)

    async def answer(self, prompt):
        raise AssertionError(f"asked: {prompt}")


def test_nobody_is_asked_to_let_gas_into_a_real_room_or_to_spoil_a_sensor(load, heard):
    script = load(
        "leak: {room: R-2, gas: CH4, flow_m3_h: 4}",
        "purge: {room: R-2, flow_m3_h: 4}",
        "drift: {channel: AT-21, span_percent: 0}",
    )
    person = Nobody()

    async def play():
        await PersonDriver(person).play(script, LoopClock(), heard)

    run_virtual(play())
    assert heard.skips == dict.fromkeys((1, 2, 3), "done to virtual panels only")
    assert "left out" in "\n".join(person.shown)


def script_named(name):
    return next(path for path in site_scripts(COLDBROOK) if path.stem == name)


def traced(site, name, *facts):
    trace = trace_panel(site, load_script(script_named(name), site), columns=200)
    return trace, {fact: trace.changes(fact) for fact in facts}


def test_library_leak_starts_the_fan_which_brings_the_gas_down(site):
    trace, found = traced(site, "10-leak-and-fan", "F2.active", "AT-21.A1", "V1.active")
    (fan_s, _), (_, on) = found["F2.active"][1], found["F2.active"][1]
    assert on
    # 10 %LEL is 0.44 %vol: -V/(Q+q) ln(1 - 0.0044 (Q+q)/q), Q 200, q 4 m3/h: 449 s after 40 s.
    assert fan_s == pytest.approx(40 + 449, abs=15)
    went = [at_s for at_s, on in found["AT-21.A1"] if not on and at_s > fan_s]
    assert went[0] < 40 + 1300
    assert [on for _, on in found["V1.active"]] == [False, True, False]
    at = trace.channels.index("AT-21")
    shown = [sample.readings[at] for sample in trace.samples if not isnan(sample.readings[at])]
    assert max(shown) < 40


def test_library_shift_ends_in_a_twa_alarm_and_in_no_other(site):
    trace, found = traced(site, "30-shift", "AT-31.TWA", "AT-31.STEL", "AT-31.A1")
    assert [on for _, on in found["AT-31.TWA"]] == [False, True]
    assert [on for _, on in found["AT-31.STEL"]] == [False]
    assert [on for _, on in found["AT-31.A1"]] == [False]
    assert trace.until_s > 8 * 3600


def test_library_fermentation_takes_oxygen_that_the_purge_brings_back(site):
    _, found = traced(site, "20-fermentation", "F1.active", "AT-12.A1")
    assert [on for _, on in found["AT-12.A1"]] == [False, True, False]
    assert [on for _, on in found["F1.active"]][:2] == [False, True]
