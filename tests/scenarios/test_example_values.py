"""Example values: the bytes are the standards', and the virtual panel shows the same."""

import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_probe.decode import decode
from gaswitness_scenarios.example_values import HELD, LIKE_SENTINEL, example_values
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import GasTo, Step
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import NUMERIC, Order
from gaswitness_sitefile.site import Site

ROOT = Path(__file__).parents[2]
SITES = [
    *(ROOT / "scenarios" / "sites" / name / "site.yaml" for name in
      ("fernhollow", "coldbrook", "saltmarsh")),
    ROOT / "tests" / "sitefile" / "good" / "cellar.yaml",
]  # fmt: skip
OXYGEN = {
    "tag": "AT-1",
    "gas": "O2",
    "unit": "%vol",
    "range": [0, 25],
    "t90_s": 0,
    "levels": {
        "A1": {"setpoint": 19.5, "direction": "falling"},
        "A2": {"setpoint": 23.5},
    },
}


def site_of(*points, channel=OXYGEN, **more):
    """A site of one channel; a point's table is holding register unless it says another."""
    rows = [
        {"name": f"p{at}", "table": "holding register", "address": 10 * at, **point}
        for at, point in enumerate(points)
    ]
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "P"},
            "channels": [channel],
            "timing": {"scan_s": 0.5, "refresh_s": 0},
            "points": rows,
            **more,
        }
    )


def examples(site, at=0):
    point = site.points[at]
    found = example_values(site, point, RestPanel(site))
    return {one.case.removesuffix(", as at rest"): one.data(point).hex(" ") for one in found}


# IEEE 754-2019: 20.9 is 41A73333 and 19.5 is 419C0000 in binary32, 4034E66666666666 in binary64;
# quiet NaN 7FC00000. Two's complement and scales worked by hand; word orders by their names.
READINGS = {
    ("float32", "ABCD", 1): ("41 a7 33 33", "41 9c 00 00"),
    ("float32", "CDAB", 1): ("33 33 41 a7", "00 00 41 9c"),
    ("float32", "BADC", 1): ("a7 41 33 33", "9c 41 00 00"),
    ("float32", "DCBA", 1): ("33 33 a7 41", "00 00 9c 41"),
    ("float64", "ABCD", 1): ("40 34 e6 66 66 66 66 66", "40 33 80 00 00 00 00 00"),
    ("float64", "CDAB", 1): ("66 66 66 66 e6 66 40 34", "00 00 00 00 80 00 40 33"),
    ("uint16", "ABCD", 0.01): ("08 2a", "07 9e"),
    ("int16", "BADC", 0.01): ("2a 08", "9e 07"),
    ("int32", "CDAB", 0.001): ("51 a4 00 00", "4c 2c 00 00"),
    ("uint64", "DCBA", 0.1): ("d1 00 00 00 00 00 00 00", "c3 00 00 00 00 00 00 00"),
    ("bcd16", "ABCD", 0.01): ("20 90", "19 50"),
    ("bcd32", "CDAB", 0.0001): ("90 00 00 20", "50 00 00 19"),
}


@pytest.mark.parametrize("how", READINGS)
def test_a_reading_stands_in_its_registers_as_the_type_says(how):
    kind, order, scale = how
    site = site_of({"type": kind, "shows": "AT-1.reading", "order": order, "scale": scale})
    found = examples(site)
    assert (found["in clean air"], found["at A1"]) == READINGS[how]


def test_a_negative_is_shown_where_the_type_can_hold_it():
    signed = site_of({"type": "int16", "shows": "AT-1.reading", "scale": 0.1})
    assert examples(signed)["under-range (negative)"] == "ff e7"  # -2.5 / 0.1 = -25
    unsigned = site_of({"type": "uint16", "shows": "AT-1.reading", "scale": 0.1})
    assert not [case for case in examples(unsigned) if "under-range" in case]


@pytest.mark.parametrize(
    ("on_fault", "point", "case", "data"),
    [
        ("nan", {"type": "float32", "order": "CDAB"}, "in fault: NaN", "00 00 7f c0"),
        ("sentinel", {"type": "int16", "sentinel": -32768}, "in fault: sentinel", "80 00"),
        ("sentinel", {"type": "uint16", "sentinel": 65535}, "in fault: sentinel", "ff ff"),
        ("zero", {"type": "uint16"}, "in fault: zero", "00 00"),
        ("hold", {"type": "uint16"}, "in fault: the last good reading, here clean air", "00 15"),
    ],
)
def test_a_fault_shows_as_the_channel_says(on_fault, point, case, data):
    channel = {**OXYGEN, "on_fault": on_fault}
    site = site_of({"shows": "AT-1.reading", **point}, channel=channel)
    assert examples(site)[case] == data


def test_a_value_beyond_its_type_is_marked():
    channel = {**OXYGEN, "gas": "CO2", "unit": "ppm", "range": [0, 50000], "levels": {}}
    site = site_of({"type": "int16", "shows": "AT-1.reading"}, channel=channel)
    found = {one.case: one for one in example_values(site, site.points[0], RestPanel(site))}
    top = found["end of range"]
    assert (top.words, top.value, top.remark) == ((0x7FFF,), 32767, HELD)


def test_a_reading_that_looks_like_the_sentinel_is_marked():
    channel = {**OXYGEN, "range": [0, 100], "unit": "ppm", "gas": "CO", "on_fault": "sentinel"}
    channel["levels"] = {}
    site = site_of({"type": "uint16", "shows": "AT-1.reading", "sentinel": 100}, channel=channel)
    found = {one.case: one for one in example_values(site, site.points[0], RestPanel(site))}
    assert (found["end of range"].value, found["end of range"].remark) == (None, LIKE_SENTINEL)


def test_bits_codes_texts_and_beats():
    site = site_of(
        {"type": "bit field", "shows": "bits", "bits": {0: "AT-1.A1", 9: "AT-1.fault"}},
        {"type": "bit in word", "shows": "AT-1.A2", "bit": 3, "order": "BADC"},
        {"type": "enumeration", "shows": "AT-1.state", "codes": {7: "normal", 258: "fault"}},
        {"type": "string", "shows": "constant", "length": 2, "value": "G-7", "order": "BADC"},
        {"type": "uint16", "shows": "heartbeat"},
        {"type": "bit", "table": "coil", "shows": "K1.energised"},
        {"type": "uint64", "shows": "constant", "value": 2**40},
        {"type": "bit in word", "shows": "K1.energised", "bit": 2, "order": "BADC"},
        outputs=[{"tag": "K1", "kind": "relay", "normally_energised": True}],
    )
    # V1.1b3 clause 4.2: 0x1234 is sent 12 then 34; bit 9 is thus in the first byte
    assert examples(site, 0)["only bit 9, AT-1.fault"] == "02 00"
    assert examples(site, 1)["1, the register's other bits 0"] == "08 00"
    assert examples(site, 2) == {"code 7": "00 07", "code 258": "01 02"}
    assert examples(site, 3) == {"at rest": "2d 47 00 37"}
    assert list(examples(site, 4).values()) == ["00 00", "00 01", "ff ff", "00 00"]
    assert examples(site, 5) == {"0": "00", "1": "01"}
    # energised at rest: bit 2 of the low byte, which comes first; 1 is what it shows
    assert examples(site, 7) == {
        "0, the register's other bits 0": "00 00",
        "1, the register's other bits 0": "04 00",
    }
    rested = example_values(site, site.points[7], RestPanel(site))
    assert [one.case.endswith("as at rest") for one in rested] == [False, True]
    assert examples(site, 6)["at rest"] == "00 00 01 00 00 00 00 00"


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(sorted(NUMERIC)),
    order=st.sampled_from(list(Order)),
    scale=st.one_of(st.floats(1e-6, 1e6), st.floats(-1e6, -1e-6), st.sampled_from((1e-44, 1e44))),
    offset=st.floats(-1e4, 1e4),
    sentinel=st.one_of(st.none(), st.integers(0, 9999)),
    shows=st.sampled_from(("AT-1.reading", "AT-1.A1.setpoint")),
)
def test_no_kind_of_number_is_without_examples_that_read_back(
    kind, order, scale, offset, sentinel, shows
):
    how = {"type": kind, "order": order, "scale": scale, "offset": offset, "sentinel": sentinel}
    site = site_of({**how, "shows": shows})
    found = example_values(site, site.points[0], RestPanel(site))
    assert len(found) >= (7 if shows == "AT-1.reading" else 1) - 1
    for one in found:
        point = site.points[0]
        assert one.value == decode(point, one.words)
        assert len(one.data(point)) == 2 * point.width


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.parent.name)
def test_every_point_of_every_site_has_examples_that_read_back(path):
    site = load_site(path).site
    rest = RestPanel(site)
    for point in site.points:
        found = example_values(site, point, rest)
        assert found
        assert [one.value for one in found] == [decode(point, one.words) for one in found]
        if point.shows not in ("heartbeat",):
            assert any("at rest" in one.case for one in found)


def test_floats_are_those_of_struct():
    site = load_site(SITES[0]).site
    rest = RestPanel(site)
    checked = 0
    for point in site.points:
        if point.type != "float32" or point.order != "ABCD":
            continue
        for one in example_values(site, point, rest):
            if one.value is not None:
                assert one.data(point) == struct.pack(">f", one.value)
                checked += 1
    assert checked > 30


def test_the_virtual_panel_shows_the_same_at_its_setpoint():
    site = site_of({"type": "int32", "shows": "AT-1.reading", "order": "CDAB", "scale": 0.01})
    panel = VirtualPanel(site)
    panel.apply(GasTo("AT-1", Step(23.5)), 0.0)
    panel.advance(3.0)
    answer = VirtualDevice(panel).answer(1, bytes.fromhex("03 00 00 00 02"), 3.0)
    assert answer[2:].hex(" ") == examples(site)["at A2"] == "09 2e 00 00"
