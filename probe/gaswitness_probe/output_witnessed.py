"""What people saw or heard of an output, against what its causes and hands demanded of it then.

The panel's own report and a person who looks are two levels of proof: a coil that the panel drives
is no valve that moved. So a look counts also where a point shows the output. It says something only
where the demand is certain through the whole interval from the question to the answer.
"""

from dataclasses import dataclass

from gaswitness_probe.applied import Looked
from gaswitness_probe.expect import CellView, OutputView
from gaswitness_probe.output_findings import Findings
from gaswitness_probe.respond import seconds
from gaswitness_probe.signal import FALSE, TRUE, Truth, Window
from gaswitness_probe.verdict import Aspect, Outcome, Proof
from gaswitness_sitefile.devices import OutputKind

ACTING, AT_REST = "witnessed acting", "witnessed at rest"
"""Aspects that tell what a person saw of an output that had to act, or that had to be at rest."""


@dataclass(frozen=True, slots=True)
class _Look:
    """A look at the output while it was certain what it had to be. `cell`: what alone asked it to
    act; None where several cells or a person's hand may have."""

    window: Window
    on: bool
    must: bool
    cell: CellView | None


def find_witnessed(output: OutputView, findings: Findings) -> None:
    """An aspect of the output for each look that tells, and of the cell that alone accounts for it.

    A look at rest speaks of a cell only where a person saw it act for that cell before, and nothing
    else asked for the output in between.
    """
    acted: _Look | None = None
    for look in _telling(output):
        aspect = _aspect(output, look)
        findings.of_output.append(aspect)
        if look.must:
            acted = look if look.on and look.cell is not None else None
            if look.cell is not None:
                findings.cell(look.cell, aspect)
        elif acted is not None and acted.cell is not None:
            span = Window(acted.window.low, look.window.high)
            if _nothing_but(output, acted.cell, span):
                findings.cell(acted.cell, aspect)
            acted = None


def looks_at_rest(output: OutputView) -> list[bool]:
    """For each look at which the output had to be at rest, whether it was."""
    return [not look.on for look in _telling(output) if not look.must]


def _telling(output: OutputView) -> list[_Look]:
    found = []
    for looked in sorted(output.view.looked, key=lambda one: (one.asked_s, one.answered_s)):
        on = _acting(output, looked)
        window = Window(looked.asked_s, looked.answered_s)
        if on is None or not _sure_of_itself(output, window):
            continue
        must = _demanded(output, window)
        if must is not None:
            cell = _alone_asking(output, window) if must is TRUE else None
            found.append(_Look(window, on, must is TRUE, cell))
    return found


def _acting(output: OutputView, looked: Looked) -> bool | None:
    """Whether the look found the output acting; None where it was at something else."""
    if looked.fact == output.fact:
        return looked.value
    if looked.fact == f"{output.output.tag}.energised":
        return looked.value is not output.output.normally_energised
    return None


def _sure_of_itself(output: OutputView, window: Window) -> bool:
    """Whether the panel had its supply, and the output the detector that carries it."""
    view, carrier = output.view, output.output.at
    if any(lost.low <= window.high and lost.high >= window.low for lost in view.broken):
        return False
    lost_by = [view.powered_off]
    if carrier is not None:
        lost_by += [view.upset, view.unsound(carrier)]
    return all(signal.throughout(FALSE, *window) for signal in lost_by)


def _demanded(output: OutputView, window: Window) -> Truth | None:
    free = output.forced.free.throughout(TRUE, *window)
    by = output.expected if free else output.forced.held
    return next((value for value in (TRUE, FALSE) if by.throughout(value, *window)), None)


def _alone_asking(output: OutputView, window: Window) -> CellView | None:
    if not output.forced.free.throughout(TRUE, *window):
        return None
    asking = [cell for cell in output.cells if cell.state.throughout(TRUE, *window)]
    if len(asking) == 1 and _nothing_but(output, asking[0], window):
        return asking[0]
    return None


def _nothing_but(output: OutputView, cell: CellView, span: Window) -> bool:
    """Whether neither another cell nor anybody's hand can have moved the output meanwhile."""
    return output.forced.free.throughout(TRUE, *span) and all(
        other is cell or other.state.throughout(FALSE, *span) for other in output.cells
    )


def _aspect(output: OutputView, look: _Look) -> Aspect:
    tag, (low, high) = output.output.tag, look.window
    agrees = look.on is look.must
    verb = "found" if output.output.kind is OutputKind.SOUNDER else "saw"
    is_, must = ("on" if state else "off" for state in (look.on, look.must))
    why = _why(output, look, must)
    beside = "" if agrees else _reported(output, look)
    return Aspect(
        ACTING if look.must else AT_REST,
        Outcome.PROVEN if agrees else Outcome.FAILED,
        expected=f"{tag} {must} to a person's eye or ear {why}",
        seen=f"{tag} {is_}, looked at from {seconds(low)} to {seconds(high)}",
        because=f"a person {verb} {tag} {is_} {why}{beside}",
        proof=Proof.WITNESSED,
        at_s=low,
    )


def _why(output: OutputView, look: _Look, must: str) -> str:
    """What demanded it, in words."""
    if not output.forced.free.throughout(TRUE, *look.window):
        return f"while somebody held it {must} at the panel"
    if look.must:
        asking = [cell for cell in output.cells if cell.state.throughout(TRUE, *look.window)]
        said = " and ".join(_demand(cell, look.window) for cell in asking)
        return f"while {said or 'its causes'} demanded it {must}"
    if output.muted.throughout(TRUE, *look.window):
        return "while it was muted"
    return "while nothing demanded it"


def _demand(cell: CellView, window: Window) -> str:
    cause = cell.cell.cause
    if cell.cause.throughout(TRUE, *window):
        return cause
    if cell.cell.latching and cell.output.timed_s is None:
        return f"{cause}, latched,"
    return f"{cause}, its time not over,"


def _reported(output: OutputView, look: _Look) -> str:
    """What the panel itself said of the output last before the look and in it, in words."""
    if output.view.source(output.fact) is None:
        return ""
    parts = [p for p in output.view.parts(output.fact) if p.first.low <= look.window.high]
    before = sum(p.first.high <= look.window.low for p in parts)
    said = {part.value for part in parts[max(0, before - 1) :]}
    if said not in ({TRUE}, {FALSE}):
        return ""
    is_ = "on" if TRUE in said else "off"
    if (TRUE in said) is look.on:
        return f", and the panel reports it {is_}, too"
    return f", though the panel reports it {is_}"
