"""Bump tests with a cylinder, rehearsed on panels at random: a good one is never failed, and one
whose sensor is dead always is.

GASWITNESS_RANDOM_BUMPS=100..600 has the machines of these numbers rehearsed instead of the few.
"""

import os
import random

import pytest
from memory_run import rehearsed
from random_machine import machine

FEW = range(40)
ROOM = {"tag": "R-1", "volume_m3": 50, "air_changes_per_h": 3, "fans": {"K1": 30}}
OTHERS = {"CH4": "H2", "CO": "H2", "O2": "N2"}


def numbers():
    first, _, end = os.environ.get("GASWITNESS_RANDOM_BUMPS", "").partition("..")
    return range(int(first), int(end)) if end else FEW


def with_bumps(number, **sure):
    """The machine of the number, but what is done to it are bumps; `sure` facts of each of them."""
    r = random.Random(f"bumps {number}")
    found = machine(number)
    channels = [_sensor(r, one) for one in found.site["channels"]]
    site = {**found.site, "channels": channels, "rooms": [ROOM]}
    if r.random() < 0.4:
        site["bus"] = _bus(r, [one["tag"] for one in channels])
    steps = [{"hold_s": 12.0}]
    if r.random() < 0.3 and not sure:
        leak = {"room": "R-1", "gas": channels[0]["gas"], "flow_m3_h": r.choice((0.5, 4.0))}
        steps.append({"leak": leak})
    for _ in range(r.randint(1, 3)):
        for channel in r.sample(channels, r.randint(1, len(channels))):
            steps += _bump(r, channel, sure)
        steps.append({"press": r.choice(("reset", "accept", "mute"))})
        steps.append({"hold_s": r.choice((6.0, 15.0))})
    return found.but(site=site, steps=steps, link_fault="")


def _bus(r, tags):
    """A living bus, at times a slow one."""
    devices = [
        {"tag": tag, "address": n, "draws": {"power_w": 0.2}, "least_v": 10}
        for n, tag in enumerate(tags, 1)
    ]
    segments = [
        {"from": before, "to": tag, "length_m": 10}
        for before, tag in zip(["panel", *tags], tags, strict=False)
    ]
    scan = {"device_s": r.choice((0.05, 0.4, 1.5)), "missed": r.choice((1, 3))}
    return {"terminator": tags[-1], "devices": devices, "segments": segments, "scan": scan}


def _sensor(r, channel):
    t90_s = channel["t90_s"]
    more = {"cross_sensitivity": {OTHERS[channel["gas"]]: r.choice((0.0, 0.3, -0.2))}}
    if t90_s and r.random() < 0.4:
        more["t50_s"] = t90_s * r.choice((0.31, 0.5, 0.8))
    if t90_s and r.random() < 0.5:
        more["recovery_t90_s"] = t90_s * r.choice((0.5, 2.0, 6.0))
    if r.random() < 0.3:
        more["room"] = "R-1"
    return {**channel, **more}


def _bump(r, channel, sure):
    name = r.choice(list(channel["levels"]))
    bump = {
        "channel": channel["tag"],
        "concentration": r.choice((f"past {name}", "70 % of range", "over range", "20 % of range")),
        "tube_m": r.choice((0.0, 2.0, 20.0)),
        "tube_mm": r.choice((2.0, 4.0, 6.0)),
        "flow_l_min": r.choice((0.5, 0.5, 1.0, 0.2)),
        "for_s": r.choice((3.0, 15.0, 60.0)),
    }
    if r.random() < 0.25 and not sure:
        bump |= {"gas": OTHERS[channel["gas"]], "concentration": r.choice((5, 50))}
    bump |= sure
    litres_s = bump["flow_l_min"] / 60
    tube_s = 0.7854 * (bump["tube_mm"] / 100) ** 2 * bump["tube_m"] * 10 / litres_s
    hold_s = round(bump["for_s"] + tube_s + r.choice((0.2, 5.0, 40.0)), 3)
    return [{"bump": bump}, {"hold_s": hold_s}]


def failures(run):
    return [
        f"{verdict.id}: {aspect.because}"
        for verdict in run.verdicts()
        for aspect in verdict.aspects
        if aspect.outcome.value == "failed"
    ]


def test_no_bump_at_random_fails_a_good_panel():
    found, rehearsals = {}, 0
    for number in numbers():
        run = rehearsed(with_bumps(number))
        if run is not None:
            rehearsals += 1
            found[number] = failures(run)
    assert {number: words for number, words in found.items() if words} == {}
    assert rehearsals > 0.5 * len(numbers())


def dead(site):
    """The same panel, but its sensors answer to nothing in the time that there is."""
    still = {"t90_s": 1e6, "t50_s": None, "recovery_t90_s": None}
    channels = tuple(channel.model_copy(update=still) for channel in site.channels)
    return site.model_copy(update={"channels": channels})


SURE = {"concentration": "70 % of range", "tube_m": 2.0, "flow_l_min": 0.5, "for_s": 90.0}


def all_shown(site):
    """The site, but every reading is shown as it is."""
    channels = [{**one, "on_fault": "hold", "signal": "bus"} for one in site["channels"]]
    points = [
        {
            "name": one["tag"],
            "table": "input register",
            "address": 4 * at,
            "type": "float32",
            "shows": f"{one['tag']}.reading",
        }
        for at, one in enumerate(channels)
    ]
    return {**site, "channels": channels, "points": points}


@pytest.mark.parametrize("number", range(12))
def test_a_sensor_that_answers_to_nothing_is_failed_by_a_bump(number):
    bumped = with_bumps(number, **SURE)
    bumped = bumped.but(site=all_shown(bumped.site))
    good, wrong = rehearsed(bumped), rehearsed(bumped, dead)
    assert good is not None
    assert wrong is not None
    assert failures(good) == []
    gassed = {step["bump"]["channel"] for step in bumped.steps if "bump" in step}
    failed = {words.partition(":")[0] for words in failures(wrong)}
    assert {f"reading/{tag}" for tag in gassed} <= failed
