"""When a run looked at the panel while it stood still, and what was then required of its points.

From these looks follows which defects of the map a run can have shown: each says what the panel
held, and of which points a wrong value would have been failed.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Final

from gaswitness_probe.expect import Expectations
from gaswitness_probe.facts import reading_points, resolution, within_type
from gaswitness_probe.history import Run
from gaswitness_probe.judge_flags import expected_flags, settled_gas
from gaswitness_probe.judge_states import allowed_states, applying_states, state_points
from gaswitness_probe.map_defect import Ground, Held
from gaswitness_probe.poll_record import Runs
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Signal, Truth, Window
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.points import NUMERIC, Point, Table

SAMPLES: Final = 4
"""So many instants of each look are compared; a defect has to be wrong at all of them."""


@dataclass(frozen=True, slots=True)
class Look:
    """The panel at rest in some state. `held`: what it held at some instants. `facts`: what had to
    show; `states`: those that each state's point might show. `surveyed`: whether the map was
    checked point by point in this state.
    """

    held: tuple[Held, ...]
    facts: Mapping[str, Truth]
    states: Mapping[str, frozenset[str]]
    surveyed: bool = False


@dataclass(frozen=True, slots=True)
class Settled:
    """A reading that had to show `level` within `margin`; None: what `on_fault` asks for."""

    held: tuple[Held, ...]
    point: Point
    level: float | None
    margin: float


class Looks:
    """All looks of a run. `still`: the first as the survey found the panel; `settled`: by the
    names of the readings' points."""

    def __init__(self, expectations: Expectations) -> None:
        view = expectations.view
        memory = _Memory(view)
        self.still = list(_looks(expectations, memory))
        self.settled: dict[str, list[Settled]] = defaultdict(list)
        for channel in view.site.channels:
            points = [one for one in reading_points(view.site, channel.tag) if view.runs(one)]
            for point in points:
                self.settled[point.name] += _settled(view, memory, channel, point)
                self.settled[point.name] += _in_fault(view, memory, channel, point)


def _looks(expectations: Expectations, memory: "_Memory") -> Iterator[Look]:
    view = expectations.view
    required = _required(expectations)
    seen: set[object] = set()
    for number, still in enumerate(_still(view)):
        held = memory.at_some(still.low, still.high)
        facts = _known(required, still)
        key = (memory.bits(held[-1]), frozenset(facts.items()))
        if not number or key not in seen:
            seen.add(key)
            yield Look(held, facts, dict(_states(view, still)), surveyed=not number)


# --- what the panel held ------------------------------------------------------------------------


class _Memory:
    def __init__(self, view: PanelView) -> None:
        self.points = [point for point in view.site.points if view.runs(point)]
        self.runs = {point.name: view.runs(point) for point in self.points}
        self.begun: dict[str, list[float]] = {}
        at: dict[tuple[Table, int], list[Point]] = defaultdict(list)
        for point in view.site.points:
            for address in range(point.address, point.end):
                at[point.table, address].append(point)
        ends = {}
        for table in dict.fromkeys(point.table for point in view.site.points):
            there = [point for point in view.site.points if point.table is table]
            ends[table] = (min(p.address for p in there), max(p.end for p in there))
        faults = {tag: view.signal(f"{tag}.fault") for tag in view.site.channel_of}
        self.ground = Ground(view.site, dict(at), ends, faults)

    def at(self, instant_s: float) -> Held:
        return Held(self.ground, instant_s, partial(self._look_up, instant_s))

    def at_some(self, low: float, high: float) -> tuple[Held, ...]:
        step_s = (high - low) / (SAMPLES + 1)
        return tuple(self.at(low + number * step_s) for number in range(1, SAMPLES + 1))

    def bits(self, held: Held) -> tuple[tuple[int, ...] | None, ...]:
        return tuple(held.raw(point) for point in self.points if point.type not in NUMERIC)

    def _look_up(self, instant_s: float, name: str) -> tuple[float, tuple[int, ...]] | None:
        runs = self.runs.get(name)
        if runs is None:
            return None
        begun = self._begun(name, runs)
        index = max(bisect_right(begun, instant_s) - 1, 0)
        return begun[index], runs[index].raw

    def _begun(self, name: str, runs: Sequence[Run]) -> list[float]:
        if name not in self.begun:
            if isinstance(runs, Runs):
                self.begun[name] = [row[0] for row in runs.rows()]
            else:
                self.begun[name] = [run.first.asked_s for run in runs]
        return self.begun[name]


def _still(view: PanelView) -> Iterator[Window]:
    """Where nothing but numbers moved, for long enough that a wrong value would be one."""
    least_s = view.site.timing.flag_response_s + 3 * view.site.pace.poll_period_s
    moves: list[tuple[float, float]] = []
    for point in view.site.points:
        if point.type in NUMERIC:
            continue
        runs = view.runs(point)
        for before, after in pairwise(runs):
            moves.append((before.last.asked_s - view.eyesight.refresh_s, after.first.answered_s))
    since = view.span.low
    for low, high in [*sorted(moves), (view.span.high, view.span.high)]:
        if low - since >= least_s:
            yield Window(since, low)
        since = max(since, high)


# --- what was required --------------------------------------------------------------------------


def _required(expectations: Expectations) -> dict[str, Signal]:
    required = dict(expected_flags(expectations))
    required |= {fact: level.expected for fact, level in expectations.levels.items()}
    required |= {output.fact: output.expected for output in expectations.outputs.values()}
    return required


def _known(required: Mapping[str, Signal], still: Window) -> dict[str, Truth]:
    """The facts that had to stand one way for a good part of the time."""
    found: dict[str, Truth] = {}
    for fact, signal in required.items():
        known = [part for part in signal.within(*still) if part.value is not UNKNOWN]
        if known:
            longest = max(known, key=lambda part: part.end - part.start)
            if longest.end - longest.start >= (still.high - still.low) / 3:
                found[fact] = longest.value
    return found


def _states(view: PanelView, still: Window) -> Iterator[tuple[str, frozenset[str]]]:
    for point in state_points(view):
        yield point.name, allowed_states(applying_states(view, point), still)


def _settled(view: PanelView, memory: _Memory, channel: Channel, point: Point) -> Iterator[Settled]:
    unsound = view.unsound(channel.tag)
    low, high = channel.shown_limits
    margin = channel.noise + 1e-6 * max(abs(low), abs(high)) + channel.reading_tolerance
    for plateau in settled_gas(view, channel):
        sound = [p for p in unsound.within(plateau.low, plateau.high) if p.value is FALSE]
        if sound:
            longest = max(sound, key=lambda part: part.end - part.start)
            level = within_type(point, min(max(plateau.level, low), high))
            held = memory.at_some(longest.start, longest.end)
            yield Settled(held, point, level, margin + 2 * resolution(point))


def _in_fault(
    view: PanelView, memory: _Memory, channel: Channel, point: Point
) -> Iterator[Settled]:
    lag_s = view.site.timing.flag_response_s
    for part in view.flag(f"{channel.tag}.fault").segments():
        if part.value is TRUE and part.start + lag_s < part.end:
            held = memory.at_some(part.start + lag_s, min(part.end, view.span.high))
            yield Settled(held, point, None, 2 * view.doubt(channel, point))
