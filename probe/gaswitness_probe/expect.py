"""What must, may and must not be, computed from what was seen: levels, cells and outputs.

The probe's own reading of the panel's rules in DEVELOPERS.md, as logic over time. The result is
again a signal: true where it must be on, false where it must be off, unknown where either will do.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

from gaswitness_probe.applied import GasApplied
from gaswitness_probe.aspects import JUST_S
from gaswitness_probe.facts import resolution, within_type
from gaswitness_probe.observe import Stretch
from gaswitness_probe.output_forced import Forced, forced, where_free
from gaswitness_probe.output_time import given_time, lasting
from gaswitness_probe.series import threshold
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
    at_least,
    blurred,
    combine,
    from_changes,
    held,
    held_for,
    kept_for,
    latched,
    negation,
    painted,
    remembered,
    rises,
)
from gaswitness_probe.view import ALWAYS_COUNT, PanelView, counted, panel_fault
from gaswitness_sitefile.channel import AlarmLevel, Channel, Direction, LevelsOnFault
from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.matrix import AllOf, AnyOf, Cause, Cell, Fact, Not, Vote, facts_of
from gaswitness_sitefile.site import InhibitActs

MOST_CHANGES = 2
"""So many facts that change, one after the other, take a cause that goes to no more than one other
value between."""


def replaced(signal: Signal, where: Signal, value: Truth) -> Signal:
    """The signal, but `value` where `where` is true; unknown where that is unknown and matters."""

    def rule(now: tuple[Truth, ...] | list[Truth]) -> Truth:
        own, gate = now
        if gate is FALSE or own is value:
            return own
        return value if gate is TRUE else UNKNOWN

    return combine(rule, [signal, where])  # type: ignore[arg-type]  # two signals, two values


def _false_within(signal: Signal, windows: Sequence[Window]) -> Signal:
    """The signal, but false in the windows where it is unknown."""
    if not windows:
        return signal
    within = any_of([painted([(low, high, TRUE)]) for low, high in windows])
    return combine(lambda now: FALSE if now == [UNKNOWN, TRUE] else now[0], [signal, within])


@dataclass(frozen=True)
class LevelView:
    """One alarm level: what its reading demands of it, and what was seen of it."""

    view: PanelView
    channel: Channel
    name: str

    @property
    def fact(self) -> str:
        """The level's fact, such as AT-101.A1."""
        return f"{self.channel.tag}.{self.name}"

    @property
    def level(self) -> AlarmLevel:
        """The level as the site file states it."""
        return self.channel.levels[self.name]

    @property
    def delay(self) -> Window:
        """From the reading's crossing to the flag, in seconds."""
        on_delay_s = self.level.on_delay_s
        early_s = 0.1 * on_delay_s + self.view.site.timing.scan_s if on_delay_s else 0.0
        return Window(max(0.0, on_delay_s - early_s), on_delay_s + self.lag_s)

    @property
    def lag_s(self) -> float:
        """How long the level may lag behind its reading, its own delay aside."""
        return self.view.site.timing.level_allowance_s

    @cached_property
    def doubt(self) -> float:
        """How near the setpoint nothing is said of the reading, in the channel's unit."""
        point = self.view.reading_point(self.channel.tag)
        return self.view.doubt(self.channel, point) if point is not None else 0.0

    @cached_property
    def rounding(self) -> float:
        """Half the step of the register that shows the reading, in the channel's unit."""
        point = self.view.reading_point(self.channel.tag)
        return resolution(point) if point is not None else 0.0

    @cached_property
    def top_shown(self) -> float:
        """The height, counted in the direction of the alarm, past which the register cannot go."""
        point = self.view.reading_point(self.channel.tag)
        if point is None:
            return inf
        highest = within_type(point, inf) if self.rising else -within_type(point, -inf)
        return highest - self.rounding

    @property
    def rising(self) -> bool:
        """Whether the alarm lies above the setpoint."""
        return self.level.direction is Direction.RISING

    @property
    def clears_at(self) -> float:
        """The reading past which the level goes off again, in the channel's unit."""
        back = self.level.hysteresis
        return self.level.setpoint - back if self.rising else self.level.setpoint + back

    @cached_property
    def crossed(self) -> Signal:
        """Where the reading stands beyond the setpoint, whether it counts or not."""
        beyond = threshold(self.level.setpoint, self.doubt, rising=self.rising)
        return self.view.reading_signal(self.channel.tag, beyond)

    @cached_property
    def held_off(self) -> Signal:
        """Where warm-up or inhibit hold the level off."""
        off = [self.view.flag("panel.warm_up")]
        if self.view.site.behaviour.inhibit is InhibitActs.LEVELS:
            off.append(self.view.inhibited(self.channel.tag))
        return any_of(off)

    @cached_property
    def fault(self) -> Signal:
        """The channel's fault, as seen."""
        return self.view.flag(f"{self.channel.tag}.fault")

    @cached_property
    def disturbed(self) -> Signal:
        """Where a fault, warm-up or inhibit comes between the reading and its level."""
        return any_of([self.fault, self.held_off])

    @cached_property
    def beyond(self) -> Signal:
        """Where the reading stands beyond the setpoint and counts."""
        return blurred(all_of([self.crossed, negation(self.held_off)]), self.fault)

    @cached_property
    def back(self) -> Signal:
        """Where the reading has come back, past the hysteresis."""
        behind = threshold(self.clears_at, self.doubt, rising=not self.rising)
        return blurred(self.view.reading_signal(self.channel.tag, behind), self.fault)

    @cached_property
    def condition(self) -> Signal:
        """The level without its latch."""
        lag = Window(0.0, self.lag_s)
        setting = _false_within(held_for(self.beyond, self.delay), self._not_reached)
        clearing = held_for(self.back, lag)
        in_fault = held_for(self.fault, lag)
        rule = self.channel.levels_on_fault
        setting = replaced(setting, in_fault, TRUE if rule is LevelsOnFault.TRIP else FALSE)
        clearing = replaced(clearing, in_fault, TRUE if rule is LevelsOnFault.CLEAR else FALSE)
        off = held_for(self.held_off, lag)
        setting = all_of([setting, negation(off)])
        clearing = any_of([clearing, off])
        return held(setting, clearing, seen=self._seen_condition)

    @property
    def _not_reached(self) -> list[Window]:
        """From before a fault shows until it counts, where the reading cannot have come to the
        setpoint meanwhile: it stood short of it, and nobody had moved the gas for as long as it
        takes to settle. A level that comes on then does so for the fault, as it may when it trips.
        """
        if self.channel.levels_on_fault is LevelsOnFault.TRIP or self.channel.room is not None:
            return []
        moved = [
            Window(when.low, when.high + gas.over_s + SETTLING * self.channel.slowest_t90_s)
            for when, gas in self.view.actions(GasApplied)
            if gas.channel == self.channel.tag
        ]
        dwell_s = self.view.eyesight.dwell_s
        found: list[Window] = []
        before = FALSE
        since = -inf
        for start, _, value in self.fault.segments():
            since = since if before is UNKNOWN else start
            before = value
            if value is not TRUE:
                continue
            window = Window(since - dwell_s, start + self.lag_s)
            short = self.crossed.ever(FALSE, window.low, since)
            past = self.crossed.ever(TRUE, window.low, since)
            if (
                short
                and not past
                and not any(m.low <= window.high and window.low <= m.high for m in moved)
            ):
                found.append(window)
        return found

    @property
    def _seen_condition(self) -> Signal:
        """What the flag tells of the unlatched level; of a latching one only that it is off."""
        seen = self.view.signal(self.fact)
        if not self.level.latching:
            return seen
        return combine(lambda now: FALSE if now[0] is FALSE else UNKNOWN, [seen])

    @cached_property
    def expected(self) -> Signal:
        """What the level must show."""
        lag = Window(0.0, self.lag_s)
        forced_off = held_for(self.held_off, lag)
        if self.channel.levels_on_fault is LevelsOnFault.CLEAR:
            forced_off = any_of([forced_off, held_for(self.fault, lag)])
        if not self.level.latching:
            return replaced(self.condition, forced_off, FALSE)
        return latched(
            self.condition,
            self.view.keys("reset"),
            seen_off=negation(self.view.signal(self.fact)),
            seen_on=self.view.signal(self.fact),
            broken=self.view.broken,
            forced_off=forced_off,
        )

    @cached_property
    def parts(self) -> list[Stretch]:
        """What was seen of the level."""
        return self.view.parts(self.fact)


class Expectations:
    """Levels, causes and outputs of one view, each computed once."""

    def __init__(self, view: PanelView) -> None:
        self.view = view
        self.levels = {
            f"{channel.tag}.{name}": LevelView(view, channel, name)
            for channel in view.site.channels
            for name in channel.levels
        }
        self._facts: dict[Fact, Signal] = {}

    def cause(self, cause: Cause) -> Signal:
        """What is known of a cause over time."""
        match cause:
            case Fact():
                if cause not in self._facts:
                    self._facts[cause] = self._fact(cause)
                return self._facts[cause]
            case Not(term):
                return negation(self.cause(term))
            case AllOf(terms):
                return all_of([self.cause(term) for term in terms])
            case AnyOf(terms):
                return any_of([self.cause(term) for term in terms])
            case Vote(need, terms):
                return at_least(need, [self.cause(term) for term in terms])

    def _fact(self, fact: Fact) -> Signal:
        view = self.view
        if fact.subject == "any":
            return any_of(
                [
                    self.cause(Fact(channel.tag, fact.what))
                    for channel in view.site.channels
                    if fact.what == "fault" or fact.what in channel.levels
                ]
            )
        if fact.subject in view.site.channel_of:
            level = self.levels.get(str(fact))
            if level is not None and not view.shown(str(fact)):
                return all_of([level.expected, negation(view.silent(fact.subject))])
            if fact.what in ALWAYS_COUNT:
                return view.flag(str(fact))
            return counted(view, str(fact))
        return panel_fault(view) if str(fact) == "panel.fault" else view.flag(str(fact))

    @cached_property
    def outputs(self) -> dict[str, "OutputView"]:
        """All outputs, by tag."""
        return {output.tag: OutputView(self, output) for output in self.view.site.outputs}


def _may_have_ended(now: Sequence[Truth]) -> Truth:
    kept, delayed, since_lost = now
    return UNKNOWN if kept is TRUE and delayed is not TRUE and since_lost is TRUE else kept


@dataclass(frozen=True)
class CellView:
    """One cell: its cause as seen, and what its effect must do on its account."""

    expectations: Expectations
    cell: Cell
    seen_off: Callable[[], Signal]
    output: Output

    @cached_property
    def lasting(self) -> Window | None:
        """How long a new cause alone keeps the output on, in seconds; None where it does not."""
        return lasting(self.output, self.expectations.view.site.timing.scan_s)

    @cached_property
    def anew(self) -> list[Event]:
        """When the cause came anew, or may have, its on-delay over."""
        return [event for event in rises(self.delayed) if not self._only_went(event)]

    def _only_went(self, event: Event) -> bool:
        """Whether the cause went in the gap and cannot have come again within it.

        No fact of the panel changes twice in less than its shortest dwell; three of them or more,
        each once, may make a cause go, come and go.
        """
        low, high = event.low - JUST_S, event.high
        if self.delayed.at(low) is not TRUE or self.delayed.at(high) is not FALSE:
            return False
        dwell_s = self.expectations.view.site.timing.shortest_dwell_s
        changes = 0
        for fact in dict.fromkeys(facts_of(self.cell.cause_tree)):
            signal = self.expectations.cause(fact)
            pieces = list(signal.within(low, high))
            if any(p.value is UNKNOWN and p.end - p.start > dwell_s for p in pieces):
                return False
            if len(pieces) > 1:
                ends = {pieces[0].value, pieces[-1].value}
                changes += 1 if ends == {TRUE, FALSE} else 2
        return changes <= MOST_CHANGES

    @cached_property
    def own_time(self) -> Signal:
        """Where the time that its causes give the output runs."""
        if self.lasting is None:
            return ALWAYS_FALSE
        broken = self.expectations.view.broken
        # A cause that stands when the power returns comes anew.
        again = [Event(lost.low, lost.high + self.rise.high, sure=False) for lost in broken]
        # One that went before it must have been heard may have been heard, as late as that.
        came = [
            one if one.sure else Event(one.low, one.high + self.cell.response_s, sure=False)
            for one in self.anew
        ]
        return given_time([*came, *again], self.lasting, broken)

    @property
    def rise(self) -> Window:
        """From the cause to the effect, in seconds."""
        cell = self.cell
        return Window(
            max(0.0, cell.on_delay_s - cell.early_allowance_s), cell.on_delay_s + cell.response_s
        )

    @property
    def release(self) -> Window:
        """From the cause's end to the effect's, in seconds."""
        cell = self.cell
        return Window(0.9 * cell.off_delay_s, cell.off_delay_s + cell.response_s)

    @cached_property
    def cause(self) -> Signal:
        """What is known of the cause."""
        return self.expectations.cause(self.cell.cause_tree)

    @cached_property
    def delayed(self) -> Signal:
        """The cause with its on-delay and the time allowed for the effect."""
        return held_for(self.cause, self.rise)

    @cached_property
    def kept(self) -> Signal:
        """With its off-delay as well; where the supply was lost meanwhile, it may have ended."""
        kept = kept_for(self.delayed, self.release)
        if not self.cell.off_delay_s:
            return kept
        for lost in self.expectations.view.broken:
            since = from_changes(FALSE, [(lost.low, TRUE), (lost.high + self.release.high, FALSE)])
            kept = combine(_may_have_ended, [kept, self.delayed, since])
        return kept

    @cached_property
    def state(self) -> Signal:
        """Whether the cell must keep its output on, by the time it gives it or by itself."""
        if self.lasting is None:
            return self.acting
        if self.output.pulse_s is not None:
            return self.own_time
        return any_of([self.acting, self.own_time])

    @cached_property
    def acting(self) -> Signal:
        """Whether the cell must act."""
        if not self.cell.latching:
            return self.kept
        view = self.expectations.view
        return latched(self.kept, view.keys("reset"), seen_off=self.seen_off(), broken=view.broken)


class OutputView:
    """One output: what its cells demand of it together, and what was seen of it."""

    def __init__(self, expectations: Expectations, output: Output) -> None:
        self.expectations = expectations
        self.view = expectations.view
        self.output = output
        self.cells = [
            CellView(expectations, cell, self._seen_off, output)
            for cell in self.view.site.cells_of[output.tag]
        ]

    @property
    def fact(self) -> str:
        """The output's fact, such as K1.active."""
        return f"{self.output.tag}.active"

    @cached_property
    def parts(self) -> list[Stretch]:
        """What was seen of the output while nobody forced it."""
        return where_free(self.view.parts(self.fact), self.forced.free)

    @cached_property
    def forced(self) -> Forced:
        """Where somebody holds it at the panel."""
        return forced(self.view, self.output.tag)

    def _seen_off(self) -> Signal:
        off = blurred(negation(self.view.signal(self.fact)), negation(self.forced.free))
        if not self.output.mutable or not self.view.keys("mute"):
            return off
        return all_of([off, negation(self.view.signal(f"{self.output.tag}.muted"))])

    @cached_property
    def effect(self) -> Signal:
        """What the cells demand, the mute aside."""
        return any_of([cell.state for cell in self.cells])

    @cached_property
    def mute_presses(self) -> list[Window]:
        """When mute was pressed while the output may have acted, where that silences it."""
        if not self.output.mutable:
            return []
        return [
            press
            for press in self.view.keys("mute")
            if not self.effect.throughout(FALSE, press.low, press.high)
            and not self.forced.free.throughout(FALSE, press.low, press.high)
        ]

    @cached_property
    def muted(self) -> Signal:
        """Whether the output has been muted."""
        if not self.output.mutable or not self.mute_presses:
            return ALWAYS_FALSE
        presses = [
            Event(
                p.low,
                p.high,
                sure=self.effect.throughout(TRUE, p.low, p.high)
                and self.forced.free.throughout(TRUE, p.low, p.high),
            )
            for p in self.mute_presses
        ]
        anew = [event for cell in self.cells for event in rises(cell.delayed)]
        memory = remembered(presses, anew, FALSE)
        return replaced(memory, negation(self.effect), FALSE)

    @cached_property
    def expected(self) -> Signal:
        """What the output must do."""
        return all_of([self.effect, negation(self.muted)])
