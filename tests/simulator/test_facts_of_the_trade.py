"""Facts of the trade that the virtual panel keeps to, one test each, so that none can be lost.

Source of all: common practice, no source. They say how such panels work, not how one must.
"""

import struct

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.power_budget import power_budget
from gaswitness_simulator.stimulus import GasTo, InputSet, Power, Press, Step
from gaswitness_simulator.stimulus_bus import (
    AskDiscovery,
    BusBreak,
    BusMend,
    BusShort,
    TerminatorOff,
    WiresSwapped,
)
from gaswitness_sitefile.bus import Bus
from gaswitness_sitefile.first_setup import first_setup
from gaswitness_sitefile.site import Site

TAGS = ("AT-1", "AT-2")
HELD = [
    {"gas": "CO", "unit": "ppm", "range": [0, 300], "detector": "electrochemical"},
    {"gas": "CH4", "unit": "%LEL", "range": [0, 100], "detector": "catalytic"},
]


def bus(**more):
    """Two detectors on one line, each with a sounder and a beacon of its own at it."""
    devices = [
        {
            "tag": tag,
            "address": at,
            "draws": {"current_a": 0.01},
            "least_v": 15,
            "holds": [held],
            "ports": ["sounder", "beacon", "relay"],
        }
        for at, (tag, held) in enumerate(zip(TAGS, HELD, strict=True), 1)
    ]
    return {
        "supply_v": 24,
        "terminator": "AT-2",
        "scan": {"device_s": 0.1, "missed": 3},
        "devices": devices,
        "segments": [
            {"from": "panel", "to": "AT-1", "length_m": 10},
            {"from": "AT-1", "to": "AT-2", "length_m": 10},
        ],
        "outputs": [{"output": "S2", "draws": {"current_a": 0.05}, "least_v": 9}],
        **more,
    }


OUTPUTS = [
    {"tag": "K1", "kind": "relay", "normally_energised": True},
    {"tag": "K2", "kind": "relay"},
    {"tag": "S2", "kind": "sounder", "mutable": True, "at": "AT-2"},
    {"tag": "B2", "kind": "beacon", "at": "AT-2"},
]


@pytest.fixture
def made(make_site, a_channel, a_cell):
    def site(section=None, **parts):
        return make_site(
            channels=[a_channel(tag) for tag in TAGS],
            outputs=OUTPUTS,
            matrix=[
                a_cell("panel.fault", "K1"),
                a_cell("any.A1", "K2"),
                a_cell("any.A1", "S2"),
                a_cell("any.A1", "B2"),
            ],
            bus=section or bus(),
            **parts,
        )

    return site


def lost(panel):
    return [tag for tag in TAGS if panel.fact(f"{tag}.comms_fault")]


def test_two_wires_carry_power_and_data(made):
    """With them gone a detector has neither: no answer comes, and it draws nothing any more."""
    panel = VirtualPanel(made(bus(terminator="AT-1")))
    panel.advance(10)
    both_a = panel.living.bus.feed_a
    panel.apply(BusBreak("AT-2", on=True), 10)
    panel.advance(20)
    assert lost(panel) == ["AT-2"]
    assert panel.living.bus.feed_a == pytest.approx(both_a - 0.01)


def test_either_polarity_works(made):
    """A detector with its two wires swapped is powered and heard as before."""
    panel = VirtualPanel(made())
    panel.apply(WiresSwapped("AT-2"), 10)
    panel.apply(GasTo("AT-2", Step(50.0)), 11)
    panel.advance(30)
    assert lost(panel) == []
    assert not panel.fact("panel.fault")
    assert panel.fact("AT-2.A1")
    with pytest.raises(ValueError, match="no device 'AT-9'"):
        panel.apply(WiresSwapped("AT-9"), 31)


def test_without_the_terminator_in_the_last_device_nothing_communicates(made):
    """Taken away, or cut off by a break: either way nobody is heard, however near the panel."""
    panel = VirtualPanel(made())
    panel.apply(TerminatorOff(on=True), 10)
    panel.advance(15)
    assert lost(panel) == list(TAGS)
    assert panel.fact("panel.bus_fault")
    panel.apply(TerminatorOff(on=False), 15)
    panel.advance(20)
    assert lost(panel) == []
    panel.apply(BusBreak("AT-2", on=True), 20)
    panel.advance(25)
    assert lost(panel) == list(TAGS)
    panel.apply(BusMend("AT-2"), 25)
    panel.apply(BusShort("AT-2", on=True), 26)
    panel.advance(30)
    assert lost(panel) == list(TAGS)


def test_detectors_come_configured_and_the_panel_reads_what_they_are(made):
    """Gas, range and outputs are in the detector; at discovery the panel makes channels of them."""
    data = first_setup(made()).data
    Site.model_validate(data)
    channels = [(one["tag"], one["gas"], one["unit"], one["range"]) for one in data["channels"]]
    assert channels == [("AT-1", "CO", "ppm", [0, 300]), ("AT-2", "CH4", "%LEL", [0, 100])]
    assert [one["tag"] for one in data["outputs"] if one.get("at") == "AT-1"] == [
        "AT-1-S1",
        "AT-1-B1",
        "AT-1-K1",
    ]


def test_levels_are_assigned_by_the_type_of_sensor(made):
    """Toxic gas at its exposure limits (EH40/2005: CO 20 and 100 ppm), flammable at 10 and 20 %."""
    toxic, flammable = first_setup(made()).data["channels"]
    assert [one["setpoint"] for one in toxic["levels"].values()] == [20, 100]
    assert [one["setpoint"] for one in flammable["levels"].values()] == [10, 20]


def test_outputs_are_assigned_relays_to_a2_and_beacons_and_sounders_to_a1(made):
    """And one relay is kept for any fault, one for any first-level alarm."""
    data = first_setup(made()).data
    causes = {cell["effect"]: cell["cause"] for cell in data["matrix"]}
    assert causes["K-FAULT"] == "panel.fault"
    assert causes["K-A1"] == "any.A1"
    assert causes["AT-1-K1"] == "AT-1.A2"
    assert causes["AT-1-S1"] == causes["AT-1-B1"] == "AT-1.A1"


def test_the_fault_relay_drops_for_a_fault_of_any_channel_and_when_the_supply_goes(made):
    """It is fail-safe: energised at rest."""
    panel = VirtualPanel(made())
    panel.advance(5)
    assert panel.fact("K1.energised")
    panel.apply(TerminatorOff(on=True), 5)
    panel.advance(15)
    assert not panel.fact("K1.energised")
    panel.apply(TerminatorOff(on=False), 15)
    panel.advance(20)
    assert panel.fact("K1.energised")
    panel.apply(Power(on=False), 20)
    assert not panel.fact("K1.energised")


def test_beacon_and_sounder_are_separate_so_that_the_sounder_is_muted_alone(made):
    """Whoever mutes still sees the alarm."""
    panel = VirtualPanel(made())
    panel.apply(GasTo("AT-1", Step(50.0)), 5)
    panel.advance(10)
    assert panel.fact("S2.active")
    assert panel.fact("B2.active")
    panel.apply(Press("mute"), 10)
    panel.advance(12)
    assert not panel.fact("S2.active")
    assert panel.fact("B2.active")


def test_a_panel_pulses_its_relays_tests_itself_offers_a_discovery_and_warms_up(made):
    """One pulse at power-up, then a self-test, about 10 s for somebody to ask for a discovery, the
    discovery if asked, and the warm-up."""
    asked = VirtualPanel(made(panel_life={"warm_up_s": 60}))
    left = VirtualPanel(made(panel_life={"warm_up_s": 60}))
    found = {panel: [] for panel in (asked, left)}
    for half in range(240):
        if half == 16:
            asked.apply(AskDiscovery(), 8.0)
        for panel, seen in found.items():
            panel.advance(half / 2)
            stage = panel.state.panel_state()
            coils = [panel.fact(f"{one['tag']}.energised") for one in OUTPUTS]
            if not seen or seen[-1][0] != stage:
                seen.append((stage, half / 2, coils))
    stages = ["relay_pulse", "self_test", "discovery_open"]
    assert [one[0] for one in found[asked]] == [*stages, "discovering", "warm_up", "normal"]
    assert [one[0] for one in found[left]] == [*stages, "warm_up", "normal"]
    pulse, test, *_ = found[left]
    assert pulse[2] == [True] * 4
    assert test[2] == [False] * 4
    opened, warm = found[left][2][1], found[left][3][1]
    assert warm - opened == pytest.approx(10, abs=1.1)


@pytest.mark.parametrize(("detector", "warm_up_s"), [("oxygen cell", 900), ("catalytic", 180)])
def test_an_oxygen_cell_sets_the_warm_up_to_15_minutes(made, a_channel, detector, warm_up_s):
    """Other sensors are ready sooner."""
    channels = [a_channel("AT-1", detector=detector), a_channel("AT-2")]
    site = made(panel_life={}).model_dump(mode="json", by_alias=True, exclude_unset=True)
    found = Site.model_validate({**site, "channels": channels})
    assert found.warm_up_s == warm_up_s
    panel = VirtualPanel(found)
    panel.advance(warm_up_s)
    assert panel.fact("panel.warm_up")
    panel.advance(warm_up_s + 20)
    assert not panel.fact("panel.warm_up")


@pytest.mark.parametrize("use", ["relay", "sounder", "4-20 mA input", "contact input"])
def test_a_port_of_a_detector_serves_an_output_a_current_input_or_a_contact(made, use):
    """Each port one of these, as configured."""
    section = bus()
    section["devices"][0]["ports"] = [use]
    found = first_setup(made(section))
    at_it = [one["kind"] for one in found.data["outputs"] if one.get("at") == "AT-1"]
    inputs = [one["tag"] for one in found.data.get("inputs", ())]
    told = [one for one in found.remarks if "4-20 mA input" in one]
    assert at_it == ([use] if use in ("relay", "sounder") else [])
    assert inputs == (["AT-1-DI1"] if use == "contact input" else [])
    assert len(told) == (use == "4-20 mA input")
    wrong = bus()
    wrong["devices"][0]["ports"] = ["printer"]
    with pytest.raises(ValueError, match="ports"):
        Bus.model_validate(wrong)


@pytest.mark.parametrize("kind", ["stop button", "key switch", "fire contact"])
def test_an_input_takes_a_stop_button_a_key_switch_or_a_fire_contact(
    make_site, a_cell, a_point, kind
):
    """Each drives outputs by the matrix, without any gas, and shows in the map."""
    site = make_site(
        inputs=[{"tag": "DI-1", "kind": kind}],
        outputs=[{"tag": "V1", "kind": "valve", "normally_energised": True}],
        matrix=[a_cell("DI-1.active", "V1")],
        points=[a_point("one", "discrete input", 0, "bit", "DI-1.active")],
    )
    panel = VirtualPanel(site)
    device = VirtualDevice(panel)
    seen = []
    for at_s, on in ((5.0, False), (10.0, True), (15.0, False)):
        panel.apply(InputSet("DI-1", on), at_s)
        panel.advance(at_s + 3)
        answer = device.answer(1, bytes.fromhex("0200000001"), at_s + 3)
        seen.append((panel.fact("V1.energised"), answer[2]))
    assert seen == [(True, 0), (False, 1), (True, 0)]


def test_the_supply_is_a_fused_spur_of_3_a(made):
    """What the panel takes at full alarm is held against that fuse unless the site says another."""
    site = made()
    assert site.bus.spur.fuse_a == 3
    assert not power_budget(site).spur_too_small
    heavy = bus(outputs=[{"output": "S2", "draws": {"current_a": 0.05}}], panel={"alarm_a": 60})
    assert power_budget(made(heavy)).spur_too_small


def test_a_setup_can_be_changed_stored_and_loaded(made, a_point):
    """A setpoint written over the map acts at once and outlasts a power-up; a whole setup goes to
    data and back, and a panel of it does what the first one does."""
    points = [
        a_point("reading", "input register", 0, "float32", "AT-1.reading"),
        a_point("setpoint", "holding register", 0, "uint16", "AT-1.A1.setpoint", access="rw"),
    ]
    site = made(points=points)
    panel = VirtualPanel(site)
    device = VirtualDevice(panel)
    answer = device.answer(1, struct.pack(">BHH", 6, 0, 35), 5.0)
    assert answer == struct.pack(">BHH", 6, 0, 35)
    for on in (False, True):
        panel.apply(Power(on=on), 6.0)
    panel.apply(GasTo("AT-1", Step(30.0)), 10.0)
    panel.advance(20)
    assert panel.setpoint("AT-1", "A1") == 35
    assert not panel.fact("AT-1.A1")
    stored = site.model_dump(mode="json", by_alias=True, exclude_unset=True)
    loaded = Site.model_validate(stored)
    assert loaded == site
    other = VirtualPanel(loaded)
    other.apply(GasTo("AT-1", Step(30.0)), 10.0)
    other.advance(20)
    assert other.fact("AT-1.A1")
