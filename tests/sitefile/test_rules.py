"""Design rules: each fires on one flaw put into the good cellar, and on nothing in it before."""

# ruff: noqa: E501  # a table reads best with one case a row

import pytest

from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.rules import RULES, Kind, design_warnings

A1_CO2 = "A1: {setpoint: 0.5, hysteresis: 0.05}"
A2_CO2 = "A2: {setpoint: 1.5, hysteresis: 0.05, on_delay_s: 2, latching: true}"
A1_O2 = "A1: {setpoint: 19.5, direction: falling, hysteresis: 0.2}"
A1_LPG = "A1: {setpoint: 20, hysteresis: 2}"
A2_LPG = "A2: {setpoint: 40, hysteresis: 2, latching: true}"
FAULT_CELL = "  - {cause: panel.fault, effect: K-FAULT, on_delay_s: 4, early_s: 2, response_s: 5}\n"
POLL = "poll_period_s: 0.5"
BUS = """bus:
  devices:
    - {tag: AT-1, address: 1, draws: {power_w: 1}}
    - {tag: AT-2, address: 2, draws: {power_w: 1}}
    - {tag: AT-3, address: 3, draws: {power_w: 1}}
  segments:
    - {from: panel, to: AT-1, length_m: 9}
    - {from: AT-1, to: AT-2, length_m: 9}
    - {from: AT-1, to: AT-3, length_m: 9}
  terminator: AT-3
  outputs: [{output: K-LAMP, draws: {power_w: 2}}]
"""


def with_bus(old, new):
    assert BUS.count(old) == 1
    return [("matrix:\n", BUS.replace(old, new) + "matrix:\n")]


# rule: cases of (changes to the cellar, line of the warning, its words)
FIRES = {
    "GW101": [
        ([("address: 30003, type: float32", "address: 30004, type: float32")], 59, ["lpg and o2 both take input register 4"]),
        ([("bit: 1, shows", "bit: 0, shows")], 64, ["pit A2 and pit A1", "holding register 1"]),
        ([("address: 40014", "address: 40013")], 67, ["map edition and maker", "holding register 12"]),
    ],
    "GW102": [
        ([("scale: 0.01", "scale: 0.00005")], 57, ["range's high end of AT-1, 5 %vol", "0 to 3.27675"]),
        ([("over_range: 5.5", "over_range: 700")], 57, ["over-range limit of AT-1, 700 %vol"]),
        ([("shows: heartbeat", 'shows: AT-3.A1.setpoint, scale: 0.0001, unit: "%LEL"')], 61, ["setpoint of AT-3, 20 %LEL", "0 to 6.5535"]),
    ],
    "GW103": [
        ([("type: int16, shows: AT-3.reading, scale: 0.1", "type: int16, shows: AT-3.reading, scale: 5")], 59, ["one count is 5 %LEL", "hysteresis of AT-3.A1 is 2"]),
        ([("scale: 0.01", "scale: 0.1"), (A1_CO2, "A1: {setpoint: 0.5}"), (A2_CO2, "A2: {setpoint: 1.5, latching: true}")], 57, ["more than a hundredth of the span of AT-1, 5"]),
    ],
    "GW104": [([("sentinel: 65535", "sentinel: 255")], 57, ["sentinel 255 is also the reading 2.55 %vol"])],
    "GW105": [([("shows: AT-2.reading, order: CDAB, unit: \"%vol\"", "shows: spare")], 24, ["no point shows the reading of AT-2"])],
    "GW106": [([("2: AT-1.fault", "2: spare")], 13, ["no point shows AT-1.fault"])],
    "GW107": [
        ([("shows: K-LAMP.active", "shows: spare")], 48, ["the output K-LAMP"]),
        ([("shows: PB-1.active", "shows: spare")], 44, ["the input PB-1"]),
    ],
    "GW108": [([('scale: 0.1, unit: "%LEL"', "scale: 0.1")], 59, ["AT-3.reading does not say its unit (%LEL?)"])],
    "GW109": [
        ([("shows: heartbeat", "shows: spare")], 56, ["no point shows a heartbeat"]),
        ([("heartbeat_s: 2, ", "")], 61, ["timing.heartbeat_s does not say"]),
    ],
    "GW110": [([("table: coil, address: 00002, type: bit, shows: K-HORN.active", "table: coil, address: 00002, type: bit, shows: panel.mute, access: w")], 69, ["horn: a command can be written", "coil"])],
    "GW111": [([("request_gap_s: 0.02", "largest_read_registers: 3")], 66, ["maker takes 4 registers", "3 at most"])],
    "GW112": [([(", 5: inhibit}", "}"), ("1: A1, 2: A2", "1: A1")], 60, ["lpg state: no code for A2, inhibit of AT-3"])],
    "GW201": [
        ([(A2_LPG, "A2: {setpoint: 20, latching: true}")], 42, ["A1 at 20 %LEL is not before A2 at 20, both rising"]),
        ([("setpoint: 18,", "setpoint: 20,")], 33, ["A1 at 19.5 %vol is not before A2 at 20, both falling"]),
    ],
    "GW202": [([(A2_CO2, A2_CO2.replace("1.5", "5.2"))], 23, ["AT-1.A2", "5.2 %vol is outside the range, 0 to 5"])],
    "GW203": [([(A1_O2, A1_O2.replace("19.5", "21"))], 32, ["falling at 21 %vol is reached in clean air, which reads 20.9"])],
    "GW204": [([(A1_CO2, "A1: {setpoint: 0.5, hysteresis: 0.5}")], 22, ["goes off below 0 %vol, but clean air reads 0"])],
    "GW205": [([("gas: propane", "gas: propane\n    noise: 1.5")], 42, ["hysteresis 2 %LEL is less than the noise from peak to peak, 3"])],
    "GW206": [([(A2_LPG, "A2: {setpoint: 40, hysteresis: 2}")], 42, ["AT-3.A2 is the channel's highest alarm"])],
    "GW301": [
        ([(A1_O2, "A1: {setpoint: 19.5, hysteresis: 0.2}")], 32, ["oxygen depletion at 19.5 %vol (air has 20.9) is to be falling"]),
        ([(A1_O2, "A1: {setpoint: 23.5, direction: falling}")], 32, ["oxygen enrichment at 23.5 %vol", "to be rising"]),
        ([("gas: O2", "gas: oxygen"), (A1_O2, "A1: {setpoint: 19.5}")], 32, ["depletion"]),
    ],
    "GW302": [
        # EH40/2005 4th ed. 2020, Table 1: carbon dioxide 5000 ppm (8 h), 15000 ppm (15 min)
        ([(A1_CO2, A1_CO2.replace("0.5", "0.51"))], 22, ["0.51 %vol CO2 is beyond the 8 h TWA of 0.5 %vol", "EH40/2005, 4th edition 2020"]),
        ([(A2_CO2, A2_CO2.replace("1.5", "1.6"))], 23, ["AT-1.A2", "15 min STEL of 1.5 %vol"]),
        # the same table: chlorine has no 8 h limit, 0.5 ppm over 15 min
        ([("gas: CO2", "gas: chlorine"), ('    unit: "%vol"\n    range: [0, 5]', "    unit: ppm\n    range: [0, 5]"), (A1_CO2, "A1: {setpoint: 0.6}"), ('scale: 0.01, unit: "%vol"', "scale: 0.01, unit: ppm")], 22, ["0.6 ppm chlorine is beyond the 15 min STEL of 0.5 ppm"]),
    ],
    "GW303": [([(A2_LPG, A2_LPG.replace("40", "61"))], 42, ["61 %LEL is above 60"])],
    "GW304": [
        ([("gas: propane", "gas: nitrogen")], 37, ["nitrogen does not burn"]),
        ([("range: [0, 100]", "range: [0, 200]")], 38, ["range ends at 200 %LEL"]),
    ],
    "GW305": [([("gas: propane", "gas: phlogiston")], 36, ["no data are known of 'phlogiston'"])],
    "GW401": [([(FAULT_CELL, "  - {cause: AT-1.fault OR AT-2.fault, effect: K-FAULT, response_s: 5}\n")], 34, ["a fault of AT-3 drives no effect"])],
    "GW402": [([("effect: K-LAMP", "effect: K-FAN")], 48, ["nothing drives K-LAMP"])],
    "GW403": [
        ([("AT-2.A2 OR PB-1.active", "PB-1.active AND NOT PB-1.active")], 53, ["can never come: it contradicts itself"]),
        ([("AT-2.A2 OR PB-1.active", "AT-1.A2"), (A2_CO2, A2_CO2.replace("1.5", "5.6"))], 53, ["AT-1 shows no more than 5.5, and AT-1.A2 is at 5.6"]),
        ([("AT-2.A2 OR PB-1.active", "AT-2.A2 AND AT-2.inhibit")], 53, ["while AT-2.inhibit stands, the channel's other facts do not count"]),
        ([("setpoint: 18,", "setpoint: -3,"), ("AT-2.A2 OR PB-1.active", "AT-2.A2")], 53, ["AT-2 shows no less than -2.5"]),
    ],
    "GW404": [([("kind: relay, normally_energised: true", "kind: relay")], 49, ["K-FAULT acts on panel.fault, but is not normally energised"])],
    "GW405": [([("kind: sounder, mutable: true", "kind: sounder")], 47, ["sounder K-HORN cannot be muted"])],
    "GW406": [([("effect: K-HORN, response_s: 5", "effect: K-HORN, latching: true, response_s: 5")], 52, ["both the cell and AT-1.A2 latch"])],
    "GW407": [([("cause: any.A1", "cause: AT-1.A1 OR AT-2.A1")], 41, ["AT-3.A1 drives no effect"])],
    "GW408": [([("AT-2.A2 OR PB-1.active", "PB-1.active OR NOT PB-1.active")], 53, ["always stands"])],
    "GW409": [([("AT-2.A2 OR PB-1.active", "AT-2.A2")], 44, ["the input PB-1 is in no cause"])],
    "GW410": [
        ([(FAULT_CELL, FAULT_CELL.replace("panel.fault", "AT-1.fault OR AT-3.fault"))], 45, ["no relay acts on a fault of AT-2"]),
        ([("kind: relay, normally_energised: true", "kind: valve, normally_energised: true")], 45, ["no relay acts on a fault of AT-1, AT-2, AT-3"]),
    ],
    "GW411": [
        ([("cause: any.A1", "cause: AT-1.A1 OR AT-3.A1")], 45, ["acts on A1 of AT-2"]),
        ([("kind: fan", "kind: beacon")], 45, ["nothing but beacons and sounders acts on A1 of AT-1, AT-2, AT-3"]),
        ([("kind: fan", "kind: fan, pulse_s: 30")], 45, ["acts on A1 of AT-1, AT-2, AT-3"]),
    ],
    "GW412": [
        ([("kind: fan", "kind: fan, pulse_s: 30")], 51, ["off_delay_s does nothing", "K-FAN acts for its 30 s and no longer"]),
        ([("kind: beacon", "kind: beacon, pulse_s: 30"), ("effect: K-LAMP", "effect: K-LAMP, latching: true")], 53, ["latching does nothing"]),
    ],
    "GW501": [([("off_delay_s: 60, response_s: 5", "off_delay_s: 60, response_s: 1")], 51, ["within 1 s cannot be proven", "1.1 s of doubt", "poll every 0.45 s"])],
    "GW502": [([("early_s: 2", "early_s: 1")], 54, ["no more than 1 s before its delay of 4 s", "1.1 s of doubt"])],
    "GW503": [([("shortest_dwell_s: 2", "shortest_dwell_s: 0.5")], 11, ["dwell of 0.5 s is not longer than the poll period of 0.5 s"])],
    "GW504": [([("scan_s: 0.5", "scan_s: 6")], 51, ["may take 6.1 s", "5 s allowed"])],
    "GW505": [([("unit: 3}", "unit: 250}")], 9, ["unit id 250, which is reserved"])],
    "GW506": [([("request_gap_s: 0.02", "request_gap_s: 0.2")], 10, ["takes 4 requests or more, 0.8 s"])],
    "GW507": [([("heartbeat_s: 2", "heartbeat_s: 0.6")], 11, ["changes every 0.6 s"])],
    "GW508": [([("request_gap_s: 0.02", "fast: {period_s: 0.2, what: [levels, K-LAMP]}"), ("shows: K-LAMP.active", "shows: spare")], 10, ["'K-LAMP' is to be read fast"])],
    "GW509": [
        ([("kind: fan", "kind: fan, pulse_s: 1.5")], 46, ["pulse_s 1.5 s is shorter than the shortest dwell, 2 s"]),
        ([("kind: fan", "kind: fan, minimum_on_s: 2.5")], 46, ["acts for 2.5 s", "1.1 s of doubt"]),
    ],
    "GW601": [(with_bus("  terminator: AT-3\n", ""), 50, ["the bus ends at AT-2, AT-3"])],
    "GW602": [(with_bus("terminator: AT-3", "terminator: AT-1"), 59, ["at AT-1, but the bus goes on to AT-2 or AT-3"])],
    "GW603": [(with_bus("tag: AT-3, address: 3", "tag: AT-3, address: 3, channels: []"), 34, ["no device on the bus has the channel AT-3"])],
    "GW604": [(with_bus("output: K-LAMP", "output: K-FAN"), 48, ["does not say what K-LAMP at AT-2 draws"])],
    "GW605": [(with_bus("{tag: AT-2, address: 2,", "{tag: AT-2, address: 2, ports: [relay, contact input],"), 48, ["no port of AT-2 is left for the beacon K-LAMP"])],
}  # fmt: skip


def test_the_good_cellar_gives_no_warning(good):
    assert design_warnings(load_site(good / "cellar.yaml")) == ()


def test_every_rule_has_a_case_and_an_id_of_its_own():
    ids = [rule.id for rule in RULES]

    assert sorted(set(ids)) == sorted(ids)
    assert set(FIRES) == set(ids)
    assert len(ids) >= 18


@pytest.mark.parametrize(
    ("rule", "case"), [(rule, at) for rule, cases in FIRES.items() for at in range(len(cases))]
)
def test_a_rule_fires_on_its_flaw(rule, case, changed, loaded):
    changes, line, words = FIRES[rule][case]

    found = [one for one in design_warnings(loaded(changed(*changes))) if one.rule == rule]

    at_line = [str(one) for one in found if one.place.line == line]
    assert at_line, [str(one) for one in found]
    assert any(all(word in text for word in words) for text in at_line), at_line


def test_every_rule_says_why_and_from_where():
    assert all(len(rule.reason) > 15 and len(rule.source) > 10 for rule in RULES)


def test_a_warning_in_a_table_names_its_cell(cellar_folder):
    path = cellar_folder / "points.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("0.01", "0.00001"), encoding="utf-8")

    (found,) = [
        one
        for one in design_warnings(load_site(cellar_folder / "cellar-tables.yaml"))
        if one.rule == "GW102"
    ]

    assert found.place.file.endswith("points.csv")
    assert (found.place.line, found.place.column) == (2, 4)


def test_a_writable_point_is_a_caution_and_an_unknown_gas_a_note(changed, loaded):
    text = changed(
        ("address: 40014, type: uint16", "address: 40014, access: rw, type: uint16"),
        ("gas: propane", "gas: phlogiston"),
    )

    kinds = {one.rule: one.kind for one in design_warnings(loaded(text))}

    assert kinds == {"GW110": Kind.CAUTION, "GW305": Kind.NOTE}


def test_an_inhibit_that_lights_a_lamp_is_no_flaw(changed, loaded):
    text = changed(("AT-2.A2 OR PB-1.active", "AT-2.inhibit OR PB-1.active"))

    assert design_warnings(loaded(text)) == ()


def test_a_delay_without_an_earliest_instant_is_not_doubted(changed, loaded):
    """early_s as long as the delay sets no lower limit, so there is nothing to prove there."""
    text = changed(("on_delay_s: 4, early_s: 2", "on_delay_s: 0.5, early_s: 0.5"))

    assert design_warnings(loaded(text)) == ()


def test_fast_points_narrow_the_doubt(changed, loaded):
    fast = "fast: {period_s: 0.2, what: [levels, outputs]}"
    flaw = ("off_delay_s: 60, response_s: 5", "off_delay_s: 60, response_s: 1")
    found = design_warnings(loaded(changed(flaw, ("request_gap_s: 0.02", fast))))

    assert found == ()


def test_two_bits_of_one_word_do_not_overlap(changed, loaded):
    text = changed(("bit: 2, shows", "bit: 15, shows"))

    assert design_warnings(loaded(text)) == ()
