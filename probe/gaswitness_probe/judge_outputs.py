"""Verdicts on the cells of the matrix and on the outputs that they drive.

A contradiction is laid at the door of the cells that explain it; a movement that no cell explains
belongs to the output. Proof of a cell needs a change that this cell alone can account for.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import inf

from gaswitness_probe.expect import CellView, Expectations, OutputView
from gaswitness_probe.observe import Change, Stretch, changes, clash
from gaswitness_probe.provable import Provable, provable
from gaswitness_probe.respond import (
    allowance,
    between,
    decide,
    lower_open,
    response,
    seconds,
    shown_response,
)
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Event, Signal, Window, falls, rises
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.matrix import Fact, facts_of

MOST_NAMED = 5
"""How many suspects a verdict names."""

JUST_S = 1e-6
"""Enough to look at the instant before another."""


@dataclass
class _Findings:
    """Aspects gathered for the cells of an output, and for the output itself.

    `in_advance`: what could be proven of each cell, by its id.
    """

    in_advance: Mapping[str, Provable]
    of_cell: dict[str, list[Aspect]] = field(default_factory=dict)
    of_output: list[Aspect] = field(default_factory=list)

    def cell(self, view: CellView, aspect: Aspect) -> None:
        self.of_cell.setdefault(view.cell.id, []).append(aspect)

    def to_settle(self, view: CellView) -> str:
        """What would settle a response that the samples leave in doubt."""
        said = self.in_advance[view.cell.id].words
        return said or "poll faster to settle it"

    def lets_go(self, view: CellView) -> bool:
        return any(
            aspect.outcome is Outcome.PROVEN and aspect.name in ("releases", "reset")
            for aspect in self.of_cell.get(view.cell.id, [])
        )


def judge_outputs(expectations: Expectations) -> Iterator[Verdict]:
    """A verdict for every output and for every cell, in the order of the site file."""
    view = expectations.view
    in_advance = {one.id: one for one in provable(view.site, view.link).cells}
    for output in expectations.outputs.values():
        findings = _Findings(in_advance)
        if output.parts:
            for cell in output.cells:
                _rises(output, cell, findings)
                if cell.cell.latching:
                    _latches(output, cell, findings)
                else:
                    _releases(output, cell, findings)
                _resets(output, cell, findings)
            _mutes(output, findings)
            _contradictions(output, findings)
        for cell in output.cells:
            yield _cell_verdict(output, cell, findings)
        yield _output_verdict(output, findings)


# --- contradictions -----------------------------------------------------------------------------


def _contradictions(output: OutputView, findings: _Findings) -> None:
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
    output: OutputView, before: Stretch | None, part: Stretch, at_s: float, findings: _Findings
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


def _off_but_must_be_on(
    output: OutputView, part: Stretch, at_s: float, findings: _Findings
) -> None:
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
        if seen_on:
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


# --- proofs -------------------------------------------------------------------------------------


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


def _rises(output: OutputView, cell: CellView, findings: _Findings) -> None:
    allowed = lower_open(cell.rise)
    for event in rises(cell.cause):
        if not event.sure or event.high < output.parts[0].first.low:
            continue
        cause = event.window
        stood_until = _true_until(cell.cause, cause.high)
        deadline = cause.high + cell.rise.high
        change = _next_change(output, cause.low)
        late = change is not None and change.when.low > deadline
        if change is None or change.to is FALSE or (late and stood_until < change.when.low):
            if stood_until > deadline and (change is None or change.to is not FALSE):
                findings.cell(cell, _unseen(cell, cause, output.view.span.high, findings))
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


def _unseen(cell: CellView, cause: Window, end_s: float, findings: _Findings) -> Aspect:
    tag = cell.cell.effect
    if cause.high + cell.rise.high > end_s:
        why = "the run ended before the time allowed was over"
        hint = "let the script go on longer"
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
        doubt += ": poll faster to settle it"
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


def _releases(output: OutputView, cell: CellView, findings: _Findings) -> None:
    allowed = lower_open(cell.release)
    for event in falls(cell.cause):
        if not event.sure or cell.state.at(event.low - JUST_S) is not TRUE:
            continue
        change = _next_change(output, event.low)
        if change is None or change.to is TRUE:
            continue
        if not output.muted.throughout(FALSE, event.low, change.when.high):
            continue
        if not _alone(output, cell, event.low, change.when.high):
            continue
        measured = response(event.window, change.when)
        outcome = decide(measured, allowed)
        came_back = not cell.cause.throughout(FALSE, event.high, change.when.low)
        if outcome is Outcome.FAILED and change.when.low > event.high and came_back:
            outcome = Outcome.INCONCLUSIVE
        findings.cell(cell, _timed(cell, "releases", measured, outcome, change.when.high))


def _latches(output: OutputView, cell: CellView, findings: _Findings) -> None:
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


def _resets(output: OutputView, cell: CellView, findings: _Findings) -> None:
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
            and change.when.high <= reset.high + _poll_s(output)
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


def _poll_s(output: OutputView) -> float:
    """A sample's worth of grace when a change need only be seen, not timed."""
    view, site = output.view, output.view.site
    source = view.source(output.fact)
    request = None if source is None else view.times.of(source.point)
    apart_s = site.pace.poll_period_s if request is None else request.apart_s
    return apart_s + site.timing.refresh_s + site.pace.timeout_s


# --- mute ---------------------------------------------------------------------------------------


def _mutes(output: OutputView, findings: _Findings) -> None:
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


# --- verdicts -----------------------------------------------------------------------------------


def best(aspects: list[Aspect]) -> Aspect:
    """Of several tries of one aspect the one that decides: a failure, else a proof, else the rest.

    A proof stands beside an inconclusive try of the same kind: it was seen to be right once, and
    never seen to be wrong.
    """
    rank = (Outcome.FAILED, Outcome.PROVEN, Outcome.INCONCLUSIVE, Outcome.NOT_RUN)
    return min(aspects, key=lambda aspect: rank.index(aspect.outcome))


def by_name(aspects: list[Aspect]) -> list[Aspect]:
    """One aspect of each name, in the order in which they first came."""
    names = dict.fromkeys(aspect.name for aspect in aspects)
    return [best([a for a in aspects if a.name == name]) for name in names]


def _cell_verdict(output: OutputView, cell: CellView, findings: _Findings) -> Verdict:
    aspects = by_name(findings.of_cell.get(cell.cell.id, []))
    rise = next((aspect for aspect in aspects if aspect.name == "rises"), None)
    outcome = overall([aspect.outcome for aspect in aspects])
    expected = f"{cell.cell.effect} {allowance(cell.rise)} {cell.cell.cause}"
    if not aspects:
        outcome, because = _unexercised(output, cell)
        return Verdict(f"cell/{cell.cell.id}", Kind.CELL, outcome, expected, because=because)
    if rise is not None and outcome is not Outcome.FAILED and rise.outcome is Outcome.NOT_RUN:
        outcome = Outcome.INCONCLUSIVE
    telling = _telling(aspects, outcome)
    because = telling.because
    if rise is None and outcome is Outcome.PROVEN:
        outcome = Outcome.INCONCLUSIVE
        because += f"; that {cell.cell.effect} comes in time was not seen"
    return Verdict(
        f"cell/{cell.cell.id}",
        Kind.CELL,
        outcome,
        expected=telling.expected if outcome is Outcome.FAILED else expected,
        seen=telling.seen,
        response_s=rise.response_s if rise is not None else None,
        because=because,
        aspects=tuple(aspects),
    )


def _telling(aspects: list[Aspect], outcome: Outcome) -> Aspect:
    """The aspect whose words explain the outcome."""
    for aspect in aspects:
        if aspect.outcome is outcome:
            return aspect
    return aspects[0]


def _unexercised(output: OutputView, cell: CellView) -> tuple[Outcome, str]:
    view = output.view
    if not output.parts:
        return Outcome.INCONCLUSIVE, f"nothing shows {output.fact}: a person has to look"
    unseen = [
        str(fact)
        for fact in dict.fromkeys(facts_of(cell.cell.cause_tree))
        if _unseen_fact(view, fact)
    ]
    if unseen:
        return Outcome.INCONCLUSIVE, f"nothing shows {', '.join(unseen)}"
    if cell.cause.ever(TRUE):
        return Outcome.INCONCLUSIVE, (
            f"{cell.cell.cause} stood, but was not seen to come, or not for long enough"
        )
    known = sum(
        part.end - part.start for part in cell.cause.within(*view.span) if part.value is FALSE
    )
    if known >= (view.span.high - view.span.low) / 2:
        return Outcome.NOT_RUN, f"{cell.cell.cause} never came"
    return Outcome.INCONCLUSIVE, (
        f"whether {cell.cell.cause} came could not be seen: samples lie further apart than the "
        f"panel's shortest dwell of {view.site.timing.shortest_dwell_s:g} s, or were lost; "
        "poll faster"
    )


def _unseen_fact(view: PanelView, fact: Fact) -> bool:
    text = str(fact)
    if text.startswith(("any.", "panel.")):
        return False
    return not view.shown(text) and not text.endswith(".inhibit")


def _output_verdict(output: OutputView, findings: _Findings) -> Verdict:
    tag = output.output.tag
    verdict_id = f"output/{tag}"
    expected = f"{tag} moves only for its causes"
    if not output.parts:
        return Verdict(
            verdict_id,
            Kind.OUTPUT,
            Outcome.INCONCLUSIVE,
            expected,
            because=f"nothing shows {output.fact}: a person has to look",
        )
    aspects = by_name(findings.of_output)
    failed_cells = any(
        aspect.outcome is Outcome.FAILED for found in findings.of_cell.values() for aspect in found
    )
    if not any(aspect.name == "moves only for its causes" for aspect in aspects):
        aspects.insert(0, _kept_still(output, failed_cells=failed_cells))
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = _telling(aspects, outcome)
    return Verdict(
        verdict_id,
        Kind.OUTPUT,
        outcome,
        expected=telling.expected or expected,
        seen=telling.seen,
        because=telling.because,
        aspects=tuple(aspects),
    )


def _kept_still(output: OutputView, *, failed_cells: bool) -> Aspect:
    """That the output was off wherever it had to be, as far as this was seen."""
    tag = output.output.tag
    name, expected = "moves only for its causes", f"{tag} off while none of its causes stands"
    agreed = 0.0
    for part in output.parts:
        if part.value is FALSE and part.known is not None:
            agreed += sum(
                piece.end - piece.start
                for piece in output.expected.within(*part.known)
                if piece.value is FALSE
            )
    if agreed <= 0.0:
        return Aspect(
            name,
            Outcome.INCONCLUSIVE,
            expected,
            because="it was never known at once that the output had to be off and was off",
        )
    also = "; what its cells did is judged with them" if failed_cells else ""
    return Aspect(
        name,
        Outcome.PROVEN,
        expected,
        seen=f"off for {agreed:.0f} s while it had to be",
        because=f"{tag} was off whenever it had to be, {agreed:.0f} s in all{also}",
    )
