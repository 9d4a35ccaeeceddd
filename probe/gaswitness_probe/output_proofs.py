"""Where an output was seen to do as it must: cells that rise, release, latch and reset, and mutes.

Proof of a cell needs a change that this cell alone can account for.
"""

from dataclasses import replace
from math import inf

from gaswitness_probe.aspects import JUST_S
from gaswitness_probe.expect import CellView, OutputView
from gaswitness_probe.look_advice import looks_needed, unshown
from gaswitness_probe.observe import Change, changes
from gaswitness_probe.output_findings import Findings
from gaswitness_probe.output_time_proofs import find_times
from gaswitness_probe.respond import (
    allowance,
    between,
    decide,
    lower_open,
    response,
    seconds,
    shown_response,
)
from gaswitness_probe.signal import FALSE, TRUE, Signal, Window, falls, rises
from gaswitness_probe.verdict import Aspect, Outcome


def find_proofs(output: OutputView, findings: Findings) -> None:
    """All aspects that were seen to be right, or might have been."""
    for cell in output.cells:
        _rises(output, cell, findings)
        if output.output.pulse_s is not None:
            continue
        if cell.cell.latching:
            _latches(output, cell, findings)
        else:
            _releases(output, cell, findings)
        _resets(output, cell, findings)
    find_times(output, findings)
    _mutes(output, findings)


def _alone(output: OutputView, cell: CellView, low: float, high: float) -> bool:
    """Whether no other cell can have moved the output in between."""
    return all(other is cell or other.state.throughout(FALSE, low, high) for other in output.cells)


def _sounds_alone(output: OutputView, cell: CellView, low: float, high: float) -> bool:
    """Whether no other cell can have made a muted output sound again in between."""
    return all(
        event.low > high or event.high < low
        for other in output.cells
        if other is not cell
        for event in rises(other.delayed)
    )


def _next_change(output: OutputView, after_s: float) -> Change | None:
    for change in changes(output.parts):
        if change.when.high > after_s:
            return change
    return None


def _rises(output: OutputView, cell: CellView, findings: Findings) -> None:
    allowed = lower_open(cell.rise)
    for event in rises(cell.cause):
        if not event.sure or (event.high < output.parts[0].first.low and not unshown(cell)):
            continue
        cause = event.window
        stood_until = _true_until(cell.cause, cause.high)
        deadline = cause.high + cell.rise.high
        if not output.forced.free.throughout(TRUE, cause.low, deadline):
            continue
        change = _next_change(output, cause.low)
        late = change is not None and change.when.low > deadline
        if change is None or change.to is FALSE or (late and stood_until < change.when.low):
            moved_off = change is not None and change.to is FALSE
            if stood_until > deadline and (unshown(cell) or not moved_off):
                findings.cell(cell, _unseen(output, cell, cause, findings))
            continue
        silent = output.muted.at(cause.low - JUST_S) is TRUE
        alone = _sounds_alone if silent else _alone
        if not alone(output, cell, cause.low, change.when.high):
            findings.cell(cell, _masked(output, cell, cause))
            continue
        measured = response(cause, change.when)
        outcome = decide(measured, allowed)
        if outcome is Outcome.FAILED and stood_until < change.when.low:
            outcome = Outcome.INCONCLUSIVE
        aspect = _timed(cell, "rises", measured, outcome, change.when.high)
        if outcome is Outcome.INCONCLUSIVE:
            aspect = replace(aspect, because=f"{aspect.because}; {findings.to_settle(cell)}")
        findings.cell(cell, aspect)


def _true_until(signal: Signal, start_s: float) -> float:
    for part in signal.segments():
        if part.start <= start_s < part.end:
            return part.end if part.value is TRUE else start_s
    return start_s


def _unseen(output: OutputView, cell: CellView, cause: Window, findings: Findings) -> Aspect:
    tag = cell.cell.effect
    if cause.high + cell.rise.high > output.view.span.high:
        why = "the run ended before the time allowed was over"
        hint = "let the script go on longer"
    elif unshown(cell):
        rested = any(p.value is FALSE and p.last.high <= cause.low for p in output.parts)
        when = f"acting after {cell.cell.cause} had come" if rested else "at rest before that"
        why = f"{cell.cell.cause} came by {seconds(cause.high)}, and nobody saw {tag} {when}"
        hint = findings.to_settle(cell)
    else:
        why = "the effect was not seen to change while it had to"
        hint = f"hold the cause longer; {findings.to_settle(cell)}"
    return Aspect(
        "rises",
        Outcome.INCONCLUSIVE,
        expected=f"{tag} {allowance(cell.rise)} {cell.cell.cause}",
        seen=f"{cell.cell.cause} on by {seconds(cause.high)}",
        because=f"{why}; {hint}",
        at_s=cause.high,
    )


def _masked(output: OutputView, cell: CellView, cause: Window) -> Aspect:
    others = [
        other.cell.cause
        for other in output.cells
        if other is not cell and not other.state.throughout(FALSE, cause.low, cause.high)
    ]
    return Aspect(
        "rises",
        Outcome.NOT_RUN,
        expected=f"{cell.cell.effect} {allowance(cell.rise)} {cell.cell.cause}",
        because=f"at {seconds(cause.high)} the output may have been on for "
        f"{', '.join(others) or 'another cause'} as well",
        at_s=cause.high,
    )


def _timed(
    cell: CellView, name: str, measured: tuple[float, float], outcome: Outcome, at_s: float
) -> Aspect:
    allowed = cell.rise if name == "rises" else cell.release
    tag, cause = cell.cell.effect, cell.cell.cause
    goes = "on" if name == "rises" else "off"
    doubt = "; the interval straddles the limit" if outcome is Outcome.INCONCLUSIVE else ""
    if doubt and name == "releases":
        advice = looks_needed(cell, "releases") if unshown(cell) else "poll faster to settle it"
        doubt += f": {advice}"
    return Aspect(
        name,
        outcome,
        expected=f"{tag} {goes} {allowance(allowed)} {cause}{'' if goes == 'on' else ' goes off'}",
        seen=f"{tag} {goes} {between(measured)} after",
        response_s=shown_response(measured),
        because=f"{tag} went {goes} {between(measured)} after {cause}"
        f"{'' if goes == 'on' else ' went off'}, allowed is {allowance(allowed)}{doubt}",
        at_s=at_s,
    )


def _releases(output: OutputView, cell: CellView, findings: Findings) -> None:
    allowed = lower_open(cell.release)
    for event in falls(cell.cause):
        if not event.sure or cell.state.at(event.low - JUST_S) is not TRUE:
            continue
        change = _next_change(output, event.low)
        if change is None or change.to is TRUE:
            continue
        if not output.muted.throughout(FALSE, event.low, change.when.high):
            continue
        if not output.forced.free.throughout(TRUE, event.low, change.when.high):
            continue
        if not cell.own_time.throughout(FALSE, event.low, change.when.high):
            continue  # its own time may hold it on
        if not _alone(output, cell, event.low, change.when.high):
            continue
        if any(w.low <= change.when.high and w.high >= event.low for w in output.view.broken):
            continue  # with the supply everything goes at once
        measured = response(event.window, change.when)
        outcome = decide(measured, allowed)
        came_back = not cell.cause.throughout(FALSE, event.high, change.when.low)
        if outcome is Outcome.FAILED and change.when.low > event.high and came_back:
            outcome = Outcome.INCONCLUSIVE
        findings.cell(cell, _timed(cell, "releases", measured, outcome, change.when.high))
        if outcome is Outcome.PROVEN and not _reset_between(output, event.low, change.when.high):
            findings.released.add(cell.cell.id)


def _reset_between(output: OutputView, low: float, high: float) -> bool:
    """Whether a reset may have let go of what should not have latched."""
    return any(key.low <= high and key.high >= low for key in output.view.keys("reset"))


def _latches(output: OutputView, cell: CellView, findings: Findings) -> None:
    resets = output.view.keys("reset")
    for event in falls(cell.cause):
        if not event.sure or cell.state.at(event.low - JUST_S) is not TRUE:
            continue
        due = event.high + cell.release.high
        until = min((reset.low for reset in resets if reset.high >= event.low), default=inf)
        held = any(
            (
                part.value is TRUE
                and part.last.low >= due
                and part.last.low <= until
                and _alone(output, cell, due, part.last.low)
            )
            or (
                part.value is TRUE
                and part.known is not None
                and part.known.low <= due
                and part.known.high >= due
                and due <= until
                and _alone(output, cell, due, due)
            )
            for part in output.parts
        )
        if held:
            findings.cell(
                cell,
                Aspect(
                    "latches",
                    Outcome.PROVEN,
                    expected=f"{cell.cell.effect} on until reset",
                    seen=f"{cell.cell.effect} still on {seconds(due - event.high)} after",
                    because=f"{cell.cell.effect} stayed on after {cell.cell.cause} had gone",
                    at_s=due,
                ),
            )


def _resets(output: OutputView, cell: CellView, findings: Findings) -> None:
    tag, cause = cell.cell.effect, cell.cell.cause
    for reset in output.view.keys("reset"):
        if not _alone(output, cell, reset.low, reset.high):
            continue
        stood = cell.state.at(reset.low - JUST_S) is TRUE
        if not stood or output.muted.at(reset.low) is not FALSE:
            continue
        if cell.cause.throughout(TRUE, reset.low, reset.high):
            if any(
                p.value is TRUE and p.first.low <= reset.low and p.last.low >= reset.high
                for p in output.parts
            ):
                findings.cell(
                    cell,
                    Aspect(
                        "reset refused",
                        Outcome.PROVEN,
                        expected=f"{tag} stays on through a reset while {cause} stands",
                        seen=f"{tag} on at {seconds(reset.high)}",
                        because=f"a reset at {seconds(reset.low)} changed nothing: "
                        f"{cause} still stood",
                        at_s=reset.high,
                    ),
                )
            continue
        if not cell.cell.latching or not cell.kept.throughout(FALSE, reset.low, reset.high):
            continue
        change = _next_change(output, reset.low)
        if (
            change is not None
            and change.to is FALSE
            and change.when.high <= reset.high + grace_s(output)
            and output.muted.throughout(FALSE, reset.low, change.when.high)
        ):
            findings.cell(
                cell,
                Aspect(
                    "reset",
                    Outcome.PROVEN,
                    expected=f"{tag} off on a reset with the cause gone",
                    seen=f"{tag} off by {seconds(change.when.high)}",
                    because=f"reset at {seconds(reset.low)} put {tag} off",
                    at_s=change.when.high,
                ),
            )


def grace_s(output: OutputView) -> float:
    """A sample's worth of grace when a change need only be seen, not timed."""
    view, site = output.view, output.view.site
    source = view.source(output.fact)
    request = None if source is None else view.times.of(source.point)
    apart_s = site.pace.poll_period_s if request is None else request.apart_s
    return apart_s + site.timing.refresh_s + site.pace.timeout_s


def _mutes(output: OutputView, findings: Findings) -> None:
    if not output.output.mutable:
        return
    tag = output.output.tag
    for press in output.mute_presses:
        if not output.effect.throughout(TRUE, press.low, press.high):
            continue
        change = _next_change(output, press.low)
        if change is not None and change.to is FALSE and change.when.low <= press.high:
            findings.of_output.append(
                Aspect(
                    "mutes",
                    Outcome.PROVEN,
                    expected=f"{tag} silent once muted",
                    seen=f"{tag} off by {seconds(change.when.high)}",
                    because=f"mute at {seconds(press.low)} silenced {tag} while its cause stood",
                    at_s=change.when.high,
                )
            )
    for cell in output.cells:
        for event in rises(cell.cause):
            muted = event.sure and output.muted.at(event.low - JUST_S) is TRUE
            change = _next_change(output, event.low) if muted else None
            deadline = event.high + cell.rise.high
            if change is not None and change.to is TRUE and change.when.high <= deadline:
                findings.of_output.append(
                    Aspect(
                        "sounds again",
                        Outcome.PROVEN,
                        expected=f"{tag} sounds again on a new alarm",
                        seen=f"{tag} on by {seconds(change.when.high)}",
                        because=f"{cell.cell.cause} came after the mute, and {tag} sounded again",
                        at_s=change.when.high,
                    )
                )
