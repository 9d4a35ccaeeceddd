"""The detector bus of a running panel: loss, return, discovery, brown-out, the age of readings."""

import math

import pytest

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import GasTo, Ramp, Step
from gaswitness_simulator.stimulus_bus import (
    AskDiscovery,
    BusBreak,
    BusNoise,
    BusShort,
    DeviceAddress,
    DeviceOff,
    DeviceType,
    TerminatorOff,
)

TAGS = ("AT-1", "AT-2", "AT-3")


def bus(isolators=(), terminator="AT-3", **more):
    """panel - AT-1 - AT-2 - AT-3; each is asked every 0.3 s, and lost after three misses."""
    starts = ("panel", *TAGS[:-1])
    return {
        "supply_v": 24,
        "terminator": terminator,
        "scan": {"device_s": 0.1, "missed": 3},
        "devices": [
            {"tag": tag, "address": at, "draws": {"current_a": 0.01}, "least_v": 15}
            for at, tag in enumerate(TAGS, 1)
        ],
        "segments": [
            {"from": start, "to": to, "length_m": 10, "isolator": to in isolators}
            for start, to in zip(starts, TAGS, strict=True)
        ],
        **more,
    }


@pytest.fixture
def on_bus(make_site, a_channel):
    def made(section=None, **parts):
        channels = [a_channel(tag) for tag in TAGS]
        return VirtualPanel(make_site(channels=channels, bus=section or bus(), **parts))

    return made


def lost(panel):
    return [tag for tag in TAGS if panel.fact(f"{tag}.comms_fault")]


def test_everybody_is_heard_on_a_sound_bus(on_bus):
    panel = on_bus()
    panel.advance(100)
    assert lost(panel) == []
    assert not panel.fact("panel.fault")


def test_a_device_taken_off_is_in_communication_fault_after_the_missed_scans(on_bus):
    panel = on_bus()
    panel.apply(DeviceOff("AT-2", True), 100)
    panel.advance(100.55)
    assert lost(panel) == []  # at most two of three scans missed
    panel.advance(102.2)
    assert lost(panel) == ["AT-2"]
    assert panel.fact("AT-2.fault")


def test_more_scans_may_be_missed_where_the_site_says_so(on_bus):
    panel = on_bus(bus(scan={"device_s": 0.1, "missed": 100}))
    panel.apply(DeviceOff("AT-2", True), 100)
    panel.advance(128)
    assert lost(panel) == []
    panel.advance(132)
    assert lost(panel) == ["AT-2"]


def test_a_device_put_back_is_heard_again(on_bus):
    panel = on_bus()
    panel.apply(DeviceOff("AT-2", True), 100)
    panel.apply(DeviceOff("AT-2", False), 110)
    panel.advance(112)
    assert lost(panel) == []
    assert not panel.fact("panel.fault")


def test_a_short_absence_is_no_fault(on_bus):
    panel = on_bus()
    panel.apply(DeviceOff("AT-2", True), 100)
    panel.apply(DeviceOff("AT-2", False), 100.5)
    seen = []
    for tenth in range(30):
        panel.advance(100.5 + tenth / 10)
        seen += lost(panel)
    assert seen == []


def test_without_the_terminator_nothing_communicates(on_bus):
    # common practice, no source
    panel = on_bus()
    panel.apply(TerminatorOff(True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-1", "AT-2", "AT-3"]
    assert panel.fact("panel.bus_fault")
    panel.apply(TerminatorOff(False), 110)
    panel.advance(112)
    assert lost(panel) == []


def test_a_break_takes_the_terminator_from_the_rest_of_the_line(on_bus):
    # common practice, no source: the last device carries the terminator
    panel = on_bus()
    panel.apply(BusBreak("AT-3", True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-1", "AT-2", "AT-3"]


def test_where_no_terminator_is_named_a_break_takes_what_lies_beyond_it(on_bus):
    panel = on_bus(bus(terminator=None))
    panel.apply(BusBreak("AT-2", True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-2", "AT-3"]
    panel.apply(BusBreak("AT-2", False), 110)
    panel.advance(112)
    assert lost(panel) == []


def test_a_short_takes_the_whole_bus_without_isolators(on_bus):
    panel = on_bus(bus(terminator=None))
    panel.apply(BusShort("AT-3", True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-1", "AT-2", "AT-3"]
    assert panel.fact("panel.bus_fault")


def test_an_isolator_keeps_what_lies_before_it(on_bus):
    panel = on_bus(bus(isolators=("AT-2",)))
    panel.apply(BusShort("AT-3", True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-2", "AT-3"]
    assert panel.fact("panel.bus_fault")


def test_the_isolator_nearest_to_the_short_opens(on_bus):
    panel = on_bus(bus(isolators=("AT-1", "AT-2", "AT-3")))
    panel.apply(BusShort("AT-3", True), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-3"]


def test_two_devices_at_one_address_are_both_lost(on_bus):
    panel = on_bus()
    panel.apply(DeviceAddress("AT-3", 1), 100)
    panel.advance(103)
    assert lost(panel) == ["AT-1", "AT-3"]
    panel.apply(DeviceAddress("AT-3", None), 110)
    panel.advance(112)
    assert lost(panel) == []


def test_another_type_at_an_address_is_a_fault_of_its_channel_though_it_answers(on_bus):
    panel = on_bus()
    panel.apply(DeviceType("AT-2", True), 100)
    panel.advance(102)
    assert lost(panel) == []
    assert panel.fact("AT-2.wrong_type")
    assert panel.fact("AT-2.fault")
    panel.apply(DeviceType("AT-2", False), 110)
    panel.advance(112)
    assert not panel.fact("AT-2.fault")


def test_a_lost_detector_shows_its_last_reading_and_no_gas_after_it(on_bus):
    panel = on_bus()
    panel.apply(GasTo("AT-2", Step(10)), 90)
    panel.apply(DeviceOff("AT-2", True), 100)
    panel.apply(GasTo("AT-2", Step(60)), 101)
    panel.advance(150)
    assert panel.reading("AT-2") == 10
    assert not panel.fact("AT-2.A1")
    panel.apply(DeviceOff("AT-2", False), 160)
    panel.advance(162)
    assert panel.reading("AT-2") == 60
    assert panel.fact("AT-2.A1")


def test_the_age_of_a_reading_follows_from_the_bus(on_bus):
    # Three devices of 4 s: each is asked every 12 s, AT-1 at 0, 12, 24; AT-2 at 4, 16, 28.
    panel = on_bus(bus(scan={"device_s": 4, "missed": 3}))
    for tag in TAGS:
        panel.apply(GasTo(tag, Ramp(100, 100)), 1e-6)  # 1 %LEL each second
    panel.advance(27.999)
    readings = [panel.reading(tag) for tag in TAGS]
    assert readings == [pytest.approx(24), pytest.approx(16), pytest.approx(20)]


def test_a_level_waits_until_the_bus_brings_the_reading(on_bus):
    panel = on_bus(bus(scan={"device_s": 4, "missed": 3}))
    panel.apply(GasTo("AT-2", Step(50)), 29)  # asked at 28 and at 40
    panel.advance(39.9)
    assert not panel.fact("AT-2.A1")
    panel.advance(41.1)
    assert panel.fact("AT-2.A1")


def test_a_rising_reading_raises_its_alarm_with_the_answer_that_brings_it(on_bus):
    panel = on_bus(bus(scan={"device_s": 4, "missed": 3}))
    for tag in TAGS:
        panel.apply(GasTo(tag, Ramp(100, 100)), 1e-6)  # 20 %LEL, their A1, at 20 s
    came = {}
    for tenth in range(400):
        panel.advance(tenth / 10)
        for tag in TAGS:
            if panel.fact(f"{tag}.A1"):
                came.setdefault(tag, tenth / 10)
    # asked at 24, 28 and 32 s (AT-3 a hair too early at 20), and a scan of the panel later
    assert 24 <= came["AT-1"] <= 25.1
    assert 28 <= came["AT-2"] <= 29.1
    assert 32 <= came["AT-3"] <= 33.1


def test_heavy_noise_costs_scans_and_then_devices(on_bus):
    quiet, noisy = on_bus(), on_bus()
    noisy.apply(BusNoise(90), 10)
    seen = set()
    for second in range(11, 60):
        for panel in (quiet, noisy):
            panel.advance(second)
        seen.update(lost(noisy))
        assert lost(quiet) == []
    assert seen == set(TAGS)
    noisy.apply(BusNoise(0), 60)
    noisy.advance(63)
    assert lost(noisy) == []


def test_noise_makes_readings_older(on_bus):
    panel = on_bus(bus(scan={"device_s": 0.1, "missed": 50}))
    panel.apply(BusNoise(90), 10)
    panel.apply(GasTo("AT-1", Ramp(100, 100)), 11)
    ages = []
    for second in range(12, 60):
        panel.advance(second)
        ages.append(second - 11 - panel.reading("AT-1"))
    assert max(ages) > 2.0  # a sound bus: 0.3 s of its own scan and up to 1 s of the panel's
    assert lost(panel) == []


def discovered(panel):
    panel.apply(AskDiscovery(), 8)
    panel.advance(40)
    state = panel.state
    return state.panel_number("devices_found"), state.panel_number("differences")


def test_discovery_reads_every_detector_and_finds_the_setup_as_stored(on_bus):
    # common practice, no source: detectors come pre-configured, and the panel reads them
    panel = on_bus(panel_life={})
    assert discovered(panel) == (3, 0)
    assert not panel.fact("panel.setup_differs")


def test_a_missing_and_a_wrong_detector_are_differences_and_a_panel_fault(on_bus):
    panel = on_bus(panel_life={})
    panel.apply(DeviceOff("AT-1", True), 0)
    panel.apply(DeviceType("AT-3", True), 0)
    assert discovered(panel) == (2, 2)
    assert [tag for tag in TAGS if panel.fact(f"{tag}.missing")] == ["AT-1"]
    assert panel.fact("AT-3.wrong_type")
    assert panel.fact("panel.setup_differs")
    assert panel.state.own_fault


def test_a_device_at_an_address_of_nobody_is_found_and_differs(on_bus):
    panel = on_bus(panel_life={})
    panel.apply(DeviceAddress("AT-3", 9), 0)
    assert discovered(panel) == (3, 2)  # one is missing, and one nobody knows


def test_differences_stand_until_the_next_discovery(on_bus):
    panel = on_bus(panel_life={})
    panel.apply(DeviceOff("AT-1", True), 0)
    discovered(panel)
    panel.apply(DeviceOff("AT-1", False), 50)
    panel.advance(60)
    assert lost(panel) == []
    assert panel.fact("panel.setup_differs")


# AT-3 sits at the end of a long thin line and carries a sounder; another one sits at AT-1. One
# alone leaves AT-3 its 15 V, both together do not. By hand: 12.1 ohm/km (IEC 60228, 1.5 mm2, class
# 2) at 20 C, 2 x 300 m: 7.26 ohm in the last segment, 0.24 ohm in the others.
THIN = {
    "cable": {"cross_section_mm2": 1.5, "conductor_class": 2, "temperature_c": 20},
    "segments": [
        {"from": "panel", "to": "AT-1", "length_m": 300},
        {"from": "AT-1", "to": "AT-2", "length_m": 10},
        {"from": "AT-2", "to": "AT-3", "length_m": 10},
    ],
    "outputs": [
        {"output": "S1", "draws": {"current_a": 0.8}, "least_v": 5},
        {"output": "S2", "draws": {"current_a": 0.8}, "least_v": 5},
    ],
}


@pytest.fixture
def browning(on_bus, a_cell):
    return on_bus(
        bus(**THIN),
        outputs=[
            {"tag": "S1", "kind": "sounder", "mutable": True, "at": "AT-1"},
            {"tag": "S2", "kind": "sounder", "mutable": True, "at": "AT-2"},
        ],
        matrix=[a_cell("AT-1.A1", "S1"), a_cell("AT-2.A1", "S2")],
    )


def test_one_sounder_leaves_every_detector_its_voltage(browning):
    # 24 - 7.26 x (0.8 + 3 x 0.01) = 18.0 V at AT-1
    browning.apply(GasTo("AT-1", Step(50)), 10)
    browning.advance(30)
    assert browning.fact("S1.energised")
    assert lost(browning) == []


def test_far_detectors_are_lost_when_all_sounders_go_and_come_back_when_they_stop(browning):
    # 24 - 7.26 x (1.6 + 0.03) = 12.2 V: below the 15 V of the detectors
    browning.apply(GasTo("AT-1", Step(50)), 10)
    browning.apply(GasTo("AT-2", Step(50)), 10)
    browning.advance(30)
    # AT-3 goes first; then AT-2, which takes its sounder with it, and AT-1 has its voltage again
    assert lost(browning) == ["AT-2", "AT-3"]
    assert browning.fact("AT-3.fault")
    browning.apply(GasTo("AT-1", Step(0)), 40)
    browning.advance(60)
    assert lost(browning) == []
    assert not browning.fact("panel.fault")


def test_the_pulse_of_all_relays_at_power_up_makes_no_fault_of_what_it_starves(on_bus):
    sounders = [{"tag": f"S{n}", "kind": "sounder", "at": f"AT-{n}"} for n in (1, 2)]
    panel = on_bus(bus(**THIN), outputs=sounders, panel_life={"relay_pulse_s": 5})
    faults = []
    for second in range(1, 30):
        panel.advance(second)
        faults.append(panel.fact("panel.fault"))
        if second == 4:
            assert "AT-3" in panel.living.bus.starved
    assert not any(faults)
    assert not panel.fact("panel.unaccepted")


def test_a_bus_without_a_scan_has_no_life(on_bus):
    panel = on_bus(bus(scan=None))
    assert panel.living is None
    with pytest.raises(ValueError, match="its bus no scan"):
        panel.apply(DeviceOff("AT-1", True), 1)


def test_what_the_bus_does_not_have_is_refused_by_name(on_bus):
    panel = on_bus()
    with pytest.raises(ValueError, match="no device 'AT-9'"):
        panel.apply(DeviceOff("AT-9", True), 1)
    with pytest.raises(ValueError, match="no segment of the bus leads to 'JB-1'"):
        panel.apply(BusBreak("JB-1", True), 1)


def test_a_sound_bus_at_rest_is_jumped_over(on_bus):
    panel = on_bus()
    panel.advance(10)
    assert panel.next_scan_s() == math.inf


def test_what_is_jumped_over_comes_to_the_same_as_what_is_stepped_through(on_bus):
    acts = [
        (GasTo("AT-1", Ramp(60, 40)), 12.3),
        (DeviceOff("AT-2", True), 20.05),
        (GasTo("AT-2", Step(70)), 21),
        (BusNoise(60), 30),
        (DeviceOff("AT-2", False), 44.4),
        (BusNoise(0), 55),
        (GasTo("AT-1", Ramp(0, 30)), 60),
    ]
    jumping, stepping = on_bus(), on_bus()
    ends = {}
    for panel, step_s in ((jumping, 5.0), (stepping, 0.05)):
        waiting, seen, at_s = list(acts), [], 0.0
        for mark in range(5, 120, 5):
            while at_s < mark:
                at_s = min(at_s + step_s, mark)
                while waiting and waiting[0][1] <= at_s:
                    panel.apply(*waiting.pop(0))
                panel.advance(at_s)
            seen.append(
                [(panel.reading(tag), panel.fact(f"{tag}.A1"), *lost(panel)) for tag in TAGS]
            )
        ends[step_s] = seen
    assert ends[5.0] == ends[0.05]
