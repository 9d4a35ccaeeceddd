"""Verdicts on alarm levels: each against the reading that the panel itself shows.

A wrong setpoint fails here, at the level, and not at every relay behind it.
"""

from collections.abc import Iterator
from math import inf, isnan
from typing import Final

from gaswitness_probe.aspects import JUST_S, by_name
from gaswitness_probe.expect import Expectations, LevelView
from gaswitness_probe.judge_setpoints import locate_setpoint, series_of_level
from gaswitness_probe.observe import Change, changes, clash
from gaswitness_probe.respond import (
    allowance,
    between,
    decide,
    lower_open,
    response,
    seconds,
    shown_response,
)
from gaswitness_probe.signal import FALSE, TRUE, Window, falls, rises
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_sitefile.channel import LevelsOnFault


def judge_levels(expectations: Expectations) -> Iterator[Verdict]:
    """A verdict for every alarm level, in the order of the site file."""
    for level in expectations.levels.values():
        yield _verdict(level)


def _verdict(level: LevelView) -> Verdict:
    unseen = _unseen(level)
    if unseen is not None:
        return Verdict(
            f"level/{level.fact}", Kind.LEVEL, Outcome.INCONCLUSIVE, _stated(level), because=unseen
        )
    found: list[Aspect] = [*_contradictions(level), *locate_setpoint(level), *_delays(level)]
    found += _latching(level) if level.level.latching else _clears(level)
    found += _inhibited(level)
    aspects = by_name(found)
    outcome = overall([aspect.outcome for aspect in aspects])
    if not aspects:
        outcome, because = _unexercised(level)
        return Verdict(f"level/{level.fact}", Kind.LEVEL, outcome, _stated(level), because=because)
    telling = next(aspect for aspect in aspects if aspect.outcome is outcome)
    because = telling.because
    if outcome is Outcome.PROVEN and not any(aspect.name == "setpoint" for aspect in aspects):
        outcome = Outcome.INCONCLUSIVE
        because += "; at which reading it comes on was not seen: bring the gas up to it once more"
    timed = next((aspect.response_s for aspect in aspects if aspect.response_s), None)
    return Verdict(
        f"level/{level.fact}",
        Kind.LEVEL,
        outcome,
        expected=telling.expected if outcome is Outcome.FAILED else _stated(level),
        seen=telling.seen,
        response_s=timed,
        because=because,
        aspects=tuple(aspects),
    )


def _stated(level: LevelView) -> str:
    stated = level.level
    words = [f"on at {stated.setpoint:g} {level.channel.unit} {stated.direction}"]
    if stated.on_delay_s:
        words.append(f"after {stated.on_delay_s:g} s")
    words.append("until reset" if stated.latching else f"hysteresis {stated.hysteresis:g}")
    return f"{level.fact} {', '.join(words)}"


def _unseen(level: LevelView) -> str | None:
    if not level.parts:
        return f"no point shows {level.fact}, so it can only be inferred: ask a person to look"
    if level.view.reading_point(level.channel.tag) is None:
        return f"no point shows the reading of {level.channel.tag}, so no setpoint can be judged"
    return None


def _unexercised(level: LevelView) -> tuple[Outcome, str]:
    span = level.view.span
    known = sum(p.end - p.start for p in level.beyond.within(*span) if p.value is FALSE)
    if level.beyond.ever(TRUE):
        return Outcome.INCONCLUSIVE, "the reading passed the setpoint too briefly to judge"
    if known >= (span.high - span.low) / 2:
        return Outcome.NOT_RUN, f"the reading never reached {level.level.setpoint:g}"
    return Outcome.INCONCLUSIVE, (
        "samples lie further apart than the panel's shortest dwell of "
        f"{level.view.site.timing.shortest_dwell_s:g} s, or were lost; poll faster"
    )


# --- contradictions -----------------------------------------------------------------------------


def _contradictions(level: LevelView) -> Iterator[Aspect]:
    for part in level.parts:
        at_s = clash(part, level.expected)
        if at_s is None:
            continue
        fault = level.view.flag(f"{level.channel.tag}.fault")
        # the fault may show a poll after the level that it moved
        faulty = fault.at(at_s) is not FALSE and fault.ever(TRUE, at_s, part.last.high)
        if faulty and level.held_off.at(at_s) is FALSE:
            yield _in_fault(level, at_s, on=part.value is TRUE)
        elif part.value is FALSE:
            yield _missing(level, at_s)
        elif level.held_off.at(at_s) is TRUE:
            yield Aspect(
                "held off",
                Outcome.FAILED,
                expected=f"{level.fact} off in warm-up or inhibit",
                seen=f"{level.fact} on at {seconds(at_s)}",
                because=f"{level.fact} showed on while warm-up or inhibit hold it off",
                at_s=at_s,
            )
        elif level.expected.ever(TRUE, part.first.low, at_s):
            yield _stuck(level, at_s)
        else:
            yield Aspect(
                "setpoint",
                Outcome.FAILED,
                expected=f"{level.fact} off short of {level.level.setpoint:g}",
                seen=f"{level.fact} on at {seconds(at_s)}, reading {_reading(level, at_s)}",
                because=f"{level.fact} was on at a reading of {_reading(level, at_s)}; "
                f"its setpoint is {_with_unit(level, level.level.setpoint)}",
                at_s=at_s,
            )


_ON_FAULT: Final = {
    LevelsOnFault.HOLD: "stay as they were",
    LevelsOnFault.CLEAR: "go off",
    LevelsOnFault.TRIP: "all come on",
}


def _in_fault(level: LevelView, at_s: float, *, on: bool) -> Aspect:
    shows, must = ("on", "off") if on else ("off", "on")
    return Aspect(
        "in fault",
        Outcome.FAILED,
        expected=f"{level.fact} {must} while {level.channel.tag} is in fault",
        seen=f"{level.fact} {shows} at {seconds(at_s)}",
        because=f"{level.fact} was {shows} while {level.channel.tag} was in fault; "
        f"on a fault its levels {_ON_FAULT[level.channel.levels_on_fault]}",
        at_s=at_s,
    )


def _missing(level: LevelView, at_s: float) -> Aspect:
    reading = _reading(level, at_s)
    if level.crossed.at(at_s) is not TRUE and level.level.latching:
        return Aspect(
            "latches",
            Outcome.FAILED,
            expected=f"{level.fact} on until reset",
            seen=f"{level.fact} off at {seconds(at_s)}, reading {reading}",
            because=f"{level.fact} went off without a reset; it has to latch",
            at_s=at_s,
        )
    if level.crossed.at(at_s) is not TRUE:
        return Aspect(
            "clears",
            Outcome.FAILED,
            expected=f"{level.fact} on until the reading is back past {level.clears_at:g}",
            seen=f"{level.fact} off at {seconds(at_s)}, reading {reading}",
            because=f"{level.fact} went off at a reading of {reading}, not yet back past "
            f"{_with_unit(level, level.clears_at)}: its hysteresis is too narrow",
            at_s=at_s,
        )
    return Aspect(
        "setpoint",
        Outcome.FAILED,
        expected=f"{level.fact} on at {_with_unit(level, level.level.setpoint)}",
        seen=f"{level.fact} off at {seconds(at_s)}, reading {reading}",
        because=f"{level.fact} was off though the reading stood at {reading}; "
        f"its setpoint is {_with_unit(level, level.level.setpoint)}",
        at_s=at_s,
    )


def _stuck(level: LevelView, at_s: float) -> Aspect:
    reading = _reading(level, at_s)
    if level.level.latching:
        return Aspect(
            "reset",
            Outcome.FAILED,
            expected=f"{level.fact} off on a reset once its condition has gone",
            seen=f"{level.fact} on at {seconds(at_s)}",
            because=f"a reset did not clear {level.fact} at a reading of {reading}",
            at_s=at_s,
        )
    clears_at = level.clears_at
    return Aspect(
        "clears",
        Outcome.FAILED,
        expected=f"{level.fact} off once the reading is back past {clears_at:g}",
        seen=f"{level.fact} on at {seconds(at_s)}, reading {reading}",
        because=f"{level.fact} was still on at a reading of {reading}, back past "
        f"{_with_unit(level, clears_at)}: it latches, or its hysteresis is too wide",
        at_s=at_s,
    )


def _with_unit(level: LevelView, value: float) -> str:
    return f"{value:g} {level.channel.unit}"


def _reading(level: LevelView, at_s: float) -> str:
    series = series_of_level(level)
    last = series.begun_before(at_s) - 1 if series is not None else -1
    if series is None or last < 0 or isnan(series.values[last]):
        return "unknown"
    return f"{series.values[last]:.4g} {level.channel.unit}"


# --- delay, clearing, latch ---------------------------------------------------------------------


def _next(level: LevelView, after_s: float) -> Change | None:
    for change in changes(level.parts):
        if change.when.high > after_s:
            return change
    return None


def _delays(level: LevelView) -> Iterator[Aspect]:
    if not level.level.on_delay_s:
        return
    allowed = lower_open(level.delay)
    for event in rises(level.beyond):
        change = _next(level, event.low) if event.sure else None
        if change is None or change.to is FALSE:
            continue
        if not level.disturbed.throughout(FALSE, event.low, change.when.high):
            continue
        measured = response(event.window, change.when)
        outcome = decide(measured, allowed)
        if outcome is Outcome.FAILED and not level.beyond.throughout(
            TRUE, event.high, max(event.high, change.when.low)
        ):
            outcome = Outcome.INCONCLUSIVE
        if outcome is Outcome.INCONCLUSIVE:
            # A slow approach says nothing of the delay; a fast one elsewhere may.
            outcome = Outcome.NOT_RUN
        yield Aspect(
            "delay",
            outcome,
            expected=f"{level.fact} {allowance(allowed)} the reading passes its setpoint",
            seen=f"{between(measured)} after",
            response_s=shown_response(measured),
            because=f"{level.fact} came {between(measured)} after its reading had passed the "
            f"setpoint, allowed is {allowance(allowed)}",
            at_s=change.when.high,
        )


def _clears(level: LevelView) -> Iterator[Aspect]:
    for event in rises(level.back):
        if not event.sure or level.expected.at(event.low - JUST_S) is not TRUE:
            continue
        change = _next(level, event.low - level.lag_s)
        if change is None or change.to is TRUE:
            continue
        if change.when.low <= event.high + level.lag_s:
            yield Aspect(
                "clears",
                Outcome.PROVEN,
                expected=f"{level.fact} off once the reading is back past {level.clears_at:g}",
                seen=f"{level.fact} off by {seconds(change.when.high)}",
                because=f"{level.fact} went off when the reading had come back",
                at_s=change.when.high,
            )


def _latching(level: LevelView) -> Iterator[Aspect]:
    resets = level.view.keys("reset")
    for event in falls(level.condition):
        if not event.sure:
            continue
        due = event.high
        until = min((reset.low for reset in resets if reset.high >= event.low), default=inf)
        if level.expected.at(due) is TRUE and any(
            part.value is TRUE and part.first.low <= due <= part.last.low and due <= until
            for part in level.parts
        ):
            yield Aspect(
                "latches",
                Outcome.PROVEN,
                expected=f"{level.fact} on until reset",
                seen=f"{level.fact} still on at {seconds(due)}",
                because=f"{level.fact} stayed on after its reading had come back",
                at_s=due,
            )
    for reset in resets:
        if level.expected.at(reset.low - JUST_S) is not TRUE:
            continue
        if level.condition.throughout(TRUE, reset.low, reset.high):
            yield from _reset_refused(level, reset)
        elif level.condition.throughout(FALSE, reset.low, reset.high):
            change = _next(level, reset.low)
            if change is not None and change.to is FALSE and change.when.low <= reset.high:
                yield Aspect(
                    "reset",
                    Outcome.PROVEN,
                    expected=f"{level.fact} off on a reset once its condition has gone",
                    seen=f"{level.fact} off by {seconds(change.when.high)}",
                    because=f"reset at {seconds(reset.low)} cleared {level.fact}",
                    at_s=change.when.high,
                )


def _reset_refused(level: LevelView, reset: Window) -> Iterator[Aspect]:
    if any(
        part.value is TRUE and part.first.low <= reset.low and part.last.low >= reset.high
        for part in level.parts
    ):
        yield Aspect(
            "reset refused",
            Outcome.PROVEN,
            expected=f"{level.fact} stays on through a reset while its condition stands",
            seen=f"{level.fact} on at {seconds(reset.high)}",
            because=f"a reset at {seconds(reset.low)} changed nothing: the gas still stood",
            at_s=reset.high,
        )


def _inhibited(level: LevelView) -> Iterator[Aspect]:
    """Only where inhibits hold levels off: that the level stayed off with the reading beyond."""
    reading = level.crossed
    for part in level.held_off.segments():
        if part.value is not TRUE:
            continue
        low = max(part.start + level.lag_s, level.view.span.low)
        high = min(part.end, level.view.span.high)
        if (
            low < high
            and reading.ever(TRUE, low, high)
            and level.view.signal(level.fact).ever(FALSE, low, high)
        ):
            yield Aspect(
                "held off",
                Outcome.PROVEN,
                expected=f"{level.fact} off in warm-up or inhibit",
                seen=f"{level.fact} off",
                because=f"{level.fact} stayed off with the reading beyond its setpoint",
                at_s=low,
            )
