"""The test of readings below zero: a zero that drifted, where a channel's registers can show it."""

from typing import Final

from gaswitness_probe.facts import reading_points, within_type
from gaswitness_scenarios.plan_bench import Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_sitefile.channel import Channel, SignalKind

_ZERO_SHARE: Final = 0.6
"""A zero drift of so much of the tolerance: below zero, and still a good reading."""


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
