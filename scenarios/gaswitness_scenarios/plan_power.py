"""Tests of what a lost supply forgets, of faults under inhibit, and of readings below zero."""

from collections.abc import Sequence
from typing import Final

from gaswitness_probe.facts import reading_points, within_type
from gaswitness_scenarios.plan_bench import Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung, stages
from gaswitness_sitefile.channel import Channel, SignalKind
from gaswitness_sitefile.matrix import Fact

OFF_S: Final = 12.0
"""How long the supply is off: long enough to be seen as such."""

LONGEST_WARM_UP_IN_GAS_S: Final = 120.0
"""With a longer warm-up the gas is taken away meanwhile, and comes back before its end."""

_ZERO_SHARE: Final = 0.6
"""A zero drift of so much of the tolerance: below zero, and still a good reading."""


def power_test(ground: Ground, channels: Sequence[Channel], title: str) -> Draft:
    """The supply lost and back with gas there; then with alarms latched, and clean air."""
    bench = ground.bench(title, "power")
    timing, site = ground.timing, ground.site
    rungs = {c.tag: top for c in channels if (top := _top(ground, c)) is not None}
    reach_s = max((_reach_s(ground, tag, rung) for tag, rung in rungs.items()), default=0.0)
    cells = [
        cell
        for tag, rung in rungs.items()
        for name in rung.on
        for cell in ground.index.cells_by_fact.get(Fact(tag, name), ())
    ]
    warm_up_s = site.alarms_count_after_s
    if rungs:
        bench.say("Alarms everywhere.")
        bench.apply({tag: rung.past for tag, rung in rungs.items()})
        bench.hold(reach_s + timing.level_s + timing.comes_s(cells))
    bench.say("The supply is lost: nothing is energised, and nothing answers.")
    bench.power(on=False)
    bench.hold(OFF_S)
    long = warm_up_s > LONGEST_WARM_UP_IN_GAS_S
    if rungs and long:
        bench.apply(dict.fromkeys(rungs, "clean"))
        bench.recovered(list(rungs))
    bench.say("It returns. While the panel warms up no alarm counts, gas or not.")
    bench.power(on=True)
    if rungs and long:
        bench.hold(warm_up_s - reach_s - timing.level_s)
        bench.apply({tag: rung.past for tag, rung in rungs.items()})
        bench.hold(reach_s + timing.level_s + timing.flag_s)
    else:
        bench.hold(warm_up_s + timing.flag_s)
    delays = [rung.level.on_delay_s for rung in rungs.values()]
    bench.hold(max(delays, default=0.0) + timing.level_s + timing.comes_s(cells))
    if rungs:
        bench.say("The gas is still there: its alarms came. Clean air.")
        bench.apply(dict.fromkeys(rungs, "clean"))
        recover_s = max(ground.recover_s(site.channel_of[t], r.past) for t, r in rungs.items())
        bench.hold(recover_s + timing.level_s)
        bench.recovered(list(rungs))
        bench.hold(timing.goes_s(cells))
    bench.say("Alarms are latched, and forgotten with the supply.")
    bench.power(on=False)
    bench.hold(OFF_S)
    bench.power(on=True)
    bench.hold(warm_up_s + timing.flag_s + timing.key_s)
    for cell in site.matrix:
        bench.cover(cell.id, "W")
    if site.alarms_count_after_s - site.warm_up_s < 0.9 * site.warm_up_s:
        bench.claim(*ground.shows("panel.warm_up"))
    for tag, rung in rungs.items():
        for name in rung.on:
            bench.cover(f"{tag}.{name}", "W")
    if bench.draft.moves:
        bench.press("accept")
        bench.hold(timing.key_s)
    return bench.draft


def _top(ground: Ground, channel: Channel) -> Rung | None:
    """The furthest level of the first direction."""
    found = ground.ladders[channel.tag]
    return found[0][-1] if found else None


def _reach_s(ground: Ground, tag: str, rung: Rung) -> float:
    channel = ground.site.channel_of[tag]
    near = ground.crossing(channel, rung, past=rung.past)
    lag_s = ground.timing.reaches_s(channel, channel.clean_reading, rung.past, near)
    return lag_s + rung.level.on_delay_s


def inhibited_faults_test(ground: Ground, title: str) -> Draft | None:
    """All inhibited, all in fault: nothing may move. None where no fault drives anything."""
    site, timing = ground.site, ground.timing
    tags = [channel.tag for channel in site.channels]
    cells = {
        cell.id: cell
        for tag in tags
        for cell in ground.index.cells_by_fact.get(Fact(tag, "fault"), ())
    }
    if not cells:
        return None
    bench = ground.bench(title, "faults")
    bench.inhibit(tags, on=True)
    bench.hold(timing.flag_s)
    bench.say("All inhibited, all in fault: nothing moves.")
    for tag in tags:
        bench.fault(tag, on=True)
    delay_s = max(channel.fault_delay_s for channel in site.channels)
    bench.hold(delay_s + timing.flag_s + timing.comes_s(cells.values()))
    for effect in dict.fromkeys(cell.effect for cell in cells.values()):
        if ground.output_seen(effect):
            name = f"{effect} stays off: all in fault, all inhibited"
            bench.expect(name, f"{effect}.active", on=False, within_s=1, for_s=1)
    bench.hold(2 + timing.sight_s)
    for tag in tags:
        bench.fault(tag, on=False)
    bench.hold(timing.flag_s)
    if any(stages(ground.ladders[tag]) for tag in tags):
        bench.press("reset")
        bench.hold(timing.key_s)
    bench.inhibit(tags, on=False)
    bench.hold(timing.flag_s)
    bench.press("accept")
    bench.hold(timing.key_s)
    for cell in cells.values():
        bench.cover(cell.id, "I")
    for tag in tags:
        bench.claim(*ground.shows(f"{tag}.inhibit"))
    return bench.draft


def below_zero(ground: Ground, channel: Channel) -> float | None:
    """How far below its low end the channel's zero may drift and still be seen as a good reading;
    None where its registers cannot show it, or it would not be told from noise."""
    low = min(0.0, channel.clean_reading)
    least = max(
        (
            max(channel.shown_limits[0], within_type(p, -1e12))
            for p in reading_points(ground.site, channel.tag)
        ),
        default=0.0,
    )
    down = _ZERO_SHARE * channel.reading_tolerance
    if channel.clean_reading != 0 or least > low - down:
        return None
    if down <= 2 * ground.timing.doubt(channel) or not reading_points(ground.site, channel.tag):
        return None
    return down


def zero_test(ground: Ground, title: str) -> Draft | None:
    """A zero below zero, where a virtual panel's channel can show it."""
    drifts = {
        channel.tag: down
        for channel in ground.site.channels
        if channel.signal is SignalKind.BUS and (down := below_zero(ground, channel)) is not None
    }
    if not drifts:
        return None
    bench = ground.bench(title, "readings")
    site, timing = ground.site, ground.timing
    bench.say("The zero drifts below: only a virtual panel's can be made to.")
    for tag, down in drifts.items():
        bench.step(drift={"channel": tag, "zero": float(f"{-down:.3g}")})
    bench.hold(timing.sight_s + 2 * site.timing.scan_s)
    for tag, down in drifts.items():
        channel = site.channel_of[tag]
        name = f"{tag} shows a reading below zero"
        near = max(timing.doubt(channel), 0.1 * down)
        record = {
            "name": name,
            "fact": f"{tag}.reading",
            "between": [float(f"{-down - near:.3g}"), float(f"{-down + near:.3g}")],
            "within_s": 2,
        }
        bench.step(expect=record)
        bench.claim(f"expectation/{name}")
        bench.cover(f"{tag}.reading", "Z")
    bench.hold(2 + timing.sight_s)
    for tag in drifts:
        bench.step(drift={"channel": tag, "zero": 0})
    bench.hold(timing.sight_s + 2 * site.timing.scan_s)
    return bench.draft
