"""Verdicts on the panel's other yes-or-no facts: faults, inhibits, contacts, common flags.

Each against what was made to happen, or against the facts that it sums up.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

from gaswitness_probe.applied import (
    GasApplied,
    PanelFaultMade,
    PowerSet,
)
from gaswitness_probe.aspects import JUST_S, by_name
from gaswitness_probe.expect import Expectations
from gaswitness_probe.observe import Stretch, changes, clash
from gaswitness_probe.respond import between, decide, response, seconds, shown_response
from gaswitness_probe.settling import SETTLING
from gaswitness_probe.signal import (
    ALWAYS_FALSE,
    FALSE,
    TRUE,
    UNKNOWN,
    Event,
    Signal,
    Truth,
    Window,
    all_of,
    any_of,
    blurred,
    falls,
    from_changes,
    held_for,
    kept_for,
    negation,
    painted,
    remembered,
    rises,
)
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_probe.view import PanelView, counted
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.matrix import Fact
from gaswitness_sitefile.mode_facts import FORCED, IN_TEST


@dataclass(frozen=True, slots=True)
class Flag:
    """A fact, the causes that make it, and how long it may take to show.

    `made`: true where it must come to show, `early`: where it may show at all, whichever is later.
    `delay`: from cause to flag, coming; `release`: going.
    """

    fact: str
    words: str
    made: Signal
    delay: Window
    release: Window

    @property
    def sums_up(self) -> bool:
        """Whether the fact follows from others that have verdicts of their own."""
        return self.fact.startswith("any.") or self.fact in ("panel.inhibit", "panel.test")

    @property
    def expected(self) -> Signal:
        """What the flag must show."""
        return kept_for(held_for(self.made, self.delay), self.release)


def judge_flags(expectations: Expectations) -> Iterator[Verdict]:
    """A verdict for every flag of the panel that the site file maps, or that was made to change.

    Sums such as `any.A1` are a courtesy of the map: where it has none, none is missed.
    """
    view = expectations.view
    for flag in _flags(expectations):
        if view.shown(flag.fact):
            yield flag_verdict(view, flag)
        elif flag.made.ever(TRUE) and not flag.sums_up:
            yield Verdict(
                f"flag/{flag.fact}",
                Kind.FLAG,
                Outcome.INCONCLUSIVE,
                f"{flag.fact} shows {flag.words}",
                because=f"no point shows {flag.fact}",
            )
    if view.shown("panel.unaccepted"):
        yield _unaccepted(expectations)


def expected_flags(expectations: Expectations) -> dict[str, Signal]:
    """What each flag must show, where it is known, by its fact."""
    found = {flag.fact: flag.expected for flag in _flags(expectations)}
    found["panel.unaccepted"] = _unaccepted_flag(expectations).expected
    return found


def _flags(expectations: Expectations) -> Iterator[Flag]:
    view = expectations.view
    prompt = view.prompt
    for channel in view.site.channels:
        yield _made(view, f"{channel.tag}.fault", "that the channel is in fault")
        yield _made(view, f"{channel.tag}.inhibit", "that it is inhibited")
        yield _made(view, f"{channel.tag}.test", "that it is in test")
        yield _made(view, f"{channel.tag}.calibration", "that it is in calibration")
        limits = channel.shown_limits
        yield _ranged(view, channel, "over_range", limits[1])
        yield _ranged(view, channel, "under_range", limits[0])
    for contact in view.site.inputs:
        yield _made(view, f"{contact.tag}.active", "that the contact is active")
    for what in ("A1", "A2", "A3", "fault"):
        yield Flag(
            f"any.{what}",
            f"the {what} of any channel",
            expectations.cause(Fact("any", what)),
            prompt,
            prompt,
        )
    inhibits = any_of([view.inhibited(channel.tag) for channel in view.site.channels])
    yield Flag("panel.inhibit", "any channel's inhibit", inhibits, prompt, prompt)
    yield Flag("panel.fault", "any fault", _panel_fault_made(view), prompt, prompt)
    warm_up = _warm_up_made(view)
    if warm_up.ever(TRUE):
        yield Flag("panel.warm_up", "that the panel warms up", warm_up, prompt, prompt)
    for output in expectations.outputs.values():
        if output.output.mutable:
            tag = output.output.tag
            yield Flag(f"{tag}.muted", f"that {tag} is muted", output.muted, prompt, prompt)
    for tag in expectations.outputs:
        yield _made(view, f"{tag}.{FORCED}", "that somebody forces it")
    yield _made(view, f"panel.{IN_TEST}", "that an output is forced")


def _made(view: PanelView, fact: str, words: str) -> Flag:
    made = view.made(fact) if fact in view.facts_made else _NEVER_MADE
    return Flag(fact, words, made, view.coming(fact), view.prompt)


_NEVER_MADE = Signal((), (UNKNOWN,))
"""What was never made to happen is not expected either way: the panel may have its own reasons."""


def _ranged(view: PanelView, channel: Channel, what: str, limit: float) -> Flag:
    """Over-range and under-range follow from the gas once it has settled."""
    settled = settled_gas(view, channel)
    known: list[tuple[float, Truth]] = []
    sign = 1.0 if what == "over_range" else -1.0
    for plateau in settled:
        excess = sign * (plateau.level - limit)
        value = TRUE if excess > channel.noise else FALSE if excess < -channel.noise else UNKNOWN
        if channel.over_range_latches and what == "over_range" and value is FALSE:
            value = UNKNOWN  # it may stand until reset
        known += [(plateau.low, value), (plateau.high, UNKNOWN)]
    made = blurred(from_changes(UNKNOWN, known), view.unsound(channel.tag))
    if not made.ever(TRUE):
        made = _NEVER_MADE
    words = f"that its reading is {what}"
    return Flag(f"{channel.tag}.{what}", words, made, view.prompt, view.prompt)


@dataclass(frozen=True, slots=True)
class Plateau:
    """Gas that stood at `level`, from `low`, when the detector had settled, until `high`."""

    low: float
    high: float
    level: float


def applied_gas(view: PanelView, channel: Channel) -> Iterator[tuple[Window, GasApplied, float]]:
    """Each time that gas was applied: when, what, and the instant at which it was changed again."""
    applied = [one for one in view.actions(GasApplied) if one[1].channel == channel.tag]
    for index, (when, action) in enumerate(applied):
        last = index + 1 == len(applied)
        yield when, action, view.span.high if last else applied[index + 1][0].low


def settled_gas(view: PanelView, channel: Channel) -> list[Plateau]:
    """Where the reading of a channel must show the gas applied."""
    timing = view.site.timing
    shown_s = 2 * timing.scan_s + timing.refresh_s + view.site.oldest_reading_s
    settle_s = SETTLING * channel.slowest_t90_s + shown_s
    found = []
    for when, action, until in applied_gas(view, channel):
        low = when.high + action.over_s + settle_s
        if low < until:
            found.append(Plateau(low, until, action.level))
    return found


WARM_UP_EARLY: Final = 0.1
"""The share of its time by which a warm-up may end early; later, its flag's response time."""


def _warm_up_made(view: PanelView) -> Signal:
    """Warm-up after each return of the supply that was made here, until the panel may lose it."""
    warm_up_s, longest_s = view.site.warm_up_s, view.site.alarms_count_after_s
    known: list[tuple[float, float, Truth]] = []
    for when, action in view.actions(PowerSet):
        if not action.on:
            continue
        ends = [lost.low for lost in view.broken if lost.low > when.high]
        until = min(ends, default=inf)
        begun_s = when.high + longest_s - warm_up_s
        over_s = min(when.low + (1.0 - WARM_UP_EARLY) * warm_up_s, until)
        was_off = view.powered_off.at(when.low - JUST_S) is TRUE
        if was_off and begun_s < over_s:
            known.append((begun_s, over_s, TRUE))
        if when.high + longest_s < until:
            known.append((when.high + longest_s, until, FALSE))
    return painted(known)


def _panel_fault_made(view: PanelView) -> Signal:
    """Channel faults that count, and the panel's own where one was made.

    The panel may have a fault of its own that nobody here made. It is taken to have none only if it
    never reports one that the faults made here do not account for.
    """
    own: list[tuple[float, Truth]] = []
    done = view.actions(PanelFaultMade)
    for when, action in done:
        own += [(when.low, UNKNOWN), (when.high, TRUE if action.on else FALSE)]
    facts = {channel.tag: f"{channel.tag}.fault" for channel in view.site.channels}
    channels = [counted(view, fact) for fact in facts.values()]
    made = [all_of([view.made(fact), negation(view.inhibited(tag))]) for tag, fact in facts.items()]
    accounted = any_of([from_changes(FALSE, own), *channels])
    doings = any_of(made)
    explained = all(
        accounted.ever(TRUE, part.first.low, part.last.high)
        # Seen but once, or while it was being mended: what was done here may well be why.
        or not doings.throughout(FALSE, part.first.low, part.last.high)
        for part in view.parts("panel.fault")
        if part.value is TRUE
    )
    clean = explained and not (done and not done[0][1].on)
    mine = blurred(from_changes(FALSE if clean else UNKNOWN, own), view.upset)
    return any_of([mine, *channels])


def flag_verdict(
    view: PanelView, flag: Flag, said: Sequence[Sequence[Stretch]] | None = None
) -> Verdict:
    """The verdict on a flag. `said`: what each of its points showed; left out, the best one's."""
    parts = view.parts(flag.fact)
    every = [parts] if said is None else said
    wrong = [aspect for one in every for aspect in _contradictions(flag, one)]
    aspects = by_name([*wrong, *(aspect for one in every for aspect in _changes(flag, one))])
    expected = f"{flag.fact} shows {flag.words}"
    if not aspects:
        outcome, because = _unexercised(view, flag, parts)
        return Verdict(f"flag/{flag.fact}", Kind.FLAG, outcome, expected, because=because)
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = next(aspect for aspect in aspects if aspect.outcome is outcome)
    timed = next((aspect.response_s for aspect in aspects if aspect.response_s), None)
    return Verdict(
        f"flag/{flag.fact}",
        Kind.FLAG,
        outcome,
        expected,
        telling.seen,
        timed,
        telling.because,
        aspects=tuple(aspects),
    )


def _unexercised(view: PanelView, flag: Flag, parts: Sequence[Stretch]) -> tuple[Outcome, str]:
    if flag.fact == "panel.fault" and any(part.value is TRUE for part in parts):
        return Outcome.INCONCLUSIVE, "the panel reports a fault that nothing here has caused"
    if flag.made.ever(TRUE):
        return Outcome.INCONCLUSIVE, (
            f"{flag.fact} had to show, but no change of it was seen; hold longer, or poll faster"
        )
    low, high = view.span
    known = sum(p.end - p.start for p in flag.made.within(low, high) if p.value is FALSE)
    if flag.made.times and known < (high - low) / 2:
        return Outcome.INCONCLUSIVE, "what it sums up could not be seen; poll faster"
    return Outcome.NOT_RUN, "nothing was done that makes it show"


def _contradictions(flag: Flag, parts: Sequence[Stretch]) -> Iterator[Aspect]:
    expected = flag.expected
    for part in parts:
        at_s = clash(part, expected)
        if at_s is None:
            continue
        shows, must = ("off", "on") if part.value is FALSE else ("on", "off")
        yield Aspect(
            "comes" if part.value is FALSE else "goes",
            Outcome.FAILED,
            expected=f"{flag.fact} {must} at {seconds(at_s)}",
            seen=f"{flag.fact} {shows} at {seconds(at_s)}",
            because=f"{flag.fact} was {shows} when it had to show {must}: {flag.words}",
            at_s=at_s,
        )


def _changes(flag: Flag, parts: Sequence[Stretch]) -> Iterator[Aspect]:
    seen = changes(parts)
    for name, events, to, allowed in (
        ("comes", rises(flag.made), TRUE, flag.delay),
        ("goes", falls(flag.made), FALSE, flag.release),
    ):
        for event in events:
            if not event.sure:
                continue
            change = next((c for c in seen if c.when.high > event.low), None)
            if change is None or change.to is not to:
                continue
            aspect = _timed(flag, name, event, change.when, Window(-inf, allowed.high))
            made = flag.made if to is TRUE else negation(flag.made)
            held_to = max(event.high, change.when.low)
            if aspect.outcome is Outcome.FAILED and not made.throughout(TRUE, event.high, held_to):
                # What was made had gone again by then: another one's flag, not a late one.
                continue
            yield aspect


def _timed(flag: Flag, name: str, event: Event, when: Window, allowed: Window) -> Aspect:
    measured = response(event.window, when)
    outcome = decide(measured, allowed)
    # A person's hand is slower than the flag: that the change came at all, after the hand had
    # begun and before the time allowed was over, is then all that can be asked.
    if outcome is Outcome.INCONCLUSIVE and when.high <= event.high + allowed.high:
        outcome = Outcome.PROVEN
    doubt = "; poll faster to settle it" if outcome is Outcome.INCONCLUSIVE else ""
    return Aspect(
        name,
        outcome,
        expected=f"{flag.fact} {name} within {allowed.high:g} s",
        seen=f"{flag.fact} {name} {between(measured)} after",
        response_s=shown_response(measured),
        because=f"{flag.fact} {name} {between(measured)} after, "
        f"allowed are {allowed.high:g} s{doubt}",
        at_s=when.high,
    )


def _unaccepted(expectations: Expectations) -> Verdict:
    """Set by any level or fault that comes on, cleared by accept."""
    view = expectations.view
    flag = _unaccepted_flag(expectations)
    fact, parts = flag.fact, view.parts(flag.fact)
    sets, clears = list(_alarms_coming(view)), _accepted(view)
    aspects = by_name([*_contradictions(flag, parts), *_memory_changes(fact, sets, clears, parts)])
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = next((a for a in aspects if a.outcome is outcome), None)
    return Verdict(
        f"flag/{fact}",
        Kind.FLAG,
        outcome,
        f"{fact} shows {flag.words}",
        telling.seen if telling else "",
        because=telling.because if telling else "no alarm came and was accepted",
        aspects=tuple(aspects),
    )


def _unaccepted_flag(expectations: Expectations) -> Flag:
    view = expectations.view
    blanks = [Event(w.low, w.high, sure=False) for w in view.broken]
    sets = [*_alarms_coming(view), *blanks]
    expected = remembered(sets, [*_accepted(view), *blanks], UNKNOWN)
    words = "an alarm or fault not yet accepted"
    return Flag("panel.unaccepted", words, expected, _NOW, _NOW)


def unaccepted(expectations: Expectations) -> Signal:
    """Whether an alarm or fault is not yet accepted: as seen, or as it must be."""
    view = expectations.view
    if view.shown("panel.unaccepted"):
        return view.signal("panel.unaccepted")
    return _unaccepted_flag(expectations).expected


def _accepted(view: PanelView) -> list[Event]:
    return [Event(press.low, press.high) for press in view.keys("accept")]


def _alarms_coming(view: PanelView) -> Iterator[Event]:
    """Every level and fault that comes on and has to be accepted: none of a silent channel."""
    later_s = view.site.timing.flag_response_s
    for channel in view.site.channels:
        silent = view.silent(channel.tag)
        exposures = channel.exposure.limits if channel.exposure else ()
        for what in (*channel.levels, *exposures, "fault"):
            fact = f"{channel.tag}.{what}"
            if what != "fault" and not view.shown(fact):
                yield Event(-inf, inf, sure=False)
                continue
            for event in rises(view.flag(fact)):
                low, high = event.low, event.high
                if not silent.throughout(TRUE, low, high):
                    sure = event.sure and silent.throughout(FALSE, low, high)
                    yield Event(low, high + later_s, sure=sure)
    for event in rises(view.as_shown("panel.fault", view.made("panel.fault"))):
        yield event
    shown = view.signal("panel.fault") if view.shown("panel.fault") else ALWAYS_FALSE
    for event in rises(shown):
        # A fault of its own that nobody here made would have to be accepted too.
        yield Event(event.low, event.high + later_s, sure=False)


_NOW = Window(0.0, 0.0)


def _memory_changes(
    fact: str, sets: Sequence[Event], clears: Sequence[Event], parts: Sequence[Stretch]
) -> Iterator[Aspect]:
    for change in changes(parts):
        name, events = ("comes", sets) if change.to is TRUE else ("goes", clears)
        why = "an alarm or fault" if change.to is TRUE else "accept"
        for event in events:
            if event.sure and event.low <= change.when.high and change.when.low <= event.high:
                yield Aspect(
                    name,
                    Outcome.PROVEN,
                    expected=f"{fact} {name} with {why}",
                    seen=f"{fact} {name} by {seconds(change.when.high)}",
                    because=f"{fact} {name} with {why} at {seconds(event.low)}",
                    at_s=change.when.high,
                )
