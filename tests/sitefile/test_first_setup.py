"""What a panel makes of the detectors it finds: levels by sensor type, outputs, matrix, map."""

import pytest

from gaswitness_sitefile.bus import Sensor
from gaswitness_sitefile.first_levels import first_levels
from gaswitness_sitefile.first_setup import first_setup
from gaswitness_sitefile.site import Site


def device(tag, address, **more):
    return {"tag": tag, "address": address, "draws": {"current_a": 0.01}, **more}


def site(*devices, **parts):
    tags = [one["tag"] for one in devices]
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GDP-1"},
            "channels": [
                {"tag": tag, "gas": "CH4", "unit": "%LEL", "range": [0, 100]} for tag in tags
            ],
            "bus": {
                "devices": list(devices),
                "segments": [
                    {"from": start, "to": to, "length_m": 5}
                    for start, to in zip(("panel", *tags), tags, strict=False)
                ],
            },
            "points": [
                {
                    "name": "one",
                    "table": "holding register",
                    "address": 0,
                    "type": "float32",
                    "shows": f"{tags[0]}.reading",
                }
            ],
            **parts,
        }
    )


def sensor(gas, unit, high, detector="electrochemical"):
    return Sensor(gas=gas, unit=unit, range=(0, high), detector=detector)


def setpoints(found):
    return {name: one["setpoint"] for name, one in first_levels(found)[0].items()}


# Limits of HSE EH40/2005, 4th edition 2020, Table 1: 8 h TWA, 15 min STEL.
TOXIC = [
    ("NH3", "ppm", 100, {"A1": 25, "A2": 35}),
    ("CO", "ppm", 300, {"A1": 20, "A2": 100}),
    ("H2S", "ppm", 50, {"A1": 5, "A2": 10}),
    ("NO2", "ppb", 5000, {"A1": 500, "A2": 1000}),
    ("CO", "mg/m3", 300, {"A1": 23, "A2": 117}),
    ("CO2", "%vol", 5, {"A1": 0.5, "A2": 1.5}),
    ("Cl2", "ppm", 10, {"A1": 0.5}),  # STEL alone
    ("NO", "ppm", 100, {"A1": 2}),  # TWA alone
    ("HCHO", "ppm", 10, {"A1": 2}),  # both are 2 ppm
]


@pytest.mark.parametrize(("gas", "unit", "high", "expected"), TOXIC)
def test_toxic_gas_alarms_at_its_exposure_limits(gas, unit, high, expected):
    assert setpoints(sensor(gas, unit, high)) == pytest.approx(expected)


def test_flammable_gas_alarms_by_its_sensor_type_at_10_and_20_percent_lel():
    # common practice, no source
    assert setpoints(sensor("NH3", "%LEL", 100, "catalytic")) == {"A1": 10, "A2": 20}


def test_oxygen_alarms_falling_twice_and_rising_once():
    # common practice, no source
    levels, _ = first_levels(sensor("O2", "%vol", 25, "oxygen cell"))
    assert [(one["setpoint"], one["direction"]) for one in levels.values()] == [
        (19.5, "falling"),
        (18.0, "falling"),
        (23.5, "rising"),
    ]


def test_a_level_beyond_the_range_is_left_out_and_said():
    levels, source = first_levels(sensor("CO", "ppm", 50))
    assert list(levels) == ["A1"]
    assert "A2 lies outside the range" in source


def test_a_gas_without_a_limit_gets_no_level_and_a_word():
    assert first_levels(sensor("H2", "ppm", 1000)) == (
        {},
        "no exposure limit is tabled for it: state its levels",
    )


def made(*devices, **parts):
    data = first_setup(site(*devices, **parts)).data
    Site.model_validate(data)
    return data


def cells(data):
    return {cell["effect"]: cell["cause"] for cell in data["matrix"]}


def test_one_relay_is_kept_for_any_fault_and_one_for_any_first_level_alarm():
    # common practice, no source
    found = cells(made(device("AT-1", 1)))
    assert (found["K-FAULT"], found["K-A1"]) == ("panel.fault", "any.A1")


def test_relays_at_detectors_act_on_the_second_level_and_beacon_and_sounder_on_the_first():
    # common practice, no source
    found = cells(made(device("AT-1", 1, ports=["relay", "beacon", "sounder"])))
    assert found["AT-1-K1"] == "AT-1.A2"
    assert found["AT-1-B1"] == found["AT-1-S1"] == "AT-1.A1"


def test_beacon_and_sounder_are_outputs_of_their_own_and_the_sounder_alone_is_mutable():
    # common practice, no source
    outputs = made(device("AT-1", 1, ports=["beacon", "sounder"]))["outputs"]
    mutable = {one["tag"]: one.get("mutable", False) for one in outputs if "at" in one}
    assert mutable == {"AT-1-B1": False, "AT-1-S1": True}


def test_ports_serve_a_switched_output_a_current_input_or_a_contact():
    # common practice, no source
    found = first_setup(site(device("AT-1", 1, ports=["valve", "contact input", "4-20 mA input"])))
    assert [one["tag"] for one in found.data["inputs"]] == ["AT-1-DI1"]
    assert [one["tag"] for one in found.data["outputs"] if "at" in one] == ["AT-1-V1"]
    assert any("4-20 mA input" in remark for remark in found.remarks)


def test_channels_come_from_what_detectors_hold_in_order_of_address():
    # common practice, no source: pre-configured with gas, range and outputs
    holds = [{"gas": "CO", "unit": "ppm", "range": [0, 300], "detector": "electrochemical"}]
    data = made(device("AT-1", 7), device("AT-2", 3, holds=holds))
    channels = [(one["tag"], one["gas"], one["range"]) for one in data["channels"]]
    assert channels == [("AT-2", "CO", [0, 300]), ("AT-1", "CH4", [0, 100])]


def test_without_ports_the_outputs_that_the_site_has_at_the_detector_are_found():
    outputs = [
        {"tag": "S9", "kind": "sounder", "mutable": True, "at": "AT-1"},
        {"tag": "V9", "kind": "valve", "normally_energised": True, "at": "AT-1"},
        {"tag": "K9", "kind": "relay"},
    ]
    found = cells(made(device("AT-1", 1), outputs=outputs))
    assert found == {"K-FAULT": "panel.fault", "K-A1": "any.A1", "S9": "AT-1.A1", "V9": "AT-1.A2"}


def test_a_site_without_a_bus_has_nothing_to_discover():
    bare = site(device("AT-1", 1)).model_copy(update={"bus": None})
    with pytest.raises(ValueError, match="no bus"):
        first_setup(bare)
