"""How long pulsed and timed outputs were seen to act, against the time of their own (rule 27)."""

from itertools import pairwise

from gaswitness_probe.expect import CellView, OutputView
from gaswitness_probe.observe import Change, changes
from gaswitness_probe.output_findings import Findings
from gaswitness_probe.output_time import MINIMUM, PULSE
from gaswitness_probe.respond import allowance, between, decide, response, shown_response
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Window
from gaswitness_probe.verdict import Aspect, Outcome


def find_times(output: OutputView, findings: Findings) -> None:
    """The length of each stretch in which the output acted for one cause's time alone."""
    if output.output.timed_s is None:
        return
    seen = changes(output.parts)
    for came, went in pairwise(seen):
        if came.to is not TRUE or not _undisturbed(output, came.when.low, went.when.high):
            continue
        cell = _only_cause(output, came, went)
        if cell is not None and cell.lasting is not None:
            findings.cell(cell, _length(output, cell.lasting, came, went))


def _undisturbed(output: OutputView, low: float, high: float) -> bool:
    """Whether neither mute nor a loss of power nor anyone's hand came between."""
    spans = [*output.mute_presses, *output.view.broken]
    if any(span.low <= high and span.high >= low for span in spans):
        return False
    return output.forced.free.throughout(TRUE, low, high)


def _only_cause(output: OutputView, came: Change, went: Change) -> CellView | None:
    """The cell whose cause came once and is all that can have kept the output on; None for none."""
    found = None
    for cell in output.cells:
        if _may_flicker(cell, came.when.low - cell.rise.high, went.when.high):
            return None
        events = [
            event
            for event in cell.anew
            if event.low <= went.when.high and event.high >= came.when.low - cell.rise.high
        ]
        if not events:
            continue
        if found is not None or len(events) > 1 or not events[0].sure:
            return None
        found = cell
    if found is None or found.lasting is None:
        return None
    if output.output.pulse_s is None:
        # Only where the cell let go before its time was over did the time end the stretch.
        over_s = came.when.low + found.lasting.low
        if not found.acting.throughout(FALSE, over_s, went.when.high):
            return None
    return found


def _may_flicker(cell: CellView, low: float, high: float) -> bool:
    """Whether the cause may have gone and come again unseen."""
    dwell_s = cell.expectations.view.site.timing.shortest_dwell_s
    return any(
        piece.value is UNKNOWN and piece.end - piece.start > dwell_s
        for piece in cell.cause.within(low, high)
    )


def _length(output: OutputView, lasts: Window, came: Change, went: Change) -> Aspect:
    tag, pulsed = output.output.tag, output.output.pulse_s is not None
    measured = response(came.when, went.when)
    outcome = decide(measured, lasts)
    timed_s = output.output.timed_s
    must = f"{tag} on for {'' if pulsed else 'at least '}{timed_s:g} s with each new cause"
    seen_by = "look closer to its coming and going" if not output.view.source(output.fact) else ""
    doubt = f"; the interval straddles the limit: {seen_by or 'poll faster'} to settle it"
    return Aspect(
        PULSE if pulsed else MINIMUM,
        outcome,
        expected=must,
        seen=f"{tag} on for {between(measured)}",
        response_s=shown_response(measured),
        because=f"{tag} acted for {between(measured)}, allowed is "
        f"{allowance(lasts).removesuffix(' after')}"
        f"{doubt if outcome is Outcome.INCONCLUSIVE else ''}",
        at_s=went.when.high,
    )
