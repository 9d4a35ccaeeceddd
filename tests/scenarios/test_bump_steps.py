"""Bump tests with a cylinder: what a step says, what the panel meets, what the probe is told."""

import asyncio
import math

import jsonschema
import pytest

from gaswitness_probe.applied import GasApplied
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.driver_person import PersonDriver
from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_scenarios.panel_trace import trace_panel
from gaswitness_scenarios.schema import script_schema
from gaswitness_scenarios.script import AdapterOff, Bump
from gaswitness_scenarios.translate import UNTOLD_S, Actions, stimulus_of
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator import stimulus as sim
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.yaml_text import parse_yaml

# 2 m of 4 mm tube hold pi/4 x 0.4^2 cm2 x 200 cm = 25.133 cm3; at 0.5 l/min = 8.333 cm3/s: 3.016 s.
TUBE_S = 3.016


def channel(tag, gas, unit, high, **facts):
    return {"tag": tag, "gas": gas, "unit": unit, "range": [0, high], "t90_s": 20, **facts}


CHANNELS = [
    channel("AT-1", "NH3", "ppm", 100, name="Plant room", levels={"A2": {"setpoint": 35}}),
    channel("AT-2", "CO", "ppm", 300, cross_sensitivity={"H2": 0.2}),
    channel("AT-3", "O2", "%vol", 25),
    channel("AT-4", "CO2", "ppm", 5000, clean=420, t90_s=30, t50_s=12, recovery_t90_s=90),
    channel("AT-5", "CH4", "%LEL", 100, room="R-1"),
]
ROOM = {"tag": "R-1", "volume_m3": 100, "air_changes_per_h": 2}


def points():
    for at, one in enumerate(CHANNELS):
        yield {
            "name": one["tag"],
            "table": "input register",
            "address": 2 * at,
            "type": "float32",
            "shows": f"{one['tag']}.reading",
        }


@pytest.fixture(scope="module")
def site():
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GDP-1"},
            "timing": {"scan_s": 0.1, "refresh_s": 0, "warm_up_s": 0},
            "channels": CHANNELS,
            "rooms": [ROOM],
            "points": list(points()),
        }
    )


@pytest.fixture
def load(tmp_path, site):
    def loaded(*steps):
        path = tmp_path / "script.yaml"
        lines = "\n".join(f"  - {step}" for step in steps)
        path.write_text(f"gaswitness_script: 1\ntitle: T\nsteps:\n{lines}\n", encoding="utf-8")
        jsonschema.validate(parse_yaml(path.read_text("utf-8"), "s").data, script_schema())
        return load_script(path, site)

    return loaded


def at(site, script, *times_s):
    """What the panel shows of the first bump's channel at these times."""
    panel = VirtualPanel(site)
    steps = list(script.steps)
    found = []
    tag = next(one.channel for one in steps if isinstance(one, Bump))
    for at_s in times_s:
        while steps and steps[0].at_s <= at_s:
            step = steps.pop(0)
            if (stimulus := stimulus_of(step)) is not None:
                panel.apply(stimulus, step.at_s)
        panel.advance(at_s)
        found.append(panel.reading(tag))
    return found


def test_a_bump_is_fitted_and_after_its_time_taken_off(load):
    on, off = load("bump: {channel: AT-1, concentration: past A2}").steps
    assert isinstance(on, Bump)
    assert (on.channel, on.gas, on.own, on.share, on.dead_s) == ("AT-1", "NH3", True, 1.0, TUBE_S)
    assert isinstance(off, AdapterOff)
    assert off.at_s == pytest.approx(TUBE_S + 60)
    # A2 35 ppm, its tolerance 1.75: three times that beyond.
    assert stimulus_of(on) == sim.CylinderGas("AT-1", 40.25, 1.0, TUBE_S)
    assert stimulus_of(off) == sim.GasTo("AT-1", sim.Step(0.0))


def test_a_person_is_told_regulator_adapter_flow_time_and_what_to_beware_of(load):
    steps = load("bump: {channel: AT-1, concentration: 50, flow_l_min: 0.25, for_s: 45}").steps
    on, off = (one for one in steps if isinstance(one, Bump | AdapterOff))
    assert on.words == (
        "Fit the adapter to AT-1 (Plant room); open the regulator of the cylinder with 50 ppm NH3 "
        "at 0.25 l/min, of 0.5 l/min that the detector needs. Through 2 m of 4 mm tube the gas "
        "comes after 6.0 s; leave it on for 45 s"
    )
    assert off.words == (
        "Close the regulator and take the adapter off AT-1 (Plant room), back to clean air"
    )
    assert "under pressure" in on.caution
    assert "NH3 is toxic" in on.caution
    assert "NH3 burns" in on.caution


@pytest.mark.parametrize(
    ("written", "said", "unsaid"),
    [
        ("channel: AT-2, gas: N2", "take the place of the air", "toxic"),
        ("channel: AT-2, gas: H2", "H2 burns", "toxic"),
        ("channel: AT-4", "CO2 is toxic", "burns"),
        ("channel: AT-3", "take the place of the air", "toxic"),
    ],
)
def test_cautions_are_of_the_gas_in_the_cylinder(load, written, said, unsaid):
    on, _ = load(f"bump: {{{written}, concentration: 15}}").steps
    assert said in on.caution
    assert unsaid not in on.caution


class Willing:
    """A person who does whatever is asked, each thing in half a second."""

    def __init__(self):
        self.shown = []

    def show(self, text):
        self.shown.append(text)

    async def answer(self, prompt):
        await asyncio.sleep(0.5)
        return ""


def test_the_adapter_comes_off_so_long_after_the_person_said_it_was_on(load, heard):
    script = load("hold_s: 5", "bump: {channel: AT-1, concentration: 50}", "hold_s: 90")
    person = Willing()

    async def play():
        await PersonDriver(person).play(script, LoopClock(), heard)

    run_virtual(play())
    (_, on, on_done), (_, off, _) = (one for one in heard.done_s if one[0] in (2, 4))
    assert (on, on_done) == (5.0, 5.5)
    assert off == pytest.approx(5.5 + TUBE_S + 60)
    assert "  Beware: The cylinder is under pressure" in "\n".join(person.shown)


def test_gas_comes_after_the_tube_and_t90_counts_from_there(site, load):
    script = load("bump: {channel: AT-1, concentration: 50}", "hold_s: 200")
    # First order: half after t90 ln 2 / ln 10, nine tenths after t90 (definition); scans of 0.1 s.
    half_s = 20 * math.log10(2)
    before, half, nine = at(site, script, TUBE_S - 0.2, TUBE_S + half_s, TUBE_S + 20)
    assert before == 0.0
    assert half == pytest.approx(25, abs=0.3)
    assert nine == pytest.approx(45, abs=0.1)


def test_t50_t90_and_recovery_of_the_sensor_hold_for_cylinder_gas(site, load):
    script = load("bump: {channel: AT-4, concentration: 4420, for_s: 400}", "hold_s: 900")
    times = (12, 30, 399, 400 + 90)
    half, nine, full, back = at(site, script, *(TUBE_S + one for one in times))
    assert half == pytest.approx(420 + 2000, abs=25)
    assert nine == pytest.approx(420 + 3600, abs=8)
    assert full == pytest.approx(4420, abs=1)
    # Recovery takes its own T90, after the dead time of 12 - tau ln 2 = 4.25 s (t50 and t90).
    assert back == pytest.approx(420 + 400, abs=60)


def test_too_little_flow_is_made_up_with_the_air_around(site, load):
    script = load(
        "bump: {channel: AT-1, concentration: 80, flow_l_min: 0.2, for_s: 300}", "hold_s: 400"
    )
    assert at(site, script, 300)[0] == pytest.approx(0.4 * 80)
    script = load(
        "bump: {channel: AT-4, concentration: 4000, flow_l_min: 0.2, for_s: 600}", "hold_s: 700"
    )
    assert at(site, script, 600)[0] == pytest.approx(0.4 * 4000 + 0.6 * 420, abs=1)


def test_in_a_room_the_air_around_is_the_rooms(site, load):
    leak = "leak: {room: R-1, gas: CH4, flow_m3_h: 2}"
    bump = "bump: {channel: AT-5, concentration: 50, flow_l_min: 0.25, for_s: 200}"
    script = load(leak, "hold_s: 72000", bump, "hold_s: 400")
    # Steady: 2/202 of the room is methane, 100/4.4 %LEL for each %vol (IEC 60079-20-1: 4.4 %vol).
    room = 100 * (2 / 202) / 0.044
    before, during, after = at(site, script, 72000 - 1, 72000 + 200, 72000 + 399)
    assert before == pytest.approx(room, rel=1e-4)
    assert during == pytest.approx((50 + room) / 2, rel=1e-4)
    assert after == pytest.approx(room, rel=1e-3)
    assert isinstance(stimulus_of(script.steps[-1]), sim.RoomAir)


@pytest.mark.parametrize(
    ("written", "shows"),
    [
        ("channel: AT-2, gas: H2, concentration: 400", 0.2 * 400),
        ("channel: AT-2, gas: hydrogen, concentration: 400", 0.2 * 400),
        ("channel: AT-2, gas: CH4, concentration: 400", 0.0),
        # Nitrogen takes the oxygen's place: 20.9 (1 - 0.10), by dilution.
        ("channel: AT-3, gas: N2, concentration: 10", 18.81),
        ("channel: AT-3, concentration: 18", 18.0),
    ],
)
def test_another_gas_acts_as_the_sensor_sees_it(site, load, written, shows):
    script = load(f"bump: {{{written}, for_s: 300}}", "hold_s: 400")
    assert at(site, script, 300)[0] == pytest.approx(shows, abs=1e-6)


REFUSED = {
    "bump: {channel: AT-9, concentration: 5}": "no channel 'AT-9'",
    "bump: {channel: AT-1}": "concentration is missing",
    "bump: {channel: AT-1, concentration: past A1}": "has no alarm level A1",
    "bump: {channel: AT-1, concentration: 50, flow_l_min: 0}": "flow_l_min",
    "bump: {channel: AT-1, concentration: 50, gas: NH4}": "no gas is called 'NH4'",
    "bump: {channel: AT-1, concentration: past A2, gas: CO}": "is a level of NH3, not of CO",
}


@pytest.mark.parametrize("written", REFUSED)
def test_what_cannot_be_is_refused_with_its_place(load, written):
    path_words = REFUSED[written]
    with pytest.raises(Exception) as caught:  # noqa: PT011  # the schema's or the loader's
        load(written)
    if isinstance(caught.value, ScriptError):
        assert path_words in str(caught.value)
        assert "script.yaml:4" in str(caught.value)
    else:
        assert isinstance(caught.value, jsonschema.ValidationError)
        assert path_words.split()[0] in str(caught.value)


@pytest.mark.parametrize(
    "second", ["bump: {channel: AT-1, concentration: 5}", "gas: {channel: AT-1, to: 5}"]
)
def test_nothing_else_is_done_to_a_detector_with_the_adapter_on(load, second):
    first = "bump: {channel: AT-1, concentration: 50}"
    with pytest.raises(
        ScriptError, match=r"AT-1 has the adapter of a bump test on until 63\.016 s"
    ):
        load(first, "hold_s: 60", second)
    assert len(load(first, "hold_s: 64", second).steps) >= 4


def test_detectors_one_after_the_other(load):
    steps = load(
        "for_each: {channel: [AT-1, AT-2], steps: "
        "[{bump: {channel: '{channel}', concentration: 50, for_s: 10}}, {hold_s: 30}]}"
    ).steps
    told = [(one.at_s, one.channel) for one in steps if isinstance(one, Bump | AdapterOff)]
    assert told == [(0, "AT-1"), (13.016, "AT-1"), (30, "AT-2"), (43.016, "AT-2")]


def told(site, steps):
    actions = Actions(site)
    applied = (actions.applied(one, one.at_s, one.at_s + 2) for one in steps)
    return [one.action for one in applied if one is not None]


def test_the_probe_is_told_of_own_gas_at_full_flow_when_it_will_stand(site, load):
    on, off = told(site, load("bump: {channel: AT-1, concentration: 50}").steps)
    assert on == GasApplied("AT-1", 50.0, TUBE_S, lowest=0.0, highest=50.0)
    assert off == GasApplied("AT-1", 0.0, 0.0, lowest=0.0, highest=0.0)


def test_the_probe_is_told_no_level_that_nobody_knows(site, load):
    weak, _ = told(site, load("bump: {channel: AT-1, concentration: 50, flow_l_min: 0.3}").steps)
    assert (weak.over_s, weak.lowest, weak.highest) == (UNTOLD_S, 0.0, 50.0)
    other, back = told(site, load("bump: {channel: AT-2, gas: H2, concentration: 50}").steps)
    assert other.over_s == UNTOLD_S
    assert (back.level, back.over_s) == (0.0, 0.0)
    full, room = told(site, load("bump: {channel: AT-5, concentration: 50}").steps)
    assert (full.level, full.over_s) == (50.0, TUBE_S)
    assert room.over_s == UNTOLD_S
    mixed, _ = told(site, load("bump: {channel: AT-5, concentration: 50, flow_l_min: 0.3}").steps)
    assert mixed.over_s == UNTOLD_S


def test_gas_after_a_bump_begins_in_the_air_that_came_back(site, load):
    script = load(
        "gas: {channel: AT-1, to: 20}",
        "bump: {channel: AT-1, concentration: 50, for_s: 10}",
        "hold_s: 60",
        "gas: {channel: AT-1, to: 30, over_s: 20}",
    )
    gas = script.steps[-1]
    assert gas.start == 0.0
    assert told(site, script.steps)[-1] == GasApplied("AT-1", 30.0, 20.0, lowest=0.0, highest=30.0)


def test_the_library_bumps_every_detector_and_moves_nothing():
    """A fact of the trade: every detector is bump-tested after commissioning (common practice, no
    source); inhibited meanwhile, so that no plant trips."""
    site = load_site(demo_site_path()).site
    path = next(one for one in site_scripts(demo_site_path()) if one.stem == "95-bump-tests")
    trace = trace_panel(site, load_script(path, site), columns=100)
    for one in site.channels:
        came = [on for _, on in trace.changes(f"{one.tag}.A2")]
        assert came == [False, True, False], one.tag
    moved = [one.tag for one in site.outputs if len(trace.changes(f"{one.tag}.active")) > 1]
    assert moved == []
