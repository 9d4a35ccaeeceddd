"""Design rules of alarm levels: their order, their place in the range, their switching."""

from itertools import pairwise
from typing import Final

from gaswitness_sitefile.channel import LEVEL_NAMES, AlarmLevel, Channel, Direction
from gaswitness_sitefile.matrix import facts_of
from gaswitness_sitefile.rules.rule import Findings, Rule
from gaswitness_sitefile.site import Site


def _out_of_order(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        for direction in Direction:
            names = [n for n in LEVEL_NAMES if _goes(channel, n, direction)]
            for lower, upper in pairwise(names):
                first, second = channel.levels[lower].setpoint, channel.levels[upper].setpoint
                beyond = first >= second if direction is Direction.RISING else first <= second
                if beyond:
                    what = (
                        f"{channel.tag}: {lower} at {first:g} {channel.unit} is not before "
                        f"{upper} at {second:g}, both {direction}"
                    )
                    yield ("channels", index, "levels", upper, "setpoint"), what


def _goes(channel: Channel, name: str, direction: Direction) -> bool:
    return name in channel.levels and channel.levels[name].direction is direction


def _outside_range(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        low, high = channel.range
        for name, level in channel.levels.items():
            if not low <= level.setpoint <= high:
                what = (
                    f"{channel.tag}.{name}: the setpoint {level.setpoint:g} {channel.unit} is "
                    f"outside the range, {low:g} to {high:g}"
                )
                yield ("channels", index, "levels", name, "setpoint"), what


def _on_in_clean_air(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        clean = channel.clean_reading
        for name, level in channel.levels.items():
            if _reached(level, clean):
                what = (
                    f"{channel.tag}.{name}: {level.direction} at {level.setpoint:g} "
                    f"{channel.unit} is reached in clean air, which reads {clean:g}"
                )
                yield ("channels", index, "levels", name, "setpoint"), what


def _reached(level: AlarmLevel, reading: float) -> bool:
    if level.direction is Direction.RISING:
        return reading >= level.setpoint
    return reading <= level.setpoint


def _never_clears(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        clean = channel.clean_reading
        for name, level in channel.levels.items():
            rising = level.direction is Direction.RISING
            back = (
                level.setpoint - level.hysteresis if rising else level.setpoint + level.hysteresis
            )
            stays = clean >= back if rising else clean <= back
            if stays and not _reached(level, clean):
                what = (
                    f"{channel.tag}.{name}: it goes off {'below' if rising else 'above'} {back:g} "
                    f"{channel.unit}, but clean air reads {clean:g}"
                )
                yield ("channels", index, "levels", name), what


def _chatters(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        for name, level in channel.levels.items():
            if channel.noise > 0 and level.hysteresis < 2 * channel.noise and not level.latching:
                what = (
                    f"{channel.tag}.{name}: the hysteresis {level.hysteresis:g} {channel.unit} is "
                    f"less than the noise from peak to peak, {2 * channel.noise:g}"
                )
                yield ("channels", index, "levels", name), what


def _highest_does_not_latch(site: Site) -> Findings:
    held = {
        str(fact) for cell in site.matrix if cell.latching for fact in facts_of(cell.cause_tree)
    }
    for index, channel in enumerate(site.channels):
        names = [name for name in LEVEL_NAMES if name in channel.levels]
        if not names or channel.levels[names[-1]].latching:
            continue
        top = f"{channel.tag}.{names[-1]}"
        if not held & {top, f"any.{names[-1]}"}:
            what = f"{top} is the channel's highest alarm, and neither it nor a cell of it latches"
            yield ("channels", index, "levels", names[-1]), what


LEVEL_RULES: Final = (
    Rule(
        "GW201",
        _out_of_order,
        "the lesser alarm must come first, or people get no warning before the main action",
    ),
    Rule(
        "GW202", _outside_range, "the detector is not calibrated there: the alarm cannot be proven"
    ),
    Rule("GW203", _on_in_clean_air, "the alarm would stand for ever, and be ignored"),
    Rule("GW204", _never_clears, "the alarm, once on, cannot clear in clean air"),
    Rule("GW205", _chatters, "the alarm may come and go at the setpoint"),
    Rule(
        "GW206",
        _highest_does_not_latch,
        "the highest alarm of fixed equipment is to latch until a deliberate reset",
        "IEC 60079-29-1, alarm signals (from memory, clause not checked)",
    ),
)
