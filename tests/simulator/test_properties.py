"""What holds whatever is done to the panel: safety properties, by hypothesis."""

import struct

from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import (
    ChannelFault,
    DropOut,
    GasTo,
    Inhibit,
    Power,
    Press,
    Ramp,
    Step,
)

TAGS = ("AT-1", "AT-2")
tags = st.sampled_from(TAGS)
gas = st.sampled_from([-30.0, 0.0, 15.0, 20.0, 25.0, 60.0, 130.0])
resets = st.just(Press("reset"))
others = st.one_of(
    st.builds(GasTo, tags, st.one_of(st.builds(Step, gas), st.builds(Ramp, gas, st.just(20.0)))),
    st.builds(ChannelFault, tags, st.booleans()),
    st.builds(DropOut, tags, st.booleans()),
    st.builds(Press, st.sampled_from(["accept", "mute"])),
)
inhibits = st.builds(Inhibit, tags, st.booleans())
powers = st.builds(Power, st.booleans())


def plays(*kinds):
    step = st.tuples(st.sampled_from([0.2, 1.0, 3.0, 20.0]), st.one_of(*kinds))
    return st.lists(step, min_size=3, max_size=30)


def site_of(make_site, a_channel, a_cell, a_point):
    latching = {"A1": {"setpoint": 20, "hysteresis": 2, "latching": True, "on_delay_s": 1}}
    return make_site(
        channels=[a_channel(tag, levels=latching, noise=0.5, t90_s=5) for tag in TAGS],
        outputs=[
            {"tag": "S1", "kind": "sounder", "mutable": True},
            {"tag": "B1", "kind": "beacon"},
            {"tag": "K1", "kind": "relay", "normally_energised": True},
            {"tag": "K2", "kind": "relay"},
        ],
        matrix=[
            a_cell("any.A1", "S1"),
            a_cell("any.A1", "B1"),
            a_cell("panel.fault", "K1"),
            a_cell("AT-1.A1 OR AT-1.fault OR AT-1.over_range", "K2"),
        ],
        points=[
            a_point("r1", "input register", 0, "int16", "AT-1.reading", scale=0.1),
            a_point("r2", "input register", 1, "float32", "AT-2.reading", order="CDAB"),
            *(a_point(f"b{n}", "input register", 3, "bit in word", shows, bit=n)
              for n, shows in enumerate(("AT-1.A1", "S1.active", "S1.muted", "K1.energised"))),
        ],
    )  # fmt: skip


def states(panel, play):
    """The panel after each scan of a play, and what was done since the state before."""
    at_s = 0.0
    for wait_s, stimulus in play:
        panel.apply(stimulus, at_s)
        done = stimulus
        end_s = at_s + wait_s
        while at_s < end_s:
            at_s = min(end_s, at_s + 0.5)
            panel.advance(at_s)
            yield done
            done = None


def panel_of(make_site, a_channel, a_cell, a_point, seed=1):
    return VirtualPanel(site_of(make_site, a_channel, a_cell, a_point), seed=seed)


@settings(deadline=None)
@given(plays(others))
def test_a_latched_level_never_falls_without_a_reset(make_site, a_channel, a_cell, a_point, play):
    panel = panel_of(make_site, a_channel, a_cell, a_point)
    latched = set()
    for _ in states(panel, play):
        assert all(panel.fact(f"{tag}.A1") for tag in latched)
        latched |= {tag for tag in TAGS if panel.fact(f"{tag}.A1")}


@settings(deadline=None)
@given(plays(others, inhibits, resets))
def test_muting_never_takes_the_beacon(make_site, a_channel, a_cell, a_point, play):
    panel = panel_of(make_site, a_channel, a_cell, a_point)
    for _ in states(panel, play):
        assert not panel.fact("B1.muted")
        assert panel.fact("B1.active") is panel.fact("any.A1")
        assert panel.fact("S1.active") is (panel.fact("any.A1") and not panel.fact("S1.muted"))
        assert not (panel.fact("S1.muted") and not panel.fact("any.A1"))


@settings(deadline=None)
@given(plays(others, inhibits, resets))
def test_an_inhibited_channel_never_drives_an_effect(make_site, a_channel, a_cell, a_point, play):
    panel = panel_of(make_site, a_channel, a_cell, a_point)
    for _ in states(panel, play):
        if panel.fact("AT-1.inhibit"):
            assert not panel.fact("K2.active")
        if panel.fact("AT-1.inhibit") and panel.fact("AT-2.inhibit"):
            assert not panel.fact("B1.active")
            assert not panel.fact("panel.fault")


@settings(deadline=None)
@given(plays(others, inhibits, powers))
def test_nothing_is_energised_or_answers_without_power(make_site, a_channel, a_cell, a_point, play):
    panel = panel_of(make_site, a_channel, a_cell, a_point)
    device = VirtualDevice(panel)
    for _ in states(panel, play):
        if not panel.powered:
            assert not any(panel.fact(f"{out}.energised") for out in ("S1", "B1", "K1", "K2"))
            assert device.answer(1, bytes.fromhex("0400000001"), panel.now_s) is None


@settings(deadline=None)
@given(plays(others, inhibits, powers), st.integers(0, 99))
def test_the_image_tells_what_the_panel_knows(make_site, a_channel, a_cell, a_point, play, seed):
    panel = panel_of(make_site, a_channel, a_cell, a_point, seed)
    device = VirtualDevice(panel)
    for _ in states(panel, play):
        answer = device.answer(1, bytes.fromhex("0400000004"), panel.now_s)
        if answer is None or answer[0] & 0x80:
            continue
        tenths, low, high, word = struct.unpack(">h3H", answer[2:])
        (second,) = struct.unpack(">f", struct.pack(">HH", high, low))
        assert -10.0 <= panel.reading("AT-1") <= 110.0
        assert abs(tenths * 0.1 - panel.reading("AT-1")) <= 0.05 + 1e-9
        assert abs(second - panel.reading("AT-2")) <= 1e-4
        facts = ("AT-1.A1", "S1.active", "S1.muted", "K1.energised")
        assert [bool(word >> n & 1) for n in range(4)] == [panel.fact(name) for name in facts]
