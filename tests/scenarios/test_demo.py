"""The demo as a test of a whole panel: what its scripts, taken together, exercise.

The little model here follows gas without lag, by the panel's rules: enough to tell which cause
stands alone at which step.
"""

from dataclasses import dataclass, field
from functools import cache
from itertools import combinations, pairwise

import pytest

from gaswitness_scenarios.gas_profile import RampTo
from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.script import Fault, Gas, Hold, Inhibit, Input, PanelFault, Power, Press
from gaswitness_scenarios.site_facts import facts_of, mapped_of, readings_of
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.channel import Direction, LevelsOnFault
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.matrix import AllOf, AnyOf, Fact, Not, Vote
from gaswitness_sitefile.rules import design_warnings

LOADED = load_site(demo_site_path())
SITE = LOADED.site
PATHS = site_scripts(demo_site_path())
LEVELS = [(channel, name) for channel in SITE.channels for name in channel.levels]
by_level = pytest.mark.parametrize(
    ("channel", "name"), LEVELS, ids=[f"{c.tag}.{n}" for c, n in LEVELS]
)
by_channel = pytest.mark.parametrize("channel", SITE.channels, ids=lambda channel: channel.tag)
by_script = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)


@cache
def script(path):
    return load_script(path, SITE)


def all_steps(kind):
    return [step for path in PATHS for step in script(path).steps if isinstance(step, kind)]


def beyond(level, gas):
    return gas >= level.setpoint if level.direction is Direction.RISING else gas <= level.setpoint


def back(level, gas):
    """Whether gas is so far back that the condition is off."""
    if level.direction is Direction.RISING:
        return gas < level.setpoint - level.hysteresis
    return gas > level.setpoint + level.hysteresis


@dataclass
class Model:
    gas: dict = field(default_factory=lambda: {c.tag: c.clean_reading for c in SITE.channels})
    facts: set = field(default_factory=set)
    keys: list = field(default_factory=list)
    own_fault: bool = False

    def do(self, step):
        self.keys = []
        match step:
            case Gas():
                self.gas[step.channel] = step.level
            case Fault():
                self.put(f"{step.channel}.fault", step.on)
            case Inhibit():
                self.put(f"{step.channel}.inhibit", step.on)
            case Input():
                self.put(f"{step.tag}.active", step.on)
            case PanelFault():
                self.own_fault = step.on
            case Press():
                self.keys = [step.key]
            case Power():
                self.facts = {f for f in self.facts if f.endswith((".inhibit", ".active"))}
        for channel, name in LEVELS:
            self.level(channel, name)

    def put(self, fact, on):
        (self.facts.add if on else self.facts.discard)(fact)

    def level(self, channel, name):
        level, fact = channel.levels[name], f"{channel.tag}.{name}"
        if f"{channel.tag}.fault" in self.facts:
            if channel.levels_on_fault is not LevelsOnFault.HOLD:
                self.put(fact, channel.levels_on_fault is LevelsOnFault.TRIP)
        elif beyond(level, self.gas[channel.tag]):
            self.put(fact, True)
        elif back(level, self.gas[channel.tag]) and (not level.latching or "reset" in self.keys):
            self.put(fact, False)

    def counts(self, fact):
        return fact in self.facts and f"{fact.partition('.')[0]}.inhibit" not in self.facts

    def holds(self, cause):
        match cause:
            case Fact("panel", "fault"):
                return self.own_fault or any(self.counts(f"{c.tag}.fault") for c in SITE.channels)
            case Fact("any", what):
                return any(self.counts(f"{c.tag}.{what}") for c in SITE.channels)
            case Fact():
                return self.counts(str(cause))
            case Not(term):
                return not self.holds(term)
            case AllOf(terms):
                return all(self.holds(term) for term in terms)
            case AnyOf(terms):
                return any(self.holds(term) for term in terms)
            case Vote(need, terms):
                return sum(self.holds(term) for term in terms) >= need

    def causes(self, effect):
        return frozenset(c.id for c in SITE.cells_of[effect] if self.holds(c.cause_tree))


@cache
def states():
    """For each script, after each step: the step, its time, what holds by effect, the facts."""
    found = []
    for path in PATHS:
        model, told = Model(), []
        told.append((None, {o.tag: model.causes(o.tag) for o in SITE.outputs}, frozenset()))
        for step in script(path).steps:
            model.do(step)
            causes = {o.tag: model.causes(o.tag) for o in SITE.outputs}
            told.append((step, causes, frozenset(model.facts)))
        found.append(told)
    return found


def test_demo_is_large_and_mixed_enough():
    assert len(SITE.channels) == 11
    assert {c.gas for c in SITE.channels} == {"NH3", "CH4", "H2", "CO", "NO2", "CO2", "O2"}
    assert (len(SITE.inputs), len(SITE.outputs), len(SITE.matrix)) == (4, 15, 40)
    assert len(SITE.points) == 156
    assert {c.on_fault.value for c in SITE.channels} == {"hold", "zero", "sentinel", "nan"}
    assert {c.levels_on_fault.value for c in SITE.channels} == {"hold", "clear", "trip"}
    assert all(c.noise > 0 for c in SITE.channels)


def test_design_rules_find_only_that_some_points_can_be_written():
    found = {(w.rule, w.place.line) for w in design_warnings(LOADED)}
    writable = {at + 2 for at, point in enumerate(SITE.points) if "w" in point.access.value}
    assert found == {("GW110", line) for line in writable}
    assert len(writable) == 5


def test_map_shows_every_fact_that_a_test_needs():
    # What the demo's panel does not do: no channel in test, no output forced, no first-up.
    beyond = (".under_range", ".test", ".calibration", ".first_up", ".forced")
    needed = {fact for fact in facts_of(SITE) if not fact.endswith(beyond)} | set(readings_of(SITE))
    assert needed - mapped_of(SITE) == set()
    shown = {what for point in SITE.points for _, what in point.facts()}
    for output in SITE.outputs:
        assert {f"{output.tag}.active", f"{output.tag}.energised"} <= shown


def test_all_scripts_fit_in_two_and_a_half_hours_and_the_first_look_in_three_minutes():
    assert sum(script(path).length_s for path in PATHS) < 9000
    assert script(PATHS[0]).name == "00-first-look"
    assert script(PATHS[0]).length_s < 180
    assert len(PATHS) == 11


@by_level
def test_each_level_is_located_by_slow_gas_both_ways(channel, name):
    level, timing = channel.levels[name], SITE.timing
    blur_s = 2 * SITE.pace.poll_period_s + 2 * timing.scan_s + timing.refresh_s
    slow = [
        step
        for step in all_steps(Gas)
        if step.channel == channel.tag
        and isinstance(step.profile, RampTo)
        and abs(step.level - step.start) / step.over_s * blur_s < channel.level_tolerance(name)
    ]
    assert any(not beyond(level, s.start) and beyond(level, s.level) for s in slow)
    assert any(beyond(level, s.start) and back(level, s.level) for s in slow)


@by_level
def test_each_level_holds_off_just_short_of_its_setpoint(channel, name):
    level = channel.levels[name]
    near = 4 * channel.level_tolerance(name)
    held = [s for s, settled in settled_gas(channel) if settled and not beyond(level, s.level)]
    assert any(abs(s.level - level.setpoint) <= near for s in held)


def settled_gas(channel):
    """Gas steps of a channel, and whether they stay for 3.5 T90 once arrived."""
    for path in PATHS:
        steps = script(path).steps
        own = [s for s in steps if isinstance(s, Gas) and s.channel == channel.tag]
        ends = [s.at_s for s in own[1:]] + [script(path).length_s]
        for step, end_s in zip(own, ends[: len(own)], strict=True):
            yield step, end_s - step.end_s > 3.5 * channel.t90_s + 1.1


@by_level
def test_each_latching_level_meets_reset_with_its_gas_and_without(channel, name):
    level, fact, tries = channel.levels[name], f"{channel.tag}.{name}", set()
    for told in states():
        gas = channel.clean_reading
        for (_, _, before), (step, _, after) in pairwise(told):
            if isinstance(step, Gas) and step.channel == channel.tag:
                gas = step.level
            if isinstance(step, Press) and step.key == "reset" and fact in before:
                tries.add((beyond(level, gas), fact in after))
    assert tries >= ({(True, True), (False, False)} if level.latching else {(True, True)})


@by_channel
def test_each_channel_settles_at_three_readings_that_no_other_of_its_unit_has(channel):
    readings = script(next(path for path in PATHS if path.stem == "10-readings")).steps
    levels = {
        other.tag: {s.level for s in readings if isinstance(s, Gas) and s.channel == other.tag}
        for other in SITE.channels
        if other.unit is channel.unit
    }
    limits = (channel.clean_reading, *channel.shown_limits)
    own = {one for one in levels.pop(channel.tag) if limits[1] < one < limits[2]} - {limits[0]}
    settled = {step.level for step, long_enough in settled_gas(channel) if long_enough}
    assert len(own) == 3
    assert own <= settled
    others = set().union(*levels.values())
    apart = min((abs(a - b) for a in own for b in others), default=channel.span)
    assert apart > 0
    assert any(step.level > channel.shown_limits[1] for step, _ in settled_gas(channel))


@by_channel
def test_each_channel_fails_drops_out_returns_and_is_inhibited(channel):
    done = {(s.on, s.drop_out) for s in all_steps(Fault) if s.channel == channel.tag}
    assert done == {(True, False), (False, False), (True, True), (False, True)}
    assert {s.on for s in all_steps(Inhibit) if s.channel == channel.tag} == {True, False}


@by_level
def test_each_level_but_enrichment_comes_while_its_channel_is_inhibited(channel, name):
    if name == "A3":
        assert channel.tag == "AT-601"
        return
    wanted = {f"{channel.tag}.{name}", f"{channel.tag}.inhibit"}
    assert any(wanted <= facts for told in states() for _, _, facts in told)


def test_each_input_is_made_and_unmade():
    done = {(s.tag, s.on) for s in all_steps(Input)}
    assert done == {(found.tag, on) for found in SITE.inputs for on in (True, False)}


@pytest.mark.parametrize("cell", SITE.matrix, ids=lambda cell: cell.id)
def test_each_cell_acts_and_lets_go_with_no_other_cell_on_its_output(cell):
    rises, falls = 0, 0
    for told in states():
        for (_, before, _), (_, after, _) in pairwise(told):
            was, now = before[cell.effect], after[cell.effect]
            rises += not was and now == {cell.id}
            falls += was == {cell.id} and not now
    assert rises >= 1
    assert falls >= 1


def test_each_cell_has_the_time_that_it_may_take_before_the_next_change():
    timing = SITE.timing
    slack_s = timing.scan_s + timing.refresh_s + 2 * SITE.pace.poll_period_s
    for cell in SITE.matrix:
        longest = 0.0
        for told in states():
            begun = None
            for (_, before, _), (step, after, _) in pairwise(told):
                if not before[cell.effect] and after[cell.effect] == {cell.id}:
                    begun = step.at_s
                elif begun is not None and after[cell.effect] != {cell.id}:
                    longest, begun = max(longest, step.at_s - begun), None
        assert longest > cell.on_delay_s + cell.response_s + slack_s, cell.id


def test_vote_sees_every_pair_and_each_detector_alone():
    members = [f"AT-10{n}.A2" for n in (1, 2, 3)]
    seen = {
        frozenset(m for m in members if m in facts and f"{m[:6]}.inhibit" not in facts)
        for told in states()
        for _, _, facts in told
    }
    for pair in combinations(members, 2):
        assert frozenset(pair) in seen
    for one in members:
        assert frozenset({one}) in seen


@by_channel
def test_each_channel_alone_moves_the_common_first_alarm(channel):
    alone = {
        frozenset(f for f in facts if f.endswith(".A1"))
        for told in states()
        for _, _, facts in told
    }
    assert {f"{channel.tag}.A1"} in alone


@pytest.mark.parametrize("tag", ["S1", "S2"])
def test_each_sounder_is_muted_and_sounds_again_on_a_new_cause(tag):
    again = 0
    for told in states():
        muted = False
        for (_, before, _), (step, after, _) in pairwise(told):
            if isinstance(step, Press) and step.key == "mute":
                muted = bool(before[tag])
            elif muted and after[tag] > before[tag]:
                again += 1
            muted = muted and bool(after[tag])
    assert again >= 1


def test_power_goes_and_comes_with_something_latched_and_gas_in_warm_up():
    power = [(step, before) for told in states() for step, before, _ in told if step]
    switched = [step.on for step, _ in power if isinstance(step, Power)]
    assert switched == [False, True]
    told = next(t for t in states() if any(isinstance(s, Power) for s, _, _ in t))
    off = next(at for at, (s, _, _) in enumerate(told) if isinstance(s, Power) and not s.on)
    assert "AT-201.A2" in told[off - 1][2]
    on = next(at for at, (s, _, _) in enumerate(told) if isinstance(s, Power) and s.on)
    assert "AT-401.A1" in told[on][2]


def test_panel_fails_by_itself():
    assert [step.on for step in all_steps(PanelFault)] == [True, False]


@by_script
def test_each_script_begins_with_the_warm_up_and_says_why_it_is_there(path):
    found = script(path)
    first = next(step for step in found.steps if isinstance(step, Hold))
    assert first.at_s == 0
    assert first.hold_s > SITE.timing.warm_up_s + 5
    assert path.read_text("utf-8").startswith("# ")
    assert len(found.text) > 80


@by_script
def test_each_script_leaves_the_panel_at_rest_whatever_the_phase(path):
    found = script(path)
    for seed in (1, 2):
        panel = played(found, VirtualPanel(SITE, seed=seed))
        restless = [fact for fact in facts_of(SITE) if panel.fact(fact)]
        fail_safe = [f"{o.tag}.energised" for o in SITE.outputs if o.normally_energised]
        assert sorted(restless) == sorted(fail_safe)
        for channel in SITE.channels:
            away = abs(panel.reading(channel.tag) - channel.clean_reading)
            assert away < channel.noise + 0.002 * channel.span


def played(found, panel):
    for step in found.steps:
        stimulus = stimulus_of(step)
        if stimulus is not None:
            panel.apply(stimulus, step.at_s)
    panel.advance(found.length_s)
    return panel


@by_script
def test_no_state_of_the_panel_is_shorter_than_the_site_says(path):
    found, panel = script(path), VirtualPanel(SITE, seed=5)
    facts = list(facts_of(SITE))
    last = {fact: (panel.fact(fact), 0.0) for fact in facts}
    steps = list(found.steps)
    short = []
    for tick in range(int(found.length_s / SITE.timing.scan_s)):
        now_s = tick * SITE.timing.scan_s
        while steps and steps[0].at_s <= now_s:
            stimulus = stimulus_of(steps.pop(0))
            if stimulus is not None:
                panel.apply(stimulus, now_s)
        panel.advance(now_s)
        for fact in facts:
            value, since_s = panel.fact(fact), last[fact][1]
            if value != last[fact][0]:
                if now_s - since_s < SITE.timing.shortest_dwell_s:
                    short.append((fact, now_s))
                last[fact] = (value, now_s)
    assert short == []
