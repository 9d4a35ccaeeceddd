"""Which outputs draw at rest and in full alarm, and where; the bus as a tree."""

import pytest

from gaswitness_simulator.bus_loads import (
    bus_tree,
    consumers,
    energised_outputs,
    panel_side,
    unstated_outputs,
)
from gaswitness_simulator.bus_power import Load
from gaswitness_sitefile.bus import Bus


def cell(cause, effect):
    return {"cause": cause, "effect": effect, "response_s": 3}


def output(tag, kind="relay", **more):
    return {"tag": tag, "kind": kind, **more}


def device(tag, address, **more):
    return {"tag": tag, "address": address, "draws": {"power_w": 1.0}, **more}


def segment(start, to, length_m=50, **more):
    return {"from": start, "to": to, "length_m": length_m, **more}


BUS = {
    "supply_v": 24,
    "devices": [device("AT-1", 1)],
    "segments": [segment("panel", "AT-1")],
}


def energised(make_site, outputs, matrix, *, full_alarm):
    site = make_site(outputs=outputs, matrix=matrix, inputs=[{"tag": "DI-1"}])
    return set(energised_outputs(site, full_alarm=full_alarm))


@pytest.mark.parametrize(
    ("cause", "normally_energised", "at_rest", "in_full_alarm"),
    [
        ("AT-1.A1", False, False, True),
        ("AT-1.A1", True, True, False),
        ("any.A1", False, False, True),
        ("panel.fault", False, False, True),
        ("panel.fault", True, True, True),
        ("DI-1.active", False, False, True),
        ("AT-1.A1 AND NOT DI-1.active", False, False, True),
        ("AT-1.A1 AND NOT DI-1.active", True, True, True),
        ("AT-1.inhibit", False, False, False),
        ("NOT any.A1", False, True, False),
    ],
)
def test_an_output_draws_while_its_coil_is_energised(
    make_site, cause, normally_energised, at_rest, in_full_alarm
):
    outputs = [output("K1", normally_energised=normally_energised)]
    found = [
        "K1" in energised(make_site, outputs, [cell(cause, "K1")], full_alarm=on)
        for on in (False, True)
    ]

    assert found == [at_rest, in_full_alarm]


def test_an_output_that_no_cell_drives_counts_in_full_alarm(make_site):
    assert energised(make_site, [output("K1")], [], full_alarm=True) == {"K1"}
    assert energised(make_site, [output("K1")], [], full_alarm=False) == set()


def test_outputs_draw_at_the_detector_that_carries_them(make_site):
    bus = {
        **BUS,
        "outputs": [
            {"output": "B1", "draws": {"current_a": 0.08}, "least_v": 12},
            {"output": "K1", "draws": {"current_a": 0.03, "power_w": 2.4}},
        ],
        "panel": {"rest_a": 0.2, "alarm_a": 0.5},
    }
    outputs = [output("B1", "beacon", at="AT-1"), output("K1")]
    matrix = [cell("AT-1.A1", "B1"), cell("AT-1.A1", "K1")]
    site = make_site(outputs=outputs, matrix=matrix, bus=bus)
    tree = bus_tree(site.bus)

    rest, alarm = (consumers(site, site.bus, tree, full_alarm=on) for on in (False, True))

    assert [(one.name, one.load, one.least_v) for one in rest] == [("AT-1", Load(0, 1.0), 18.0)]
    assert [(one.name, one.load, one.least_v, one.carries) for one in alarm] == [
        ("AT-1", Load(0, 1.0), 18.0, ("B1",)),
        ("B1", Load(0.08, 0), 12.0, ()),
    ]
    assert panel_side(site, site.bus, full_alarm=False) == Load(0.2, 0)
    assert panel_side(site, site.bus, full_alarm=True) == Load(0.53, 2.4)


def test_a_detector_may_draw_more_in_alarm(make_site):
    bus = {**BUS, "devices": [device("AT-1", 1, draws_in_alarm={"current_a": 0.09})]}
    site = make_site(bus=bus)
    tree = bus_tree(site.bus)

    found = [consumers(site, site.bus, tree, full_alarm=on)[0].load for on in (False, True)]

    assert found == [Load(0, 1.0), Load(0.09, 0)]


def test_what_an_output_at_a_detector_draws_must_be_stated(make_site):
    site = make_site(outputs=[output("B1", "beacon", at="AT-1"), output("K1")], bus=BUS)

    assert unstated_outputs(site, site.bus) == ("B1",)


def test_an_output_at_another_channel_of_a_device_is_carried_by_it(make_site):
    bus = {**BUS, "devices": [device("AE-1", 1, channels=["AT-1"])]}
    bus["segments"] = [segment("panel", "AE-1")]
    site = make_site(outputs=[output("B1", "beacon", at="AT-1")], bus=bus)

    assert consumers(site, site.bus, bus_tree(site.bus), full_alarm=True)[0].carries == ("B1",)


def test_the_tree_goes_line_by_line_from_the_panel():
    bus = Bus.model_validate(
        {
            "devices": [device(f"AT-{n}", n) for n in (1, 2, 3)],
            "junctions": ["JB"],
            "segments": [
                segment("JB", "AT-2"), segment("panel", "JB"),
                segment("AT-2", "AT-3"), segment("JB", "AT-1"),
            ],
        }
    )  # fmt: skip

    tree = bus_tree(bus)

    assert [(one.name, one.feeder) for one in tree] == [
        ("JB", -1), ("AT-2", 0), ("AT-3", 1), ("AT-1", 0)
    ]  # fmt: skip


@pytest.mark.parametrize(
    "segments",
    [
        [segment("AT-2", "AT-1"), segment("AT-1", "AT-2")],
        [segment("panel", "AT-1"), segment("panel", "AT-1")],
    ],
)
def test_what_is_no_tree_is_refused(segments):
    bus = Bus.model_validate({"devices": [device("AT-1", 1)], "segments": segments})

    with pytest.raises(ValueError, match=r"no cable leads|two segments"):
        bus_tree(bus)
