"""The panel that jumps over quiet scans, against a plain one that steps through every scan.

The plain panel is written anew from the rules of the panel in DEVELOPERS.md; it shares with the
product only the gas at a detector, the noise and the parsed cause.
"""

from dataclasses import dataclass, field

from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaswitness_simulator.gas import Air
from gaswitness_simulator.noise import deviation, noise
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import (
    ChannelFault,
    DropOut,
    Exponential,
    GasTo,
    Inhibit,
    InputSet,
    PanelFault,
    Power,
    Press,
    Ramp,
    SetpointTo,
    Step,
)
from gaswitness_sitefile.matrix import AllOf, AnyOf, Fact, Not, Vote

EPS = 1e-9


@dataclass
class PlainChannel:
    air: Air
    setpoints: dict
    levels: dict = field(default_factory=dict)  # name: [condition, on, since]
    raw: dict = field(default_factory=lambda: {"fault": False, "drop": False, "inhibit": False})
    inhibited: bool = False
    fault: bool = False
    since: float | None = None
    measured: float = 0.0
    reading: float = 0.0
    good: float = 0.0


class PlainPanel:
    """Every scan, one after the other, in the order of rule 2."""

    def __init__(self, site, panel):
        self.site, self.seed = site, panel.seed
        self.phase_s, self.k = panel.state.scanning.phase_s, -1
        self.channels = {
            c.tag: PlainChannel(
                Air.still(c.clean_reading, c.t90_s),
                {n: lv.setpoint for n, lv in c.levels.items()},
                {n: [False, False, None] for n in c.levels},
            )
            for c in site.channels
        }
        self.inputs = {i.tag: [False, False] for i in site.inputs}
        self.own = [False, False]
        self.pressed = set()
        self.powered, self.came_s = True, 0.0
        self.fresh()
        self.scan(0.0)

    def fresh(self):
        self.cells = [
            {"delayed": False, "kept": False, "act": False, "since": None, "gone": None}
            for _ in self.site.matrix
        ]
        self.outputs = {
            o.tag: {"active": False, "muted": False, "energised": False} for o in self.site.outputs
        }
        self.scanned, self.warm_up, self.unaccepted = False, False, False
        for c in self.channels.values():
            c.fault, c.since, c.inhibited = False, None, False
            c.levels = {n: [False, False, None] for n in c.levels}
        for pair in self.inputs.values():
            pair[1] = False
        self.own[1] = False

    def run(self, to_s):
        while self.phase_s + (self.k + 1) * self.site.timing.scan_s <= to_s:
            self.k += 1
            at_s = self.phase_s + self.k * self.site.timing.scan_s
            if self.powered:
                self.scan(at_s)
            else:
                self.measure(at_s)

    def measure(self, at_s):
        numbers = noise(self.seed, self.k, len(self.site.channels))
        for i, facts in enumerate(self.site.channels):
            c = self.channels[facts.tag]
            c.good = c.reading
            if not c.raw["drop"]:
                c.measured = c.air.lagged(at_s)
                if facts.noise:
                    c.measured += deviation(numbers[i], facts.noise)
            low, high = facts.shown_limits
            c.reading = min(max(c.measured, low), high)

    def scan(self, at_s):
        self.scanned = True
        self.warm_up = at_s - self.came_s < self.site.timing.warm_up_s - EPS
        self.measure(at_s)
        if "accept" in self.pressed:
            self.unaccepted = False
        for facts in self.site.channels:
            self.scan_channel(facts, self.channels[facts.tag], at_s)
        if self.own[0] and not self.own[1]:
            self.unaccepted = True
        self.own[1] = self.own[0]
        for pair in self.inputs.values():
            pair[1] = pair[0]
        if "reset" in self.pressed:
            for c in self.channels.values():
                for level in c.levels.values():
                    level[1] = level[0]
        self.scan_cells(at_s)
        self.pressed.clear()

    def scan_channel(self, facts, c, at_s):
        before = [c.fault] + [level[1] for level in c.levels.values()]
        if c.raw["fault"] or c.raw["drop"]:
            c.since = at_s if c.since is None else c.since
            if not c.fault and at_s - c.since >= facts.fault_delay_s - EPS:
                c.fault, c.held = True, c.good
        else:
            c.fault, c.since = False, None
        c.inhibited = c.raw["inhibit"]
        for name, level in c.levels.items():
            self.scan_level(facts, c, facts.levels[name], name, level, at_s)
        after = [c.fault] + [level[1] for level in c.levels.values()]
        if not c.inhibited and any(b and not a for a, b in zip(before, after, strict=True)):
            self.unaccepted = True

    def scan_level(self, facts, c, stated, name, level, at_s):
        if self.warm_up or (c.inhibited and self.site.behaviour.inhibit == "levels"):
            level[:] = [False, False, None]
        elif c.fault:
            level[2] = None
            if facts.levels_on_fault == "clear":
                level[:] = [False, False, None]
            elif facts.levels_on_fault == "trip":
                level[:] = [True, True, None]
        else:
            s = c.setpoints[name]
            rising = stated.direction == "rising"
            beyond = c.reading >= s if rising else c.reading <= s
            h = stated.hysteresis
            back = c.reading < s - h if rising else c.reading > s + h
            if beyond:
                level[2] = at_s if level[2] is None else level[2]
                level[0] = level[0] or at_s - level[2] >= stated.on_delay_s - EPS
            else:
                level[2] = None
                level[0] = level[0] and not back
            level[1] = level[0] or (stated.latching and level[1])

    def scan_cells(self, at_s):
        acts = dict.fromkeys(self.outputs, False)
        anew = dict(acts)
        for stated, cell in zip(self.site.matrix, self.cells, strict=True):
            cause = self.holds(stated.cause_tree)
            cell["since"] = (at_s if cell["since"] is None else cell["since"]) if cause else None
            delayed = cause and at_s - cell["since"] >= stated.on_delay_s - EPS
            anew[stated.effect] |= delayed and not cell["delayed"]
            if delayed:
                cell["kept"], cell["gone"] = True, None
            elif cell["kept"]:
                cell["gone"] = at_s if cell["gone"] is None else cell["gone"]
                cell["kept"] = at_s - cell["gone"] < stated.off_delay_s - EPS
                cell["gone"] = cell["gone"] if cell["kept"] else None
            cell["delayed"] = delayed
            latch = stated.latching and cell["act"] and "reset" not in self.pressed
            cell["act"] = cell["kept"] or latch
            acts[stated.effect] |= cell["act"]
        for o in self.site.outputs:
            out = self.outputs[o.tag]
            mute = out["muted"] or ("mute" in self.pressed and o.mutable)
            out["muted"] = mute and acts[o.tag] and not anew[o.tag]
            out["active"] = acts[o.tag] and not out["muted"]
            out["energised"] = out["active"] is not o.normally_energised

    def holds(self, cause):
        match cause:
            case Not(term):
                return not self.holds(term)
            case AllOf(terms):
                return all(self.holds(t) for t in terms)
            case AnyOf(terms):
                return any(self.holds(t) for t in terms)
            case Vote(need, terms):
                return [self.holds(t) for t in terms].count(True) >= need
            case Fact("any", what):
                return any(self.counts(t, what) for t in self.channels)
            case Fact(subject, what) if subject in self.channels:
                return self.counts(subject, what)
            case Fact(subject, what):
                return self.fact(f"{subject}.{what}")

    def counts(self, tag, what):
        c = self.channels[tag]
        return (what == "inhibit" or not c.inhibited) and self.fact(f"{tag}.{what}")

    def fact(self, name):
        subject, _, what = name.partition(".")
        if subject in self.channels:
            c = self.channels[subject]
            low, high = self.site.channel_of[subject].shown_limits
            on = {"fault": c.fault, "inhibit": c.inhibited} | {n: v[1] for n, v in c.levels.items()}
            on |= {"over_range": c.measured > high, "under_range": c.measured < low}
            return self.scanned and on.get(what, False)
        if subject in self.outputs:
            return self.outputs[subject][what]
        if subject in self.inputs:
            return self.inputs[subject][1]
        faults = [c.fault and not c.inhibited for c in self.channels.values()]
        return {
            "fault": self.own[1] or any(faults),
            "warm_up": self.warm_up,
            "unaccepted": self.unaccepted,
            "inhibit": any(c.inhibited for c in self.channels.values()),
        }[what]

    def apply(self, stimulus, at_s):
        self.run(at_s)
        match stimulus:
            case GasTo(tag, profile):
                self.channels[tag].air = self.channels[tag].air.to(profile, at_s)
            case ChannelFault(tag, on):
                self.channels[tag].raw["fault"] = on
            case DropOut(tag, on):
                self.channels[tag].raw["drop"] = on
            case Inhibit(tag, on):
                self.channels[tag].raw["inhibit"] = on
            case InputSet(tag, on):
                self.inputs[tag][0] = on
            case PanelFault(on):
                self.own[0] = on
            case SetpointTo(tag, level, value):
                self.channels[tag].setpoints[level] = min(max(value, 0.0), 100.0)
            case Press(key) if self.powered:
                self.pressed.add(key)
            case Power(on) if on != self.powered:
                self.powered = on
                self.pressed.clear()
                self.fresh()
                if on:
                    self.came_s = at_s
                    self.warm_up = self.site.timing.warm_up_s > 0


TAGS = ("AT-1", "AT-2", "AT-3")
tags = st.sampled_from(TAGS)
gas = st.sampled_from([0.0, 10.0, 19.0, 20.0, 25.0, 41.0, 60.0, 109.0, 115.0, -12.0])
stimuli = st.one_of(
    st.builds(GasTo, tags, st.builds(Step, gas)),
    st.builds(GasTo, tags, st.builds(Ramp, gas, st.sampled_from([0.0, 3.0, 40.0]))),
    st.builds(GasTo, tags, st.builds(Exponential, gas, st.sampled_from([2.0, 9.0]))),
    st.builds(ChannelFault, tags, st.booleans()),
    st.builds(DropOut, tags, st.booleans()),
    st.builds(Inhibit, tags, st.booleans()),
    st.builds(SetpointTo, tags, st.just("A1"), st.sampled_from([15.0, 20.0, 30.0, 120.0])),
    st.builds(InputSet, st.just("DI-1"), st.booleans()),
    st.builds(Press, st.sampled_from(["accept", "reset", "mute"])),
    st.builds(PanelFault, st.booleans()),
    st.builds(Power, st.booleans()),
)
plays = st.lists(st.tuples(st.sampled_from([0.0, 0.3, 1.7, 5.0, 30.0]), stimuli), max_size=25)
FACTS = [
    *(f"{t}.{w}" for t in TAGS for w in ("A1", "A2", "fault", "inhibit", "over_range")),
    *(f"K{n}.{w}" for n in range(1, 6) for w in ("active", "energised", "muted")),
    *(f"panel.{w}" for w in ("fault", "warm_up", "unaccepted", "inhibit")),
    "AT-1.under_range",
    "DI-1.active",
]


def site_of(make_site, a_channel, a_cell, *, noise_largest, inhibit, on_fault, scan_s):
    levels = {
        "A1": {"setpoint": 20, "hysteresis": 2, "on_delay_s": 1.5},
        "A2": {"setpoint": 40, "hysteresis": 3, "latching": True},
    }
    falling = {"A1": {"setpoint": 20, "hysteresis": 2, "direction": "falling", "latching": True}}
    shared = {"noise": noise_largest, "levels_on_fault": on_fault}
    return make_site(
        timing={"scan_s": scan_s, "refresh_s": 0.1, "warm_up_s": 4},
        behaviour={"inhibit": inhibit},
        channels=[
            a_channel("AT-1", levels=levels, t90_s=0, fault_delay_s=2, **shared),
            a_channel("AT-2", levels=levels, t90_s=10, **shared),
            a_channel("AT-3", levels=falling, t90_s=5, clean=50, **shared),
        ],
        inputs=[{"tag": "DI-1"}],
        outputs=[
            {"tag": "K1", "kind": "relay", "normally_energised": True},
            {"tag": "K2", "kind": "sounder", "mutable": True},
            {"tag": "K3", "kind": "fan"},
            {"tag": "K4", "kind": "valve"},
            {"tag": "K5", "kind": "relay"},
        ],
        matrix=[
            a_cell("panel.fault", "K1"),
            a_cell("any.A1", "K2", on_delay_s=1),
            a_cell("AT-2.A2", "K2"),
            a_cell("2oo3(AT-1.A1, AT-2.A1, AT-3.A1)", "K3", off_delay_s=6),
            a_cell("AT-1.A2 AND NOT DI-1.active", "K4", latching=True, off_delay_s=2),
            a_cell("AT-1.over_range OR AT-3.inhibit", "K5"),
        ],
    )


variants = st.fixed_dictionaries(
    {
        "noise_largest": st.sampled_from([0.0, 0.7]),
        "inhibit": st.sampled_from(["effects", "levels"]),
        "on_fault": st.sampled_from(["hold", "clear", "trip"]),
        "scan_s": st.sampled_from([0.5, 0.7, 1.0]),
    }
)


@settings(max_examples=400, deadline=None)
@given(play=plays, seed=st.integers(0, 5), variant=variants)
@example(
    play=[(0.0, GasTo("AT-1", Ramp(115.0, 40.0)))],
    seed=0,
    variant={"noise_largest": 0.0, "inhibit": "effects", "on_fault": "hold", "scan_s": 0.5},
)
@example(
    play=[
        (0.0, GasTo("AT-1", Step(10.0))),
        (0.3, DropOut("AT-1", on=True)),
        (0.3, DropOut("AT-1", on=False)),
        (0.0, InputSet("DI-1", on=False)),
    ],
    seed=0,
    variant={"noise_largest": 0.0, "inhibit": "effects", "on_fault": "hold", "scan_s": 0.5},
)
def test_jumping_panel_agrees_with_a_plain_one(make_site, a_channel, a_cell, play, seed, variant):
    site = site_of(make_site, a_channel, a_cell, **variant)
    panel = VirtualPanel(site, seed=seed)
    plain = PlainPanel(site, panel)
    at_s = 0.0
    for wait_s, stimulus in [*play, (60.0, Press("reset")), (3.0, Press("accept"))]:
        at_s += wait_s
        panel.advance(at_s)
        plain.run(at_s)
        assert [n for n in FACTS if panel.fact(n) != plain.fact(n)] == []
        for tag in TAGS:
            channel = plain.channels[tag]
            if plain.powered and panel.state.channels[tag].live:
                expected = channel.held if channel.fault else channel.reading
                assert panel.reading(tag) == expected
        panel.apply(stimulus, at_s)
        plain.apply(stimulus, at_s)
