"""What gas time a plan is measured against: a bound from below, and the naive order."""

from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung, stages
from gaswitness_scenarios.plan_stimuli import is_exposure, is_gas
from gaswitness_scenarios.plan_wanted import kinds_of
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.matrix import Cell, Fact

PLATEAUS = 4
"""Settled readings with gas on the detector: three, and one over range."""

ACROSS = 2.0
"""Tolerances on either side of a setpoint that a ramp has to cross at the least, together."""


def lower_bound(ground: Ground) -> tuple[float, str]:
    """Gas time in seconds that no plan can be shorter than, and what makes it.

    Two things hold whatever the order, however much overlaps, and even with inhibits.

    One channel: its readings settle one after the other (four times with gas, once in clean air),
    each level's setpoint is crossed slowly enough to be located, that of one that does not latch
    on the way back, too, and each reset waits for what it does or does not. What no point shows is
    left out. None of this can overlap with the rest of it, and all of it is gas time. Nor can an
    exposure's dose, of which
    only settled readings could be a part; these are left out of it.

    One output: each source of gas that turns it alone, and each combination, needs it for itself
    for as long as the effect may take to come. These stretches cannot overlap either.

    The bound is the longest of all of these. It leaves out that a channel must reach its level
    and recover, and that both things cannot always share their time, so that no plan attains it.
    """
    by_channel = {channel.tag: _channel_s(ground, channel) for channel in ground.site.channels}
    for fact in _exposures(ground):
        own_s = ground.dose(fact).hold_s - PLATEAUS * ground.timing.settled_s(
            ground.site.channel_of[fact.subject]
        )
        by_channel[fact.subject] += max(0.0, own_s)
    by_output: dict[str, float] = {}
    for cell in ground.site.matrix:
        turns = sum(
            1
            for turn in ground.turns_of[cell.id]
            if is_gas(ground.site, turn.fact) or any(is_gas(ground.site, f) for f in turn.standing)
        )
        held_s = turns * ground.timing.comes_s([cell])
        by_output[cell.effect] = by_output.get(cell.effect, 0.0) + held_s
    tag = max(by_channel, key=by_channel.__getitem__)
    output = max(by_output, key=by_output.__getitem__, default="")
    if output and by_output[output] > by_channel[tag]:
        return by_output[output], f"{output}, turned by each of its causes alone"
    return by_channel[tag], f"{tag}, its readings, levels and doses alone"


def _exposures(ground: Ground) -> list[Fact]:
    """Of each channel the longest dose that the plan gives: a shorter one is part of it."""
    longest: dict[str, Fact] = {}
    for fact in sorted(ground.exposures, key=str):
        before = longest.get(fact.subject)
        if before is None or ground.dose(fact).hold_s > ground.dose(before).hold_s:
            longest[fact.subject] = fact
    return list(longest.values())


def _channel_s(ground: Ground, channel: Channel) -> float:
    timing = ground.timing
    if not ground.anything_seen(channel):
        return 0.0
    spent_s = (PLATEAUS + 1) * timing.settled_s(channel)
    for rung in stages(ground.ladders[channel.tag]):
        if ground.setpoint_blurred(channel, rung.name):
            continue
        way = ACROSS * channel.level_tolerance(rung.name)
        crossing_s = timing.ramp_s(channel, rung.name, way) + rung.level.on_delay_s
        resets = 3 if rung.level.latching else 0
        crossings = 1 if rung.level.latching else 2
        spent_s += crossings * crossing_s + resets * timing.key_s
    return spent_s


def naive_order(ground: Ground) -> tuple[float, int]:
    """(gas time in seconds, gas applications) of each kind of each cell alone, one after the other.

    Each kind that takes gas puts it on, waits for the effect, does what the kind asks for, takes
    the gas away, and waits for recovery and reset; each reading and each level is on its own, too.
    """
    spent_s, applications = 0.0, 0
    for cell in ground.site.matrix:
        for turn in ground.turns_of[cell.id]:
            facts = [f for f in (turn.fact, *turn.standing) if is_gas(ground.site, f)]
            if not facts or any(is_exposure(f) for f in facts):
                continue
            alone_s = max(_there_and_back_s(ground, cell, f.subject, f.what) for f in facts)
            kinds = [kind for kind in kinds_of(ground, cell) if kind not in "VX"]
            first = turn is ground.turns_of[cell.id][0]
            times = len(kinds) if first else 1
            spent_s += times * (alone_s + ground.timing.key_s)
            applications += times * len(facts)
    for channel in ground.site.channels:
        readings_s = 2 * ground.timing.settled_s(channel)
        spent_s += PLATEAUS * readings_s
        applications += PLATEAUS
        for rung in stages(ground.ladders[channel.tag]):
            way = abs(rung.past - rung.short)
            ramp_s = ground.timing.ramp_s(channel, rung.name, way)
            recover_s = ground.recover_s(channel, rung.past)
            spent_s += 2 * ramp_s + recover_s + 3 * ground.timing.key_s
            applications += 1
    return spent_s, applications


def _there_and_back_s(ground: Ground, cell: Cell, tag: str, level: str) -> float:
    channel = ground.site.channel_of[tag]
    rung = _rung(ground, tag, level)
    if rung is None:
        return ground.timing.settled_s(channel)
    near = ground.crossing(channel, rung, past=rung.past)
    lag_s = ground.timing.reaches_s(channel, channel.clean_reading, rung.past, near)
    come_s = lag_s + rung.level.on_delay_s + ground.timing.level_s + ground.timing.comes_s([cell])
    return come_s + ground.recover_s(channel, rung.past) + ground.timing.goes_s([cell])


def _rung(ground: Ground, tag: str, level: str) -> Rung | None:
    for rung in stages(ground.ladders[tag]):
        if rung.name == level:
            return rung
    return None
