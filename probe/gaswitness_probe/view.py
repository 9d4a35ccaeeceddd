"""What was seen of the panel, fact by fact, and when it was asked to do something.

The ground on which expectations are computed: signals, the windows of keys, lost stretches.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from math import inf
from typing import TypeVar

from gaswitness_probe.applied import (
    Action,
    Applied,
    Calibrated,
    FaultMade,
    InhibitSet,
    InputMade,
    InTestSet,
    Key,
    KeyPressed,
    Looked,
    OutputForced,
    PanelFaultMade,
    PanelUpset,
    PowerSet,
)
from gaswitness_probe.facts import Source, fact_sources, reading_points, resolution, within_type
from gaswitness_probe.history import PointHistory, Run
from gaswitness_probe.modes_made import Powering, calibrating, on_until_ended
from gaswitness_probe.observe import Eyesight, Stretch, signal_of, stretches
from gaswitness_probe.series import Series, series_of, threshold
from gaswitness_probe.signal import (
    ALWAYS_FALSE,
    ALWAYS_UNKNOWN,
    FALSE,
    TRUE,
    UNKNOWN,
    Signal,
    Truth,
    Window,
    all_of,
    any_of,
    blurred,
    from_changes,
    held_for,
    kept_for,
    negation,
    truth,
)
from gaswitness_probe.timing import PollTimes, poll_times
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.mode_facts import CHANNEL_MODES, FORCED, IN_TEST
from gaswitness_sitefile.points import Point
from gaswitness_sitefile.site import Site

EMPTY_SPAN = Window(0.0, 0.0)
ALWAYS_COUNT = ("inhibit", *CHANNEL_MODES)
"""What a channel that drives nothing else still says as a cause."""

LONGEST_BLINK_S = 5.0
"""A silence longer than this may hide a power cut, so what was latched before may be lost."""

A = TypeVar("A", bound=Action)


class PanelView:
    """All that was seen of one panel in one run, and all that was done to it.

    `span`: first and last instant of the run. `link`: over which it was seen; None is a network.
    Signals are computed once and kept.
    """

    def __init__(
        self,
        site: Site,
        histories: Mapping[str, PointHistory],
        applied: Sequence[Applied] = (),
        looked: Sequence[Looked] = (),
        span: Window = EMPTY_SPAN,
        link: LinkAddress | None = None,
    ) -> None:
        self.site = site
        self.histories = histories
        self.applied = sorted(applied, key=lambda one: (one.begun_s, one.done_s))
        self.looked = looked
        self.span = span
        self.link = link
        self.sources = fact_sources(site)
        self.eyesight = Eyesight(site.timing.refresh_s, site.timing.shortest_dwell_s)
        self._signals: dict[str, Signal] = {}
        self._inferred: dict[str, Signal] = {}
        self._parts: dict[str, list[Stretch]] = {}
        self._series: dict[str, Series] = {}
        self._silent: dict[str, Signal] = {}

    def runs(self, point: Point) -> Sequence[Run]:
        """What was seen of a point; empty where nothing was."""
        history = self.histories.get(point.name)
        return history.runs if history is not None else ()

    @cached_property
    def times(self) -> PollTimes:
        """What polling takes on this link, and how far samples lie apart."""
        return poll_times(self.site, self.link)

    def source(self, fact: str) -> Source | None:
        """The best source of a fact that was seen at all."""
        for source in self.sources.get(fact, ()):
            if self.runs(source.point):
                return source
        return None

    def parts_of(self, source: Source) -> list[Stretch]:
        """What one source says of its fact, as stretches."""
        return stretches(self.runs(source.point), source.meaning, self.eyesight)

    def parts(self, fact: str) -> list[Stretch]:
        """What was seen of a fact, as stretches; what people saw counts where no point shows it."""
        if fact not in self._parts:
            source = self.source(fact)
            if source is None:
                self._parts[fact] = self._looked_at(fact)
            else:
                self._parts[fact] = self.parts_of(source)
        return self._parts[fact]

    def _looked_at(self, fact: str) -> list[Stretch]:
        found = []
        for look in sorted(self.looked, key=lambda one: one.asked_s):
            if look.fact == fact:
                window = Window(look.asked_s, look.answered_s)
                found.append(Stretch(truth(look.value), window, window))
        return found

    def signal(self, fact: str) -> Signal:
        """What is known of a fact over time; unknown throughout where nothing shows it."""
        if fact not in self._signals:
            self._signals[fact] = signal_of(self.parts(fact))
        return self._signals[fact]

    def shown(self, fact: str) -> bool:
        """Whether anything shows the fact."""
        return bool(self.parts(fact))

    def flag(self, fact: str) -> Signal:
        """The fact as seen, or, where nothing shows it, as far as it follows from what was done.

        What nobody made is then taken not to be.
        """
        if self.shown(fact):
            return self.signal(fact)
        if fact not in self._inferred:
            self._inferred[fact] = self._as_it_follows(fact)
        return self._inferred[fact]

    def _as_it_follows(self, fact: str) -> Signal:
        subject, _, what = fact.partition(".")
        channel = self.site.channel_of.get(subject)
        if channel is not None and what in ("over_range", "under_range"):
            return self._within_range(channel, what)
        if fact == "panel.warm_up":
            return self._warm_up_made
        return self.as_shown(fact, self.made(fact))

    def as_shown(self, fact: str, made: Signal) -> Signal:
        """What the panel must say of a fact that was made, in the time allowed for saying so."""
        return kept_for(held_for(made, self.coming(fact)), self.prompt)

    @property
    def prompt(self) -> Window:
        """From something made to its flag, in seconds, where the panel waits for nothing."""
        return Window(0.0, self.site.timing.flag_response_s)

    def coming(self, fact: str) -> Window:
        """From something made to its flag coming, in seconds: a fault has a delay of its own."""
        subject, _, what = fact.partition(".")
        channel = self.site.channel_of.get(subject) if what == "fault" else None
        if channel is None:
            return self.prompt
        return Window(0.9 * channel.fault_delay_s, channel.fault_delay_s + self.prompt.high)

    def _within_range(self, channel: Channel, what: str) -> Signal:
        """A reading clear of the shown limit was not beyond it; one at the limit says nothing."""
        point = self.reading_point(channel.tag)
        over = what == "over_range"
        if point is None or (over and channel.over_range_latches):
            return ALWAYS_UNKNOWN
        limit = channel.shown_limits[1 if over else 0]
        clear_of = threshold(limit, self.doubt(channel, point), rising=over)

        def beyond(number: float) -> Truth:
            return FALSE if clear_of(number) is FALSE else UNKNOWN

        return blurred(self.reading_signal(channel.tag, beyond), self.unsound(channel.tag))

    def actions(self, kind: type[A]) -> list[tuple[Window, A]]:
        """Everything of a kind that was done, each with the interval in which it was."""
        return [
            (Window(one.begun_s, one.done_s), one.action)
            for one in self.applied
            if isinstance(one.action, kind)
        ]

    @cached_property
    def facts_made(self) -> frozenset[str]:
        """Faults, inhibits, contacts, tests and forced outputs that somebody made or ended."""
        found = set()
        for one in self.applied:
            match one.action:
                case FaultMade(tag):
                    found.add(f"{tag}.fault")
                case InhibitSet(tag):
                    found.add(f"{tag}.inhibit")
                case InputMade(tag):
                    found.add(f"{tag}.active")
                case InTestSet(tag):
                    found.add(f"{tag}.test")
                case Calibrated(tag):
                    found.add(f"{tag}.calibration")
                case OutputForced(tag):
                    found |= {f"{tag}.{FORCED}", f"panel.{IN_TEST}"}
        return frozenset(found)

    def made(self, fact: str) -> Signal:
        """A fault, inhibit or contact as it was made: not yet what the panel says of it.

        Unknown with the power off: all delays begin anew when it returns.
        """
        subject, _, what = fact.partition(".")
        if fact == "panel.fault":
            own = [(when, a.on) for when, a in self.actions(PanelFaultMade)]
            return blurred(blurred(_switched(own), self.powered_off), self.upset)
        if what == "fault" and subject in self.site.channel_of:
            faults = [one for one in self.actions(FaultMade) if one[1].channel == subject]
            kinds = [
                _switched([(when, a.on) for when, a in faults if a.drop_out is drop_out])
                for drop_out in (False, True)
            ]
            return blurred(blurred(any_of(kinds), self.powered_off), self.upset)
        if what == "inhibit" and subject in self.site.channel_of:
            set_ = self.actions(InhibitSet)
            inhibits = [(when, a.on) for when, a in set_ if a.channel == subject]
            return blurred(_switched(inhibits), self.powered_off)
        if what == "active" and subject in self.site.input_of:
            moved = [(when, a.on) for when, a in self.actions(InputMade) if a.tag == subject]
            return blurred(_switched(moved), self.powered_off)
        return self._mode_made(subject, what)

    def _mode_made(self, subject: str, what: str) -> Signal:
        """What somebody did at the panel and has to end: the power ends it, too."""
        if what == IN_TEST and subject == "panel":
            return any_of([self.made(f"{tag}.{FORCED}") for tag in self.site.output_of])
        if what == "calibration" and subject in self.site.channel_of:
            done = self.actions(Calibrated)
            begun = [(when, a.for_s) for when, a in done if a.channel == subject]
            return calibrating(begun, self.site.timing.scan_s, self.powering)
        if what == "test" and subject in self.site.channel_of:
            tests = [(when, a.on) for when, a in self.actions(InTestSet) if a.channel == subject]
            return on_until_ended(tests, self.powering)
        if what == FORCED and subject in self.site.output_of:
            held = self.actions(OutputForced)
            mine = [(when, a.on is not None) for when, a in held if a.output == subject]
            return on_until_ended(mine, self.powering)
        return ALWAYS_UNKNOWN

    @cached_property
    def powered_off(self) -> Signal:
        """Where the power was off, as far as it was switched here."""
        switched = [(when, not action.on) for when, action in self.actions(PowerSet)]
        return _switched(switched)

    @cached_property
    def powering(self) -> Powering:
        """What is known of the power, for what ends with it."""
        cut = tuple(when for when, action in self.actions(PowerSet) if not action.on)
        return Powering(self.powered_off, cut, tuple(self.broken))

    @cached_property
    def upset(self) -> Signal:
        """From where on the panel may have faults that nobody here made, for reasons not judged."""
        begun = [(when.low, TRUE) for when, _ in self.actions(PanelUpset)]
        return from_changes(FALSE, begun[:1])

    @property
    def _may_begin_anew(self) -> list[Window]:
        back_s = self.site.timing.key_response_s
        if self.site.panel_life is not None:
            back_s += self.site.panel_life.restart_s
        return [
            Window(when.low, when.high + back_s)
            for when, action in self.actions(PanelUpset)
            if action.may_restart
        ]

    @cached_property
    def _warm_up_made(self) -> Signal:
        timing = self.site.timing
        changes: list[tuple[float, Truth]] = []
        warm_up_s = self.site.alarms_count_after_s
        if warm_up_s:
            # It was waited out before the run began, but its end may not show yet.
            changes.append((self.span.low + timing.flag_response_s, FALSE))
        later_s = warm_up_s + timing.flag_response_s
        begun = [(when, action.on) for when, action in self.actions(PowerSet)]
        begun = sorted([*begun, *((window, True) for window in self._may_begin_anew)])
        for at, (window, on) in enumerate(begun):
            changes.append((window.low, UNKNOWN))
            over_s = window.high + later_s
            if on and all(over_s < other.low for other, _ in begun[at + 1 :]):
                changes.append((over_s, FALSE))
        return from_changes(UNKNOWN if warm_up_s else FALSE, changes)

    def unsound(self, tag: str) -> Signal:
        """Where a channel's reading may not be that of its gas: in fault, or on the way to it."""
        fact = f"{tag}.fault"
        return any_of([self.flag(fact), kept_for(self.made(fact), self.prompt)])

    def inhibited(self, tag: str) -> Signal:
        """Whether a channel is inhibited."""
        return self.flag(f"{tag}.inhibit")

    def silent(self, tag: str) -> Signal:
        """Whether a channel drives nothing: inhibited, in test or in calibration."""
        if tag not in self._silent:
            self._silent[tag] = any_of([self.flag(f"{tag}.{what}") for what in ALWAYS_COUNT])
        return self._silent[tag]

    def keys(self, key: Key) -> list[Window]:
        """When a key was pressed: somewhere in each window it does what it does."""
        later = self.site.timing.key_response_s
        return [
            Window(when.low, when.high + later)
            for when, action in self.actions(KeyPressed)
            if action.key == key
        ]

    @cached_property
    def broken(self) -> list[Window]:
        """Stretches in which the panel may have lost its memory: power off, or long silence."""
        found = []
        off_from: float | None = None
        for when, action in self.actions(PowerSet):
            if not action.on:
                off_from = when.low
            elif off_from is not None:
                found.append(Window(off_from, when.high + self.site.timing.key_response_s))
                off_from = None
        if off_from is not None:
            found.append(Window(off_from, inf))
        return sorted(found + self._may_begin_anew + self._silences())

    def _silences(self) -> list[Window]:
        longest = max(LONGEST_BLINK_S, 3 * self.site.timing.shortest_dwell_s)
        seen = sorted(
            (run.first.asked_s, run.last.answered_s)
            for runs in self._quietest_runs()
            for run in runs
        )
        found = []
        until = inf
        for begun, ended in seen:
            if begun - until > longest:
                found.append(Window(until, begun))
            until = ended if until == inf else max(until, ended)
        return found

    def _quietest_runs(self) -> list[Sequence[Run]]:
        """Of points that are read together one suffices to see silences: the one of fewest runs."""
        quietest: dict[object, Sequence[Run]] = {}
        for history in self.histories.values():
            if not history.runs:
                continue
            together = history.runs[0].first
            best = quietest.get(together)
            if best is None or len(history.runs) < len(best):
                quietest[together] = history.runs
        return list(quietest.values())

    def reading_point(self, tag: str) -> Point | None:
        """The finest point that shows a channel's reading and was seen."""
        for point in reading_points(self.site, tag):
            if self.runs(point):
                return point
        return None

    def doubt(self, channel: Channel, point: Point) -> float:
        """How far, in the channel's unit, a shown reading may stand from one a scan away.

        Noise may have gone either way at either time; then half a step of the register, and what
        a float32 leaves out (4 units in the last place).
        """
        largest = max(abs(limit) for limit in channel.shown_limits)
        return 2 * channel.noise + 2 * resolution(point) + 4 * largest * 2**-23

    def series(self, point: Point) -> Series:
        """The numbers that a point showed, decoded once."""
        if point.name not in self._series:
            self._series[point.name] = series_of(self.runs(point), self.eyesight)
        return self._series[point.name]

    def reading_signal(self, tag: str, beyond: Callable[[float], Truth]) -> Signal:
        """Where a condition on a channel's reading is known to hold, or not to.

        A number at an end of the register's type may stand for any reading past it.
        """
        point = self.reading_point(tag)
        if point is None:
            return ALWAYS_UNKNOWN
        grain = resolution(point)
        low, high = within_type(point, -inf) + grain, within_type(point, inf) - grain

        if low == -inf and high == inf:
            return signal_of(self.series(point).stretches(beyond, self.eyesight.dwell_s))

        def said(number: float) -> Truth:
            here = beyond(number)
            if low < number < high:
                return here
            past = beyond(inf if number >= high else -inf)
            return here if here is past else UNKNOWN

        return signal_of(self.series(point).stretches(said, self.eyesight.dwell_s))


def _switched(switched: Sequence[tuple[Window, bool]]) -> Signal:
    if not switched:
        return ALWAYS_FALSE
    changes: list[tuple[float, Truth]] = []
    for when, on in switched:
        if when.high > when.low:
            changes.append((when.low, UNKNOWN))
        changes.append((when.high, TRUE if on else FALSE))
    return from_changes(FALSE if switched[0][1] else UNKNOWN, changes)


def counted(view: PanelView, fact: str) -> Signal:
    """A channel's fact as a cause: as shown, false while the channel drives nothing."""
    tag = fact.partition(".")[0]
    return all_of([view.flag(fact), negation(view.silent(tag))])


def panel_fault(view: PanelView) -> Signal:
    """The panel's own fault or any channel's. Its own shows in nothing but the common flag."""
    channels = [counted(view, f"{channel.tag}.fault") for channel in view.site.channels]
    own = view.signal("panel.fault") if view.shown("panel.fault") else ALWAYS_UNKNOWN
    return any_of([own, *channels])
