"""The bus section: one good bus, broken in one place at a time; every error has line and words."""

# ruff: noqa: E501  # a table reads best with one case a row

import jsonschema
import pytest

from gaswitness_sitefile.bus import Battery, Cable
from gaswitness_sitefile.rules import design_warnings
from gaswitness_sitefile.schema import site_schema
from gaswitness_sitefile.yaml_text import parse_yaml

BUS = """bus:
  supply_v: 24
  cable: {cross_section_mm2: 1.5, conductor_class: 5, temperature_c: 40}
  devices:
    - {tag: AT-1, address: 1, draws: {power_w: 1.2}, least_v: 16}
    - {tag: AT-2, address: 2, draws: {current_a: 0.02}, draws_in_alarm: {current_a: 0.03}}
    - {tag: AE-3, address: 3, channels: [AT-3], draws: {power_w: 2}}
  junctions: [JB-1]
  segments:
    - {from: panel, to: AT-1, length_m: 40}
    - {from: AT-1, to: JB-1, length_m: 15, isolator: true}
    - {from: JB-1, to: AT-2, length_m: 9, cable: {cross_section_mm2: 2.5}}
    - {from: JB-1, to: AE-3, length_m: 60}
  terminator: AE-3
  outputs:
    - {output: K-LAMP, draws: {current_a: 0.06}, least_v: 18}
  panel: {rest_a: 0.2, alarm_a: 0.4}
  spur: {fuse_a: 3}
  battery: {capacity_ah: 7, standby_h: 24, alarm_min: 30}
"""
# The bus begins here in the cellar with it.
FIRST = 50

# what is broken: (text in the good bus, what stands there instead, line in the bus, its words)
BROKEN = {
    "no devices": ("  devices:\n", "  devises:\n", 1, ["devices is missing"]),
    "a key misspelt": ("supply_v", "suply_v", 2, ["did you mean supply_v?"]),
    "a supply of nothing": ("supply_v: 24", "supply_v: 0", 2, ["supply_v must be above 0"]),
    "a unit behind a length": ("length_m: 40", "length_m: 40 m", 10, ["without a unit"]),
    "a length of nothing": ("length_m: 40", "length_m: 0", 10, ["above 0"]),
    "no length": (", length_m: 40", "", 10, ["length_m is missing"]),
    "no from": ("from: panel, ", "", 10, ["from is missing"]),
    "a class that is not": ("conductor_class: 5", "conductor_class: 3", 3, ["cannot be 3", "1, 2 or 5"]),
    "a cable colder than any": ("temperature_c: 40", "temperature_c: -100", 3, ["at least -60"]),
    "a wire that no table has": ("{cross_section_mm2: 1.5", "{cross_section_mm2: 1.4", 3, ["no conductor of 1.4 mm2", "ohm_per_km"]),
    "a wire of a segment": ("{cross_section_mm2: 2.5", "{cross_section_mm2: 25", 12, ["no conductor of 25 mm2"]),
    "a device that draws nothing said": ("draws: {power_w: 1.2}", "draws: {}", 5, ["AT-1", "neither current nor power"]),
    "a device without draws": (", draws: {power_w: 1.2}", "", 5, ["AT-1: draws is missing"]),
    "a negative draw": ("power_w: 1.2", "power_w: -1.2", 5, ["at least 0"]),
    "no address": ("AT-1, address: 1", "AT-1", 5, ["AT-1: address is missing"]),
    "an address twice": ("address: 2", "address: 1", 6, ["AT-2: address 1 is that of AT-1 too"]),
    "a device twice": ("tag: AT-2", "tag: AT-1", 6, ["AT-1 stands twice"]),
    "a device of no channel": ("tag: AT-2", "tag: AT-22", 6, ["'AT-22' is no known channel", "did you mean AT-2?", "channels: [...]"]),
    "a channel that is not": ("[AT-3]", "[AT-33]", 7, ["AE-3: 'AT-33' is no known channel"]),
    "a channel at two devices": ("[AT-3]", "[AT-3, AT-2]", 7, ["channel AT-2 is that of AT-2 too"]),
    "a device named as an output": ("tag: AE-3", "tag: K-FAN", 7, ["K-FAN is the tag of something else"]),
    "a junction named as a channel": ("junctions: [JB-1]", "junctions: [JB-1, AT-3]", 8, ["AT-3 is the tag of something else"]),
    "a junction named panel": ("junctions: [JB-1]", "junctions: [JB-1, panel]", 8, ["panel means something else"]),
    "a start that is not": ("from: AT-1", "from: AT-11", 11, ["'AT-11' is no device, junction or the panel", "did you mean AT-1?"]),
    "an end that is not": ("to: JB-1", "to: JB-2", 11, ["'JB-2' is no device or junction", "junctions"]),
    "a segment to the panel": ("from: panel, to: AT-1", "from: AT-1, to: panel", 10, ["leads to the panel", "exchange"]),
    "two ways to a device": ("to: AE-3", "to: AT-2", 13, ["two segments lead to AT-2"]),
    "a device without cable": ("    - {from: JB-1, to: AE-3, length_m: 60}\n", "", 7, ["no cable leads to AE-3", "add a segment"]),
    "a ring of its own": ("from: panel, to: AT-1", "from: JB-1, to: AT-1", 5, ["AT-1 is on a ring without the panel"]),
    "a terminator that is not": ("terminator: AE-3", "terminator: AE-4", 14, ["'AE-4' is no device", "did you mean AE-3?"]),
    "an output that is not": ("output: K-LAMP", "output: K-LAMB", 16, ["'K-LAMB' is no known output", "did you mean K-LAMP?"]),
    "an output twice": ("least_v: 18}", "least_v: 18}\n    - {output: K-LAMP, draws: {power_w: 1}}", 17, ["K-LAMP stands twice"]),
    "a device that never works": ("least_v: 16", "least_v: 24", 5, ["AT-1: least_v 24 is not below the supply's 24 V"]),
    "a port for nothing": ("least_v: 16}", "least_v: 16, ports: [valves]}", 5, ["cannot be 'valves'", "4-20 mA input", "contact input", "did you mean valve?"]),
    "an efficiency above one": ("fuse_a: 3", "efficiency: 80", 18, ["at most 1"]),
    "a battery that ends above": ("alarm_min: 30", "end_v: 25", 19, ["end_v cannot be above nominal_v", "at most 24"]),
    "yes for a number": ("rest_a: 0.2", "rest_a: yes", 17, ["rest_a must be a number"]),
    "a bus that is a list": (BUS, "bus: [a]\n", 1, ["bus must be a group"]),
}  # fmt: skip


@pytest.fixture
def with_bus(changed):
    def made(old="", new=""):
        assert not old or BUS.count(old) == 1, f"{old!r} stands {BUS.count(old)} times"
        return changed(("matrix:\n", BUS.replace(old, new) + "matrix:\n"))

    return made


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_bus_is_told_with_its_line(case, with_bus, broken):
    old, new, line, words = BROKEN[case]

    problems = broken(with_bus(old, new))

    at_line = [str(one) for one in problems if one.place.line == FIRST + line - 1]
    assert at_line, [str(one) for one in problems]
    assert any(all(word in text for word in words) for text in at_line), at_line


def test_all_errors_of_a_bus_come_at_once(with_bus, broken):
    text = with_bus("address: 2", "address: 1").replace("terminator: AE-3", "terminator: AE-4")

    assert [one.place.line - FIRST + 1 for one in broken(text)] == [6, 14]


def test_one_slip_is_one_error(with_bus, broken):
    for case in ("a device without cable", "an address twice", "an output that is not"):
        old, new, _, _ = BROKEN[case]
        found = broken(with_bus(old, new))
        assert len(found) == 1, [str(one) for one in found]


def test_a_good_bus_loads_without_warnings(with_bus, loaded):
    site = loaded(with_bus())

    assert design_warnings(site) == ()
    assert site.site.bus.ends == ("AT-2", "AE-3")
    assert site.site.bus.device_of["AT-3"].tag == "AE-3"


def test_a_site_needs_no_bus(loaded, cellar_text):
    assert loaded(cellar_text).site.bus is None


def test_what_the_bus_leaves_out_has_sane_values(with_bus, loaded):
    bus = loaded(with_bus()).site.bus

    # 3 A spur: common practice, no source. 30 °C: IEC 60364-5-52's reference ambient, from memory.
    assert (bus.spur.fuse_a, bus.spur.volts, Cable().temperature_c) == (3, 230, 30)
    # BS 5839-1 annex D, from memory; 1.75 V a cell of 2 V, common practice, no source.
    battery = Battery()
    assert (battery.ageing_factor, battery.discharge_factor) == (1.25, 1.75)
    assert (battery.standby_h, battery.alarm_min, battery.lowest_v) == (24, 30, 21)


def test_a_segment_keeps_what_its_cable_does_not_say(with_bus, loaded):
    bus = loaded(with_bus()).site.bus
    cable = bus.cable_of(bus.segments[2])

    assert (cable.cross_section_mm2, cable.conductor_class, cable.temperature_c) == (2.5, 5, 40)


def test_the_schema_takes_a_good_bus_and_refuses_a_broken_one(with_bus):
    validator = jsonschema.Draft202012Validator(site_schema()["$defs"]["Bus"] | {
        "$defs": site_schema()["$defs"]
    })  # fmt: skip

    def bus(*change):
        return parse_yaml(with_bus(*change), "f").data["bus"]

    assert validator.is_valid(bus())
    assert not validator.is_valid(bus("conductor_class: 5", "conductor_class: 3"))
    assert not validator.is_valid(bus("from: panel, ", ""))
    assert not validator.is_valid(bus("supply_v", "suply_v"))
