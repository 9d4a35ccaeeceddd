"""A long bus brings readings late: a good panel on it is not failed for that."""

import pytest
from memory_run import rehearsed
from random_machine import Machine

TAGS = [f"AT-{n}" for n in range(1, 21)]


def slow(t90_s, steps, seed=1):
    """Twenty detectors, each asked every 6 s."""
    channel = {"gas": "CH4", "unit": "%LEL", "range": [0, 100], "t90_s": t90_s}
    levels = {"A1": {"setpoint": 10, "hysteresis": 2}, "A2": {"setpoint": 20, "latching": True}}
    reading = {"table": "input register", "type": "float32"}
    flag = {"table": "discrete input", "type": "bit"}
    points = [
        {"name": f"{tag} r", "address": 4 * at, "shows": f"{tag}.reading", **reading}
        for at, tag in enumerate(TAGS)
    ]
    points += [
        {"name": f"{tag} {what}", "address": 4 * at + bit, "shows": f"{tag}.{what}", **flag}
        for at, tag in enumerate(TAGS)
        for bit, what in enumerate(("A1", "A2", "fault"))
    ]
    site = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "pace": {"poll_period_s": 0.5},
        "timing": {"scan_s": 0.5, "refresh_s": 0.1, "warm_up_s": 0},
        "channels": [{"tag": tag, **channel, "levels": levels} for tag in TAGS],
        "outputs": [{"tag": "K1", "kind": "relay"}],
        "matrix": [{"cause": "any.A1", "effect": "K1", "response_s": 3}],
        "map": {"gaps": "zeros"},
        "bus": {
            "supply_v": 26,
            "scan": {"device_s": 0.3, "missed": 3},
            "terminator": TAGS[-1],
            "devices": [
                {"tag": tag, "address": n, "draws": {"power_w": 0.1}, "least_v": 10}
                for n, tag in enumerate(TAGS, 1)
            ],
            "segments": [
                {"from": before, "to": tag, "length_m": 5}
                for before, tag in zip(["panel", *TAGS], TAGS, strict=False)
            ],
        },
        "points": points,
    }
    return Machine(site, steps, seed, (0.001, 0.02), 0.0, 20.0)


def failures(run):
    return [
        f"{verdict.id}: {aspect.because}"
        for verdict in run.verdicts()
        for aspect in verdict.aspects
        if aspect.outcome.value == "failed"
    ]


@pytest.mark.parametrize("t90_s", [0.0, 2.0])
@pytest.mark.parametrize("held_s", [3.0, 5.0, 9.0, 40.0])
def test_a_reading_that_is_as_old_as_the_bus_makes_it_is_not_wrong(t90_s, held_s):
    steps = [{"hold_s": 12.0}]
    for tag in ("AT-1", "AT-11", "AT-20"):
        steps += [
            {"gas": {"channel": tag, "to": 50}},
            {"hold_s": held_s},
            {"gas": {"channel": tag, "to": "clean"}},
            {"hold_s": 25.0},
            {"press": "reset"},
            {"hold_s": 10.0},
        ]
    run = rehearsed(slow(t90_s, steps))
    assert run is not None
    assert failures(run) == []
    readings = {one.id: one.outcome.value for one in run.verdicts() if one.id.startswith("reading")}
    if held_s == 40.0:
        assert {readings[f"reading/{tag}"] for tag in ("AT-1", "AT-11", "AT-20")} == {"proven"}
