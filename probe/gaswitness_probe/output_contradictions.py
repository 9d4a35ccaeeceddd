"""Where an output did what it surely must not, or did not what it surely must.

A contradiction is laid at the door of the cells that explain it; a movement that no cell explains
belongs to the output.
"""

from math import inf

from gaswitness_probe.expect import CellView, OutputView
from gaswitness_probe.observe import Stretch, clash
from gaswitness_probe.output_findings import Findings
from gaswitness_probe.output_time import MINIMUM, PULSE
from gaswitness_probe.respond import (
    allowance,
    between,
    response,
    seconds,
)
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Event, Window, falls, rises
from gaswitness_probe.verdict import Aspect, Outcome

MOST_NAMED = 5
"""How many suspects a verdict names."""


def find_contradictions(output: OutputView, findings: Findings) -> None:
    before: Stretch | None = None
    for part in output.parts:
        at_s = clash(part, output.expected)
        if at_s is not None:
            if part.value is TRUE:
                _on_but_must_be_off(output, before, part, at_s, findings)
            else:
                _off_but_must_be_on(output, part, at_s, findings)
        if part.value is not UNKNOWN:
            before = part


def _on_but_must_be_off(
    output: OutputView, before: Stretch | None, part: Stretch, at_s: float, findings: Findings
) -> None:
    tag = output.output.tag
    since = part.first.low
    if output.muted.at(at_s) is TRUE:
        findings.of_output.append(
            Aspect(
                "mutes",
                Outcome.FAILED,
                expected=f"{tag} silent once muted",
                seen=f"{tag} still on at {seconds(at_s)}",
                because=f"mute was pressed, and {tag} went on sounding",
                at_s=at_s,
            )
        )
        return
    late = [cell for cell in output.cells if cell.state.ever(TRUE, since, at_s)]
    if late:
        # A cell that was seen to let go by itself is not the one that holds on here.
        holding = [cell for cell in late if not findings.lets_go(cell)]
        if not holding:
            findings.of_output.append(_held_on(output, at_s))
            return
        last = max(_end_of_state(cell, at_s) for cell in holding)
        for cell in holding:
            if _end_of_state(cell, at_s) == last:
                findings.cell(cell, _overdue(output, cell, at_s))
        return
    rose_from = before.last.low if before is not None and before.value is FALSE else since
    early = [
        cell
        for cell in output.cells
        if cell.rise.low > 0 and cell.cause.ever(TRUE, rose_from, part.first.high)
    ]
    for cell in early:
        findings.cell(cell, _too_early(cell, Window(rose_from, part.first.high)))
    if not early:
        findings.of_output.append(_unasked(output, before, part, at_s))


def _end_of_state(cell: CellView, at_s: float) -> float:
    ends = [part.end for part in cell.state.segments() if part.value is TRUE and part.start <= at_s]
    return max(ends, default=-inf)


def _overdue(output: OutputView, cell: CellView, at_s: float) -> Aspect:
    tag = output.output.tag
    if output.output.pulse_s is not None:
        return _too_long(output, cell, at_s)
    if cell.cell.latching:
        return Aspect(
            "reset",
            Outcome.FAILED,
            expected=f"{tag} goes off on a reset with the cause gone",
            seen=f"{tag} still on at {seconds(at_s)}",
            because=f"a reset came while {cell.cell.cause} was off, and {tag} stayed on",
            at_s=at_s,
        )
    gone = max((fall.high for fall in falls(cell.cause) if fall.high <= at_s), default=None)
    since = "" if gone is None else f", {seconds(at_s - gone)} after its cause had gone"
    return Aspect(
        "releases",
        Outcome.FAILED,
        expected=f"{tag} off {allowance(cell.release)} once {cell.cell.cause} is off",
        seen=f"{tag} still on at {seconds(at_s)}{since}",
        because=f"{tag} did not go off with its cause: it latches, or its off-delay is too long",
        at_s=at_s,
    )


def _too_long(output: OutputView, cell: CellView, at_s: float) -> Aspect:
    tag, pulse_s = output.output.tag, output.output.pulse_s
    came = max((rise.low for rise in rises(cell.delayed) if rise.low <= at_s), default=None)
    since = "" if came is None else f", {seconds(at_s - came)} after its cause"
    return Aspect(
        PULSE,
        Outcome.FAILED,
        expected=f"{tag} on for {pulse_s:g} s with each new cause",
        seen=f"{tag} still on at {seconds(at_s)}{since}",
        because=f"{tag} acted for longer than its pulse: it follows its cause, or the pulse is too "
        "long",
        at_s=at_s,
    )


def _too_short(output: OutputView, part: Stretch, at_s: float) -> Aspect:
    tag, timed_s = output.output.tag, output.output.timed_s
    pulsed = output.output.pulse_s is not None
    return Aspect(
        PULSE if pulsed else MINIMUM,
        Outcome.FAILED,
        expected=f"{tag} on for {'' if pulsed else 'at least '}{timed_s:g} s with each new cause",
        seen=f"{tag} off at {seconds(at_s)}, by {seconds(part.first.high)} at the latest",
        because=f"{tag} dropped before its own time of {timed_s:g} s was over",
        at_s=at_s,
    )


def _too_early(cell: CellView, rose: Window) -> Aspect:
    tag = cell.cell.effect
    came = max((rise for rise in rises(cell.cause) if rise.low < rose.high), key=_end, default=None)
    took = "" if came is None else f", {between(response(came.window, rose))} after its cause"
    return Aspect(
        "rises",
        Outcome.FAILED,
        expected=f"{tag} {allowance(cell.rise)} {cell.cell.cause}",
        seen=f"{tag} on by {seconds(rose.high)}{took}",
        because=f"{tag} came before its on-delay of {cell.cell.on_delay_s:g} s was over",
        at_s=rose.high,
    )


def _end(event: Event) -> float:
    return event.high


def _unasked(output: OutputView, before: Stretch | None, part: Stretch, at_s: float) -> Aspect:
    tag = output.output.tag
    if before is None:
        return Aspect(
            "moves only for its causes",
            Outcome.FAILED,
            expected=f"{tag} off while none of its causes stands",
            seen=f"{tag} on at {seconds(at_s)}, from the start",
            because=f"{tag} is on though none of its causes has come",
            at_s=at_s,
        )
    active = _causes_standing(output, before.last.low, part.first.high)
    others = f"; what came then: {active}" if active else ""
    return Aspect(
        "moves only for its causes",
        Outcome.FAILED,
        expected=f"{tag} off while none of its causes stands",
        seen=f"{tag} came on by {seconds(part.first.high)}{others}",
        because=f"{tag} moved though none of its causes had come{others}",
        at_s=at_s,
    )


def _held_on(output: OutputView, at_s: float) -> Aspect:
    """On for none of its causes, though each of them lets go of it elsewhere."""
    tag = output.output.tag
    standing = [
        cell.cause
        for cell in output.view.site.matrix
        if cell.effect != tag and output.expectations.cause(cell.cause_tree).at(at_s) is TRUE
    ]
    named = list(dict.fromkeys(standing))[:MOST_NAMED]
    others = f"; what stood then: {', '.join(named)}" if named else ""
    return Aspect(
        "moves only for its causes",
        Outcome.FAILED,
        expected=f"{tag} off while none of its causes stands",
        seen=f"{tag} still on at {seconds(at_s)}{others}",
        because=f"{tag} stayed on though its causes had gone, and each of them was seen to let it "
        f"go at another time{others}",
        at_s=at_s,
    )


def _causes_standing(output: OutputView, low: float, high: float) -> str:
    """Causes of other outputs that came about when this one moved: the likely mix-up, in words."""
    found = []
    for other in output.view.site.matrix:
        if other.effect == output.output.tag:
            continue
        cause = output.expectations.cause(other.cause_tree)
        wait = other.on_delay_s + other.response_s
        if any(low - wait <= rise.high <= high for rise in rises(cause) if rise.sure):
            found.append(f"{other.cause} (which drives {other.effect})")
    return ", ".join(list(dict.fromkeys(found))[:MOST_NAMED])


def _off_but_must_be_on(output: OutputView, part: Stretch, at_s: float, findings: Findings) -> None:
    tag = output.output.tag
    for cell in output.cells:
        if cell.state.at(at_s) is not TRUE:
            continue
        came = max(
            (rise for rise in rises(cell.cause) if rise.high <= at_s), key=_end, default=None
        )
        seen_on = came is not None and any(
            other.value is TRUE and came.low <= other.last.high <= part.first.high
            for other in output.parts
        )
        if seen_on and output.output.timed_s is not None and cell.own_time.at(at_s) is TRUE:
            findings.cell(cell, _too_short(output, part, at_s))
        elif seen_on:
            gone = came is not None and not cell.cause.throughout(
                TRUE, came.high, max(came.high, part.first.high)
            )
            findings.cell(
                cell,
                Aspect(
                    "latches" if gone and cell.cell.latching else "holds",
                    Outcome.FAILED,
                    expected=f"{tag} on until {_until(cell)}",
                    seen=f"{tag} off at {seconds(at_s)}",
                    because=f"{tag} dropped "
                    + (
                        "without a reset"
                        if gone and cell.cell.latching
                        else "before its off-delay was over"
                        if gone
                        else "while its cause stood"
                    ),
                    at_s=at_s,
                ),
            )
        else:
            since = "" if came is None else f", {seconds(at_s - came.high)} after its cause"
            findings.cell(
                cell,
                Aspect(
                    "rises",
                    Outcome.FAILED,
                    expected=f"{tag} {allowance(cell.rise)} {cell.cell.cause}",
                    seen=f"{tag} off at {seconds(at_s)}{since}",
                    because=f"{cell.cell.cause} stood, and {tag} did not come",
                    at_s=at_s,
                ),
            )


def _until(cell: CellView) -> str:
    return "reset" if cell.cell.latching else f"{cell.cell.cause} goes"
