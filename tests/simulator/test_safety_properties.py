"""What holds whatever is done to a panel with a bus, a battery and a life of its own, by
hypothesis: physics of the readings, latches, mutes, inhibits, and coils without power."""

import math
from dataclasses import dataclass

from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import (
    ChannelFault,
    CylinderGas,
    Drift,
    DropOut,
    Exponential,
    GasTo,
    Inhibit,
    LoopCurrent,
    Power,
    Press,
    Ramp,
    Step,
    Trace,
)
from gaswitness_simulator.stimulus_bus import (
    AskDiscovery,
    BusBreak,
    BusMend,
    BusNoise,
    BusShort,
    DeviceOff,
    DeviceType,
    Mains,
    TerminatorOff,
    WatchdogRestart,
)

TAGS = ("AT-1", "AT-2")
tags = st.sampled_from(TAGS)
levels = st.sampled_from([-30.0, 0.0, 15.0, 25.0, 60.0, 130.0])
profiles = st.one_of(
    st.builds(Step, levels),
    st.builds(Ramp, levels, st.sampled_from([0.5, 20.0])),
    st.builds(Exponential, levels, st.sampled_from([2.0, 30.0])),
    st.builds(lambda a, b: Trace((1.0, 1.5), (a, b)), levels, levels),
)
gases = st.one_of(
    st.builds(GasTo, tags, profiles),
    st.builds(CylinderGas, tags, levels, st.sampled_from([0.3, 1.0]), st.sampled_from([0.0, 4.0])),
)
drifts = st.builds(
    Drift, tags, st.sampled_from([None, -5.0, 3.0]), st.sampled_from([None, 0.0, 0.6, 1.2]),
    st.sampled_from([0.0, 15.0]),
)  # fmt: skip
faults = st.one_of(
    st.builds(ChannelFault, tags, st.booleans()), st.builds(DropOut, tags, st.booleans())
)
inhibits = st.builds(Inhibit, tags, st.booleans())
mutes = st.builds(Press, st.sampled_from(["accept", "mute"]))
resets = st.just(Press("reset"))
powers = st.one_of(
    st.builds(Power, st.booleans()), st.builds(Mains, st.booleans()), st.just(WatchdogRestart())
)
buses = st.one_of(
    st.builds(BusBreak, tags, st.just(True)),
    st.builds(BusShort, tags, st.just(True)),
    st.builds(BusMend, tags),
    st.builds(DeviceOff, tags, st.booleans()),
    st.builds(DeviceType, tags, st.booleans()),
    st.builds(TerminatorOff, st.booleans()),
    st.builds(BusNoise, st.sampled_from([0.0, 60.0])),
    st.just(AskDiscovery()),
)


def plays(*kinds):
    step = st.tuples(st.sampled_from([0.2, 1.0, 3.0, 20.0]), st.one_of(*kinds))
    return st.lists(step, min_size=3, max_size=25)


LATCHING = {
    "A1": {"setpoint": 20, "hysteresis": 2, "on_delay_s": 1},
    "A2": {"setpoint": 40, "hysteresis": 2},
}
LIFE = {"relay_pulse_s": 1, "self_test_s": 1, "discovery_window_s": 2, "discovery_s": 1}


def bus():
    devices = [
        {"tag": tag, "address": n, "draws": {"power_w": 0.5}, "least_v": 15}
        for n, tag in enumerate(TAGS, 1)
    ]
    return {
        "supply_v": 24,
        "devices": devices,
        "segments": [
            {"from": "panel", "to": "AT-1", "length_m": 200},
            {"from": "AT-1", "to": "AT-2", "length_m": 200, "isolator": True},
        ],
        "outputs": [{"output": "S1", "draws": {"current_a": 0.7}, "least_v": 9}],
        "terminator": "AT-2",
        "scan": {"device_s": 0.2, "missed": 2},
        "panel": {"rest_a": 0.5, "alarm_a": 2.0},
        "battery": {"capacity_ah": 0.02, "standby_h": 24},
    }


def site_of(make_site, a_channel, a_cell, *, lives=True, **facts):
    channels = [
        a_channel(tag, **{"levels": LATCHING, "noise": 0.5, "t90_s": 5, **facts}) for tag in TAGS
    ]
    outputs = [
        {"tag": "S1", "kind": "sounder", "mutable": True, "at": "AT-2"},
        {"tag": "B1", "kind": "beacon", "at": "AT-1"},
        {"tag": "K1", "kind": "relay", "normally_energised": True},
        {"tag": "K2", "kind": "relay"},
        {"tag": "K3", "kind": "relay", "normally_energised": True},
    ]
    return make_site(
        channels=channels,
        outputs=outputs,
        matrix=[
            a_cell("any.A1", "S1"),
            a_cell("any.A1", "B1"),
            a_cell("panel.fault", "K1"),
            a_cell("AT-1.A1 OR AT-1.fault OR AT-1.over_range OR AT-1.comms_fault", "K2"),
            a_cell("any.A2", "K3", latching=True, off_delay_s=2),
        ],
        **({"bus": bus(), "panel_life": {**LIFE, "warm_up_s": 3}} if lives else {}),
    )


IN_ALARM = [(10.0, Press("accept")), (12.0, GasTo("AT-1", Step(60.0)))]
"""The panel has come up, and AT-1 is past both levels."""


def states(panel, play):
    """What was done since the state before, after each half second of a play."""
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


@dataclass
class Physics:
    """Between what the gas and the errors of a sensor have ever been: nothing else can show."""

    low: float = 0.0
    high: float = 0.0
    zero: tuple = (0.0, 0.0)
    span: tuple = (1.0, 1.0)
    forced: bool = False

    def meets(self, done):
        match done:
            case GasTo(_, Trace(_, found)):
                self.meets_levels(*found)
            case GasTo(_, profile):
                self.meets_levels(profile.level)
            case CylinderGas(_, reads, _, _):
                self.meets_levels(reads)
            case Drift(_, zero, span, _):
                self.zero = hull(self.zero, zero)
                self.span = hull(self.span, span)
            case LoopCurrent(_, current_ma):
                self.forced = current_ma is not None

    def meets_levels(self, *found):
        self.low, self.high = min(self.low, *found), max(self.high, *found)

    def allows(self, reading, noise, limits):
        ends = [z + s * g for z in self.zero for s in self.span for g in (self.low, self.high)]
        low, high = (min(max(one, limits[0]), limits[1]) for one in (min(ends), max(ends)))
        low, high = max(limits[0], low - noise), min(limits[1], high + noise)
        return low - 1e-9 <= reading <= high + 1e-9


def hull(pair, more):
    return pair if more is None else (min(*pair, more), max(*pair, more))


UNHEARD = [
    (1.0, TerminatorOff(on=True)),
    (1.0, GasTo("AT-1", Ramp(-30.0, 0.5))),
    (3.0, GasTo("AT-1", Step(-30.0))),
]
"""The gas changes twice before the panel hears of it."""
LOST_IN_GAS = [
    (3.0, Press("accept")),
    *[(0.2, GasTo("AT-1", Step(-30.0)))] * 3,
    (3.0, BusBreak("AT-1", on=True)),
]
"""What is held in the fault is the last reading that was heard."""
CALIBRATED = [
    *[(0.2, GasTo("AT-1", Step(-30.0)))] * 2,
    (0.2, AskDiscovery()),
    (0.2, Drift("AT-1", None, 0.0, 0.0)),
]
"""A sensor's error changes at once, of which the panel has yet to hear."""


@settings(deadline=None)
@example(UNHEARD)
@example(LOST_IN_GAS)
@example(CALIBRATED)
@given(plays(gases, drifts, faults, powers, buses))
def test_no_reading_is_outside_what_gas_sensor_noise_and_limits_allow(
    make_site, a_channel, a_cell, play
):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell))
    met = {tag: Physics() for tag in TAGS}
    for done in states(panel, play):
        if getattr(done, "channel", None) in met:
            met[done.channel].meets(done)
        for tag, physics in met.items():
            shown = panel.reading(tag)
            assert math.isnan(shown) or physics.allows(shown, 0.5, (-10.0, 110.0)), (tag, shown)


@settings(deadline=None)
@given(plays(gases))
def test_no_reading_moves_faster_than_the_lag_lets_it(make_site, a_channel, a_cell, play):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell, lives=False, noise=0.0))
    tau_s = 5 / math.log(10)
    # Scanned every second: a scan may come twice in 0.5 s of these looks, but never two at once.
    most = (130 + 30) * (1 - math.exp(-1.0 / tau_s))
    last = dict.fromkeys(TAGS, 0.0)
    for _ in states(panel, play):
        for tag in TAGS:
            assert abs(panel.reading(tag) - last[tag]) <= most + 1e-9
            last[tag] = panel.reading(tag)


@settings(deadline=None)
@example([(1.0, GasTo("AT-1", Step(-30.0))), (3.0, Mains(on=False)), (1.0, Press("reset"))])
@given(plays(gases, faults, inhibits, mutes, resets, powers, buses))
def test_a_latched_output_never_falls_without_reset_or_loss_of_power(
    make_site, a_channel, a_cell, play
):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell))
    latched, powered, heeds_s = False, 1, -1.0
    for done in states(panel, IN_ALARM + play):
        if done == Press("reset"):
            heeds_s = panel.now_s + 1.0  # the panel scans every second
        if panel.now_s <= heeds_s or panel.power_ups != powered or not panel.powered:
            latched, powered = False, panel.power_ups
        if latched:
            assert panel.fact("K3.active")
            assert not panel.fact("K3.energised")
        latched = panel.fact("K3.active")


@settings(deadline=None)
@given(plays(gases, faults, mutes, resets, powers, buses))
def test_a_mute_never_silences_a_beacon(make_site, a_channel, a_cell, play):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell))
    for _ in states(panel, IN_ALARM + play):
        alarm = panel.fact("AT-1.A1") or panel.fact("AT-2.A1")
        assert not panel.fact("B1.muted")
        assert panel.fact("B1.energised") is alarm or panel.state.panel_state() == "relay_pulse"


@settings(deadline=None)
@given(plays(gases, faults, inhibits, resets, powers, buses))
def test_an_inhibited_channel_never_drives_an_effect(make_site, a_channel, a_cell, play):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell))
    for _ in states(panel, IN_ALARM + play):
        if panel.fact("AT-1.inhibit"):
            assert not panel.fact("K2.active")
        if panel.fact("AT-1.inhibit") and panel.fact("AT-2.inhibit"):
            assert not panel.fact("B1.active")
            assert not panel.fact("S1.active")


@settings(deadline=None)
@given(plays(gases, powers, buses))
def test_a_fail_safe_coil_is_off_whenever_the_panel_is(make_site, a_channel, a_cell, play):
    panel = VirtualPanel(site_of(make_site, a_channel, a_cell))
    for _ in states(panel, play):
        if not panel.powered:
            for tag in ("K1", "K3", "S1", "B1", "K2"):
                assert not panel.fact(f"{tag}.energised")
        elif panel.state.panel_state() == "normal" and not panel.fact("panel.fault"):
            assert panel.fact("K1.energised")


FACTS = (
    *[f"{tag}.{what}" for tag in TAGS for what in ("A1", "A2", "fault", "comms_fault")],
    *[f"{tag}.energised" for tag in ("S1", "B1", "K1", "K2", "K3")],
    "panel.warm_up",
    "panel.fault",
    "panel.unaccepted",
)


FITTED_WRONG = [
    (0.4, GasTo("AT-1", Step(-30.0))),
    (0.2, DeviceType("AT-1", wrong=True)),
    (3.0, Press("accept")),
]
"""Another type is found once the self-test is over, on a channel of which nothing else is due."""


@settings(deadline=None)
@example(FITTED_WRONG)
@given(plays(gases, drifts, faults, inhibits, mutes, resets, powers, buses))
def test_jumping_over_quiet_scans_comes_to_the_same_as_taking_each(
    make_site, a_channel, a_cell, play
):
    site = site_of(make_site, a_channel, a_cell)
    panel, plain = VirtualPanel(site), VirtualPanel(site)
    scanning, at_s = plain.state.scanning, 0.0
    for wait_s, stimulus in play:
        for one in (panel, plain):
            one.apply(stimulus, at_s)
        at_s += wait_s
        for scan in range(scanning.now + 1, scanning.last(at_s) + 1):
            for channel in plain.state.channels.values():
                channel.due = -1  # look at it in every scan
            plain._stirred = True
            plain._next = plain._next_scan()
            for one in (panel, plain):
                one.advance(scanning.at_s(scan))
            assert [panel.fact(name) for name in FACTS] == [plain.fact(name) for name in FACTS]
            for tag in TAGS:
                one, other = panel.reading(tag), plain.reading(tag)
                assert one == other or (math.isnan(one) and math.isnan(other))
