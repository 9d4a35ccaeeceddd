"""A script played onto a virtual panel in virtual time, and all that was then to be seen at it.

Nothing is on a wire here and nobody judges. How it is drawn is the console's affair.
"""

import heapq
import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from gaswitness_scenarios.gas_profile import Recorded
from gaswitness_scenarios.script import Gas, Look, PlannedTest, Say, Script, Step
from gaswitness_scenarios.trace_readers import (
    average_reader,
    averages_of_site,
    devices_of_site,
    fact_reader,
    facts_of_site,
    volts_reader,
)
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.event_log import Event
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.site import Site

MOST_GRID: Final = 50_000
"""The grid never has more instants than this, however long the run."""


@dataclass(frozen=True, slots=True)
class Happening:
    """Something done to the panel, or said: `at_s` of the run, words for people, and the channel
    that it was done to, if to one."""

    at_s: float
    text: str
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Sample:
    """What the panel showed at an instant, and the gas at its detectors, in the channels' order.

    A reading is NaN where no number was shown. `averages`: of exposure, in their own order.
    `volts`: at the devices of the bus, if all that is switched on stayed on. Where something is
    done at once there are two samples at one instant: before it and after.
    """

    at_s: float
    readings: tuple[float, ...]
    gases: tuple[float, ...]
    facts: tuple[bool, ...]
    averages: tuple[float, ...] = ()
    volts: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class PanelTrace:
    """A panel over a stretch of its time. `facts`, `channels` and `averages` (such as AT-1.TWA)
    name what the samples hold.

    Samples stand at the first instant and the last, at every instant at which something is done or
    a fact changes, and between these so close that a detector's lag shows. `events`: all that the
    panel's log would say since its power-up.
    """

    site: Site
    script: Script
    seed: int
    from_s: float
    until_s: float
    channels: tuple[str, ...]
    facts: tuple[str, ...]
    samples: tuple[Sample, ...]
    setpoints: tuple[tuple[float, str, str, float], ...]
    happenings: tuple[Happening, ...]
    changed: Mapping[str, tuple[tuple[float, bool], ...]] = field(repr=False)
    averages: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()
    devices: tuple[str, ...] = ()

    def changes(self, fact: str) -> tuple[tuple[float, bool], ...]:
        """When the fact began to be what: at the first instant, then at each change."""
        return self.changed[fact]

    def stretches(self, fact: str) -> Iterator[tuple[float, float]]:
        """(from, until), in seconds of the run, of each time that the fact was true."""
        changes = (*self.changes(fact), (self.until_s, False))
        yield from ((begun, ended) for (begun, on), (ended, _) in pairwise(changes) if on)


def trace_panel(
    site: Site,
    script: Script,
    *,
    seed: int = 0,
    from_s: float = 0.0,
    until_s: float | None = None,
    columns: int = 1000,
) -> PanelTrace:
    """Play the script from the panel's power-up on, and look at it from `from_s` to `until_s`.

    `until_s` left out is the script's end. `columns`: at least so many samples, where the panel
    scans so often. Raises ValueError where the end is not after the beginning.
    """
    until_s = script.length_s if until_s is None else until_s
    if not 0 <= from_s < until_s:
        raise ValueError(f"nothing lies between {from_s:g} s and {until_s:g} s")
    watcher = _Watcher(site, seed, from_s, until_s, columns)
    for step in script.steps:
        if step.at_s > until_s:
            break
        watcher.run_to(step.at_s)
        watcher.do(step)
    watcher.run_to(until_s)
    return PanelTrace(
        site,
        script,
        seed,
        from_s,
        until_s,
        tuple(channel.tag for channel in site.channels),
        watcher.names,
        tuple(watcher.samples),
        tuple(watcher.setpoints),
        tuple(watcher.happenings),
        _changes(watcher.names, watcher.samples),
        averages_of_site(site),
        tuple(watcher.events),
        devices_of_site(site),
    )


def _changes(
    names: tuple[str, ...], samples: Sequence[Sample]
) -> dict[str, tuple[tuple[float, bool], ...]]:
    found = {n: [(samples[0].at_s, on)] for n, on in zip(names, samples[0].facts, strict=True)}
    for before, after in pairwise(samples):
        if before.facts != after.facts:
            for name, was, on in zip(names, before.facts, after.facts, strict=True):
                if was != on:
                    found[name].append((after.at_s, on))
    return {name: tuple(changes) for name, changes in found.items()}


@dataclass(slots=True)
class _Watcher:
    """A panel that is looked at whenever something may have changed."""

    site: Site
    seed: int
    from_s: float
    until_s: float
    columns: int
    panel: VirtualPanel = field(init=False)
    names: tuple[str, ...] = field(init=False)
    readers: tuple[Callable[[], bool], ...] = field(init=False)
    averages: tuple[Callable[[], float], ...] = field(init=False)
    volts: tuple[Callable[[], float], ...] = field(init=False)
    grid_s: float = field(init=False)
    next_grid_s: float = field(init=False)
    corners: list[float] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)
    setpoints: list[tuple[float, str, str, float]] = field(default_factory=list)
    in_force: dict[tuple[str, str], float] = field(default_factory=dict)
    happenings: list[Happening] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        panel = self.panel = VirtualPanel(self.site, seed=self.seed, on_event=self.events.append)
        panel.watch_ranges()
        self.names = facts_of_site(self.site)
        self.readers = tuple(fact_reader(panel, name) for name in self.names)
        self.averages = tuple(average_reader(panel, n) for n in averages_of_site(self.site))
        self.volts = tuple(volts_reader(panel, tag) for tag in devices_of_site(self.site))
        self.grid_s = self._grid_s()
        self.next_grid_s = self.from_s
        if self.from_s == 0.0:
            self._take()

    def _grid_s(self) -> float:
        """Half a detector's time constant, a column, or a scan; never too fine for a long run."""
        span_s = self.until_s - self.from_s
        lags_s = [one.t90_s / math.log(10) / 2 for one in self.site.channels if one.t90_s > 0]
        fine_s = min(span_s / self.columns, *lags_s)
        return max(self.site.timing.scan_s, span_s / MOST_GRID, fine_s)

    def run_to(self, to_s: float) -> None:
        """Let time pass, looking on the way; always at the end of it."""
        if self.panel.now_s < self.from_s:
            self.panel.advance(min(to_s, self.from_s))
            if to_s < self.from_s:
                return
            self._take()
        while (at_s := self._next_look_s()) < to_s:
            self.panel.advance(at_s)
            due = at_s >= self.next_grid_s or (self.corners and at_s >= self.corners[0])
            if due or self._facts() != self.samples[-1].facts:
                self._take()
        self.panel.advance(to_s)
        self._take()

    def _next_look_s(self) -> float:
        """The next scan that may change a fact, or the first at which a sample is due."""
        scanning = self.panel.state.scanning
        now_s = self.panel.now_s
        due_s = min([self.next_grid_s, *self.corners[:1]])
        scan = max(scanning.last(now_s) + 1, scanning.when_due(due_s))
        at_s = scanning.at_s(scan)
        at_s = at_s if at_s > now_s else scanning.at_s(scan + 1)
        return min(at_s, max(self.panel.next_scan_s(), math.nextafter(now_s, math.inf)))

    def _facts(self) -> tuple[bool, ...]:
        return tuple(bool(reader()) for reader in self.readers)

    def _take(self) -> None:
        panel, at_s = self.panel, self.panel.now_s
        tags = [channel.tag for channel in self.site.channels]
        readings = tuple(panel.reading(tag) for tag in tags)
        gases = tuple(panel.gas(tag) for tag in tags)
        averages = tuple(average() for average in self.averages)
        volts = tuple(volt() for volt in self.volts)
        sample = Sample(at_s, readings, gases, self._facts(), averages, volts)
        if not self.samples or not _alike(self.samples[-1], sample):
            self.samples.append(sample)
        self.next_grid_s = at_s + self.grid_s
        while self.corners and self.corners[0] <= at_s:
            heapq.heappop(self.corners)
        self._note_setpoints(at_s)

    def _note_setpoints(self, at_s: float) -> None:
        """Only what moved is kept: most setpoints never do."""
        for channel in self.site.channels:
            for level in channel.levels:
                value = self.panel.setpoint(channel.tag, level)
                if self.in_force.get((channel.tag, level)) != value:
                    self.in_force[channel.tag, level] = value
                    self.setpoints.append((at_s, channel.tag, level, value))

    def do(self, step: Step) -> None:
        """Do the step to the panel, and note it."""
        stimulus = stimulus_of(step)
        seen = step.at_s >= self.from_s
        if stimulus is not None:
            self.panel.apply(stimulus, step.at_s)
            if seen:
                self._take()
        if isinstance(step, Gas) and isinstance(step.profile, Recorded):
            self._mark_corners(step, step.profile)
        if seen and (words := self._words(step)):
            channel = getattr(step, "channel", "")
            self.happenings.append(Happening(step.at_s, words, channel))

    def _mark_corners(self, step: Gas, profile: Recorded) -> None:
        first = bisect_right(profile.times_s, self.from_s - step.at_s)
        for after_s in profile.times_s[first:]:
            heapq.heappush(self.corners, step.at_s + after_s)

    def _words(self, step: Step) -> str:
        if isinstance(step, Look):
            answer = "yes" if self.panel.fact(step.fact) else "no"
            return f"{step.question} {answer}"
        if isinstance(step, Say | PlannedTest):
            return step.words
        if stimulus_of(step) is None:
            return ""
        return f"{step.words}. {step.said}" if step.said else step.words


def _alike(one: Sample, other: Sample) -> bool:
    """Whether two samples at one instant say the same."""
    return (
        one.at_s == other.at_s
        and one.facts == other.facts
        and one.gases == other.gases
        and one.averages == other.averages
        and all(
            x == y or (x != x and y != y)  # noqa: PLR0124  # NaN is no number to itself
            for x, y in zip(one.readings, other.readings, strict=True)
        )
    )
