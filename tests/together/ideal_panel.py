"""What an ideal panel would do under a script, tick by tick: test support, written a third time.

Brute force over the timeline of steps, apart from the planner, the simulator and the probe: no
noise, no scan phase, no link. Good enough to say what a script exercises, and nothing else.
"""

import math
from collections import deque
from dataclasses import dataclass, field

from gaswitness_scenarios import script as steps
from gaswitness_scenarios.gas_profile import gas_after
from gaswitness_sitefile.channel import Direction, LevelsOnFault
from gaswitness_sitefile.matrix import AllOf, AnyOf, Fact, Not, Vote

TICK_S = 0.5

AWAY = ("inhibit", "test", "calibration")
"""In any of these a channel drives nothing, and no other fact of it counts."""

NEAR = 0.12
"""Just short of a setpoint: by no more than this part of it, or 3.5 of its tolerances."""


def truth_of(cause, facts):
    """A cause by the facts as they count: what is not there is false."""
    match cause:
        case Fact():
            return facts.get(str(cause), False)
        case Not(term):
            return not truth_of(term, facts)
        case AllOf(terms):
            return all(truth_of(term, facts) for term in terms)
        case AnyOf(terms):
            return any(truth_of(term, facts) for term in terms)
        case Vote(need, terms):
            return sum(truth_of(term, facts) for term in terms) >= need


@dataclass
class Stretch:
    """From `at_s` to `end_s` all stayed as it was. `facts` as they count as causes; `shown` as the
    map shows them; `beyond`: levels whose readings stand beyond the setpoint; `short`: those whose
    settled readings stand just short of it; `delayed` and `acting` of cells by id."""

    at_s: float
    end_s: float
    facts: dict
    shown: dict
    beyond: frozenset
    short: frozenset
    delayed: dict
    acting: dict
    muted: dict
    pressed: frozenset
    power: bool

    def same(self, other):
        """Whether nothing changes from this to the other; keys pressed are always apart."""
        return (
            not other.pressed
            and not self.pressed
            and self.shown == other.shown
            and self.facts == other.facts
            and self.acting == other.acting
            and self.delayed == other.delayed
            and self.short == other.short
            and self.beyond == other.beyond
            and self.power is other.power
        )


@dataclass
class _Level:
    on: bool = False
    beyond_s: float = 0.0


@dataclass
class _Channel:
    reading: float
    profile: object = None
    start: float = 0.0
    since_s: float = 0.0
    broken: set = field(default_factory=set)
    broken_s: float = -1.0
    fault: bool = False
    inhibit: bool = False
    in_test: bool = False
    calibrated_until_s: float = -1.0
    levels: dict = field(default_factory=dict)
    doses: dict = field(default_factory=dict)
    settled: set = field(default_factory=set)


@dataclass
class _Cell:
    true_s: float = -1.0
    off_s: float = math.inf
    delayed: bool = False
    acting: bool = False


class IdealPanel:
    """Plays a script's steps; `stretches` and `settled` readings afterwards."""

    def __init__(self, site, script):
        self.site = site
        self.steps_of = {
            (channel.tag, name): _short_of(channel, name)
            for channel in site.channels
            for name in channel.levels
        }
        self.channels = {
            one.tag: _Channel(one.clean_reading, levels={name: _Level() for name in one.levels})
            for one in site.channels
        }
        self.inputs = dict.fromkeys(site.input_of, False)
        self.cells = {cell.id: _Cell() for cell in site.matrix}
        self.muted = dict.fromkeys(site.output_of, False)
        self.own_fault = self.unaccepted = False
        self.power, self.warm_until_s = True, site.alarms_count_after_s
        self.before, self.forced = {}, {}
        self.stretches = []
        todo = list(script.steps)
        number = 0
        for tick in range(int(script.length_s / TICK_S) + 20):
            now_s = tick * TICK_S
            pressed = set()
            while number < len(todo) and todo[number].at_s <= now_s:
                self._do(todo[number], pressed)
                number += 1
            here = self._tick(now_s + site.alarms_count_after_s, now_s, pressed)
            if self.stretches and self.stretches[-1].same(here):
                self.stretches[-1].end_s = here.end_s
            else:
                self.stretches.append(here)
        self.settled = {tag: one.settled for tag, one in self.channels.items()}

    def _do(self, step, pressed):
        match step:
            case steps.Gas():
                one = self.channels[step.channel]
                one.profile, one.start, one.since_s = step.profile, step.start, step.at_s
            case steps.Fault():
                one = self.channels[step.channel]
                (one.broken.add if step.on else one.broken.discard)(step.drop_out)
                if step.on and one.broken_s < 0:
                    one.broken_s = step.at_s
                elif not one.broken:
                    one.broken_s = -1.0
            case steps.Press():
                pressed.add(step.key)
            case steps.Power():
                self._switch(step)
            case _:
                self._set(step)

    def _set(self, step):
        """What stays as it is put until it is put otherwise."""
        match step:
            case steps.Inhibit():
                self.channels[step.channel].inhibit = step.on
            case steps.InTest():
                self.channels[step.channel].in_test = step.on
            case steps.Calibration():
                self.channels[step.channel].calibrated_until_s = step.at_s + step.for_s
            case steps.OutputTest():
                self.forced.pop(step.output, None)
                if step.on is not None:
                    self.forced[step.output] = step.on
            case steps.Input():
                self.inputs[step.tag] = step.on
            case steps.PanelFault():
                self.own_fault = step.on

    def _switch(self, step):
        if step.on and not self.power:
            self.warm_until_s = step.at_s + 2 * self.site.alarms_count_after_s
            for one in self.channels.values():
                one.levels = {name: _Level() for name in one.levels}
                one.in_test, one.calibrated_until_s = False, -1.0
            self.cells = {name: _Cell() for name in self.cells}
            self.muted = dict.fromkeys(self.muted, False)
            self.forced = {}
        self.power = step.on

    def _tick(self, run_s, now_s, pressed):
        """`run_s`: since power-up, which the script began after, by as long as no alarm counts."""
        warm = run_s < self.warm_until_s
        shown, beyond, short = {"panel.warm_up": warm}, set(), set()
        for channel in self.site.channels:
            stood_s = self._read(channel, now_s)
            self._judge(channel, now_s, warm, pressed, shown)
            self._stands(channel, stood_s, beyond, short)
        for tag, on in self.inputs.items():
            shown[f"{tag}.active"] = on
        facts = self._counting(shown)
        shown |= {name: on for name, on in facts.items() if name.startswith(("any.", "panel."))}
        shown["panel.inhibit"] = any(one.inhibit for one in self.channels.values())
        came = set()
        for cell in self.site.matrix:
            self._work(cell, facts, now_s, pressed, came)
        self._unaccept(shown, pressed)
        self._outputs(shown, pressed, came)
        self.before = dict(shown)
        return Stretch(
            now_s,
            now_s + TICK_S,
            facts,
            shown,
            frozenset(beyond),
            frozenset(short),
            {name: one.delayed for name, one in self.cells.items()},
            {name: one.acting for name, one in self.cells.items()},
            dict(self.muted),
            frozenset(pressed),
            self.power,
        )

    def _read(self, channel, now_s):
        """Follow the gas; since when it has stood settled, in seconds."""
        one = self.channels[channel.tag]
        if one.profile is None:
            return now_s
        gas = gas_after(one.profile, one.start, now_s - one.since_s)
        tau_s = channel.slowest_t90_s / math.log(10)
        share = 1.0 if not tau_s else 1.0 - math.exp(-TICK_S / tau_s)
        one.reading += (gas - one.reading) * share
        near = abs(one.reading - gas) <= 0.01 * channel.span
        return now_s - one.since_s if near and gas == one.profile.final else 0.0

    def _stands(self, channel, stood_s, beyond, short):
        one = self.channels[channel.tag]
        for name, level in channel.levels.items():
            sign = 1.0 if level.direction is Direction.RISING else -1.0
            under = sign * (level.setpoint - one.reading)
            if under <= 0:
                beyond.add(f"{channel.tag}.{name}")
            elif stood_s and under <= self.steps_of[channel.tag, name]:
                short.add(f"{channel.tag}.{name}")
        low, high = channel.range
        if stood_s >= 3.5 * channel.slowest_t90_s and low <= one.reading <= high and not one.fault:
            one.settled.add(round(one.reading, 3))

    def _judge(self, channel, now_s, warm, pressed, shown):
        one = self.channels[channel.tag]
        broken_for_s = now_s - one.broken_s if one.broken else -1.0
        one.fault = bool(one.broken) and broken_for_s >= channel.fault_delay_s
        low, high = channel.shown_limits
        reading = min(max(one.reading, low), high)
        off = warm or (one.inhibit and self.site.behaviour.inhibit == "levels")
        for name, level in channel.levels.items():
            self._level(channel, one, level, one.levels[name], reading, pressed, off=off)
            shown[f"{channel.tag}.{name}"] = one.levels[name].on
        shown[f"{channel.tag}.fault"] = one.fault
        shown[f"{channel.tag}.inhibit"] = one.inhibit
        shown[f"{channel.tag}.test"] = one.in_test
        shown[f"{channel.tag}.calibration"] = now_s < one.calibrated_until_s
        shown[f"{channel.tag}.over_range"] = one.reading > high
        shown[f"{channel.tag}.under_range"] = one.reading < low
        self._dose(channel, one, reading, shown, warm=warm)

    def _level(self, channel, one, level, state, reading, pressed, *, off):
        sign = 1.0 if level.direction is Direction.RISING else -1.0
        height, setpoint = sign * reading, sign * level.setpoint
        beyond, back = height >= setpoint, height < setpoint - level.hysteresis
        if one.fault:
            rule = channel.levels_on_fault
            beyond, back = rule is LevelsOnFault.TRIP, rule is LevelsOnFault.CLEAR
            state.beyond_s = math.inf if beyond else 0.0
        else:
            state.beyond_s = state.beyond_s + TICK_S if beyond else 0.0
        cleared = one.fault and channel.levels_on_fault is LevelsOnFault.CLEAR
        if off or cleared:
            state.on, state.beyond_s = False, 0.0
        elif state.beyond_s > level.on_delay_s:
            state.on = True
        elif state.on and back and (not level.latching or "reset" in pressed):
            state.on = False

    def _dose(self, channel, one, reading, shown, *, warm):
        if channel.exposure is None:
            return
        dose = 0.0 if warm or one.fault else max(0.0, reading) * TICK_S
        for name, limit in channel.exposure.limits.items():
            window_s, over_s = (900.0, 900.0) if name == "STEL" else (86400.0, 28800.0)
            doses, whole = one.doses.get(name, (deque(), 0.0))
            doses.append(dose)
            whole += dose
            if len(doses) > window_s / TICK_S:
                whole -= doses.popleft()
            one.doses[name] = (doses, whole)
            shown[f"{channel.tag}.{name}"] = whole / over_s >= limit

    def _counting(self, shown):
        facts = {}
        for name, on in shown.items():
            tag, _, what = name.partition(".")
            away = tag in self.channels and any(shown[f"{tag}.{mode}"] for mode in AWAY)
            facts[name] = on and not (away and what not in AWAY)
        for what in ("A1", "A2", "A3", "fault"):
            facts[f"any.{what}"] = any(facts.get(f"{tag}.{what}", False) for tag in self.channels)
        facts["panel.fault"] = self.own_fault or facts["any.fault"]
        return facts

    def _work(self, cell, facts, now_s, pressed, came):
        one = self.cells[cell.id]
        true = self.power and truth_of(cell.cause_tree, facts)
        one.true_s = (now_s if one.true_s < 0 else one.true_s) if true else -1.0
        delayed = true and now_s - one.true_s >= cell.on_delay_s
        if delayed and not one.delayed:
            came.add(cell.effect)
        one.off_s = 0.0 if delayed else one.off_s + TICK_S
        one.delayed = delayed
        kept = delayed or one.off_s <= cell.off_delay_s
        if kept:
            one.acting = True
        elif not cell.latching or "reset" in pressed:
            one.acting = False
        if not self.power:
            one.acting = False

    def _unaccept(self, shown, pressed):
        if "accept" in pressed:
            self.unaccepted = False
        for name, on in shown.items():
            tag, _, what = name.partition(".")
            alarms = what in ("A1", "A2", "A3", "fault", "STEL", "TWA")
            counts = not any(shown.get(f"{tag}.{mode}") for mode in AWAY)
            if alarms and on and counts and not self.before.get(name, False):
                self.unaccepted = True
        shown["panel.unaccepted"] = self.unaccepted

    def _outputs(self, shown, pressed, came):
        for output in self.site.outputs:
            acts = any(self.cells[cell.id].acting for cell in self.site.cells_of[output.tag])
            if "mute" in pressed and output.mutable and acts:
                self.muted[output.tag] = True
            if not acts or (output.tag in came and "mute" not in pressed):
                self.muted[output.tag] = False
            active = self.forced.get(output.tag, acts and not self.muted[output.tag])
            shown[f"{output.tag}.forced"] = output.tag in self.forced
            shown[f"{output.tag}.active"] = active
            shown[f"{output.tag}.energised"] = active is not output.normally_energised
            shown[f"{output.tag}.muted"] = self.muted[output.tag]


def _short_of(channel, name):
    """How far below a setpoint is just short of it."""
    level = channel.levels[name]
    return max(NEAR * abs(level.setpoint), 3.5 * channel.level_tolerance(name))
