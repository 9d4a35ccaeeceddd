"""The panel's event log (rule 30): what it says, and where the map shows it."""

import struct
from pathlib import Path

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, Inhibit, InputSet, PanelFault, Power, Press
from gaswitness_simulator.stimulus_bus import BusBreak, BusMend, DeviceOff, Mains
from gaswitness_simulator.stimulus_panel import Calibrate, ForceOutput, PutInTest
from gaswitness_sitefile.event_log import CODE_OF, EVENTS
from gaswitness_sitefile.load import load_site

SALTMARSH = Path(__file__).parents[2] / "scenarios" / "sites" / "saltmarsh" / "site.yaml"


@pytest.fixture
def logged(make_bench, make_site, a_channel, a_point):
    def made(**parts):
        site = {
            "channels": [a_channel("AT-1"), a_channel("AT-2")],
            "inputs": [{"tag": "DI-1"}],
            "outputs": [{"tag": "S1", "kind": "sounder", "mutable": True}],
            "matrix": [{"cause": "any.A1 OR DI-1.active", "effect": "S1", "response_s": 3}],
            "event_log": {"entries": 5},
            "map": {"files": [{"number": 4, "records": 22, "content": "events"}]},
            "points": [
                a_point("count", "input register", 0, "uint16", "events.count"),
                a_point("code", "input register", 1, "uint16", "events.1.code"),
                a_point("subject", "input register", 2, "uint16", "events.1.subject"),
                a_point("at", "input register", 3, "uint32", "events.1.at_s", scale=0.1),
                a_point("before", "input register", 5, "uint16", "events.2.code"),
                a_point("oldest", "input register", 6, "uint16", "events.5.code"),
                a_point(
                    "named", "input register", 7, "enumeration", "events.1.code",
                    codes={0: "none", 41: "mute"},
                ),
                a_point(
                    "who", "input register", 8, "enumeration", "events.1.subject",
                    codes={0: "panel", 3: "S1"},
                ),
            ],
        }  # fmt: skip
        return make_bench(make_site(**{**site, **parts}))

    return made


def registers(bench, count=9):
    pdu = bytes((4, 0, 0, 0, count))
    answer = VirtualDevice(bench.panel).answer(1, pdu, bench.panel.now_s)
    return struct.unpack(f">{count}H", answer[2:])


def test_an_alarm_its_output_and_the_keys_stand_in_the_order_of_a_scan(logged):
    bench = logged()
    mark = len(bench.events)
    bench.gas("AT-2", 50.0).do(Press("mute")).gas("AT-2", 0.0).do(Press("accept"), Press("reset"))
    assert bench.since(mark) == [
        ("AT-2", "A1 on"),
        ("S1", "active on"),
        ("panel", "mute"),
        ("S1", "active off"),
        ("S1", "muted on"),
        ("AT-2", "A1 off"),
        ("S1", "muted off"),
        ("panel", "accept"),
        ("panel", "reset"),
    ]


def test_what_people_do_to_channels_inputs_and_outputs_is_told(logged):
    bench = logged()
    mark = len(bench.events)
    bench.do(Inhibit("AT-1", on=True), PutInTest("AT-2", on=True)).do(Inhibit("AT-1", on=False))
    bench.do(PutInTest("AT-2", on=False)).do(Calibrate("AT-2", 10.0), wait_s=20.0)
    bench.do(InputSet("DI-1", on=True)).do(ForceOutput("S1", on=False))
    bench.do(ChannelFault("AT-1", on=True), PanelFault(on=True))
    assert bench.since(mark) == [
        ("AT-1", "inhibit on"),
        ("AT-2", "test on"),
        ("AT-1", "inhibit off"),
        ("AT-2", "test off"),
        ("AT-2", "calibration on"),
        ("AT-2", "calibration off"),
        ("DI-1", "active on"),
        ("S1", "active on"),
        ("S1", "forced on"),
        ("S1", "active off"),
        ("AT-1", "fault on"),
        ("panel", "fault on"),
    ]


def test_power_goes_and_comes_and_what_it_took_is_not_told_one_by_one(logged):
    bench = logged(timing={"scan_s": 1, "refresh_s": 0, "warm_up_s": 5})
    assert bench.since(0) == [("panel", "power on"), ("panel", "warm_up on")]
    bench.wait(10.0).do(Inhibit("AT-1", on=True), InputSet("DI-1", on=True))
    mark = len(bench.events)
    bench.do(Power(on=False)).do(Power(on=True), wait_s=10.0)
    assert bench.since(mark) == [
        ("panel", "power off"),
        ("panel", "power on"),
        ("DI-1", "active on"),
        ("S1", "active on"),
        ("panel", "warm_up on"),
        ("panel", "warm_up off"),
    ]


def test_registers_show_the_newest_first(logged):
    bench = logged()
    bench.gas("AT-2", 50.0).do(Press("mute"))
    count, code, subject, high, low, before, oldest, named, who = registers(bench)
    when_s = bench.events[-1][0]
    assert count == len(bench.events) == 6
    assert (code, subject) == (CODE_OF["muted on"], 2001)
    assert ((high << 16) + low) / 10 == pytest.approx(when_s, abs=0.05)
    assert (before, oldest) == (CODE_OF["active off"], CODE_OF["A1 on"])
    assert (named, who) == (0, 3)  # "muted on" has no name there, S1 has
    bench.do(Press("mute"))
    assert registers(bench)[1] == CODE_OF["mute"]
    assert registers(bench)[7:] == (41, 0)


def test_registers_of_entries_that_are_not_there_yet_show_0(logged):
    assert registers(logged())[5:7] == (0, 0)


def test_no_more_is_kept_than_was_asked_for(logged):
    bench = logged().gas("AT-2", 50.0).do(Press("mute")).do(Press("reset"))
    assert len(bench.events) > 5
    assert bench.panel.log.newest(5).what == "active on"
    assert bench.panel.log.newest(6) is None


def test_the_log_outlasts_the_power(logged):
    bench = logged().gas("AT-2", 50.0).gas("AT-2", 0.0).do(Power(on=False)).do(Power(on=True))
    assert registers(bench)[0] == len(bench.events) > 5
    assert registers(bench)[1] == CODE_OF["power on"]
    assert registers(bench)[5] == CODE_OF["power off"]


def test_the_log_as_a_file_of_records(logged):
    """Function 20 (14 hex) of the MODBUS Application Protocol V1.1b3, clause 6.14."""
    bench = logged().gas("AT-2", 50.0).do(Press("mute"))
    pdu = bytes((0x14, 7, 6)) + struct.pack(">HHH", 4, 0, 22)
    answer = VirtualDevice(bench.panel).answer(1, pdu, bench.panel.now_s)
    assert answer[:4] == bytes((0x14, 46, 45, 6))
    words = struct.unpack(">22H", answer[4:])
    assert words[:2] == (6, 5)
    newest = [words[at : at + 4] for at in range(2, 22, 4)]
    told = [(EVENTS[code - 1], subject) for code, subject, _, _ in newest]
    assert told == [
        ("muted on", 2001),
        ("active off", 2001),
        ("mute", 0),
        ("active on", 2001),
        ("A1 on", 2),
    ]
    assert [(high << 16) + low for _, _, high, low in newest] == [
        round(10 * when_s) for when_s, _, _ in reversed(bench.events[1:])
    ]


def test_a_file_longer_than_the_log_so_far_ends_in_zeros(logged):
    bench = logged()
    pdu = bytes((0x14, 7, 6)) + struct.pack(">HHH", 4, 0, 22)
    words = struct.unpack(">22H", VirtualDevice(bench.panel).answer(1, pdu, bench.panel.now_s)[4:])
    assert words[:4] == (1, 1, CODE_OF["power on"], 0)
    assert words[6:] == (0,) * 16


def test_a_panel_without_a_log_keeps_none(make_site):
    assert VirtualPanel(make_site()).log is None


def test_why_a_channel_is_in_fault_and_what_the_panel_lives_through_is_told(make_bench):
    """On the library's site with a bus that is scanned: a detector off, a wire open, no mains."""
    site = load_site(SALTMARSH).site
    bench = make_bench(site).wait(site.alarms_count_after_s + 5.0)
    mark = len(bench.events)
    bench.do(DeviceOff("AT-1", on=True), wait_s=30.0)
    told = bench.since(mark)
    assert told.index(("AT-1", "fault on")) < told.index(("AT-1", "comms_fault on"))
    assert ("AT-2", "comms_fault on") not in told
    assert ("panel", "bus_fault on") not in told
    mark = len(bench.events)
    bench.do(BusBreak("AT-2", on=True), wait_s=30.0)
    assert {("panel", "fault on"), ("panel", "bus_fault on")} <= set(bench.since(mark))
    mark = len(bench.events)
    bench.do(BusMend("AT-2"), Mains(on=False), wait_s=30.0)
    told = bench.since(mark)
    assert ("AT-2", "comms_fault off") in told
    assert ("panel", "bus_fault off") in told
    assert ("panel", "on_battery on") in told
