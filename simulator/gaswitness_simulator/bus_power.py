"""Voltages on a two-wire bus that is a tree, and what drops out when they are too low.

Pure sums in volt, ampere, ohm and watt; who draws what, and when, is told from outside. The panel
is the root and no node itself.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

PANEL_NODE: Final = -1
"""The feeder of a node that the panel feeds by itself."""

_CLOSE: Final = 1e-12
"""Newton's step, as a part of the supply, below which a voltage counts as found."""
_MOST_STEPS: Final = 200
_MOST_SWEEPS: Final = 2000

Volts = tuple[float, ...]
"""The voltage at each node of the tree, in its order."""


@dataclass(frozen=True, slots=True)
class Node:
    """`feeder`: index of the node before it, or PANEL_NODE. `loop_ohm`: both wires from there."""

    name: str
    feeder: int
    loop_ohm: float


@dataclass(frozen=True, slots=True)
class Load:
    """A constant current and a constant power, at one node together."""

    current_a: float = 0.0
    power_w: float = 0.0


@dataclass(frozen=True, slots=True)
class Consumer:
    """A thing at a node that falls out below `least_v`, and takes what it `carries` with it."""

    name: str
    node: int
    load: Load
    least_v: float
    carries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DropOut:
    """A consumer that fell out at `volts`, and what went with it.

    `volts` is None where the bus had no working point: its voltage was collapsing.
    """

    name: str
    volts: float | None
    least_v: float
    took: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settled:
    """How the bus comes to rest. `as_wired`: with everything on; None where that cannot be.

    `volts`, `feed_a`: with `drop_outs`, in the order in which they came, gone.
    """

    as_wired: Volts | None
    as_wired_a: float | None
    drop_outs: tuple[DropOut, ...]
    volts: Volts
    feed_a: float
    on: tuple[Consumer, ...]


def working_point(tree: Sequence[Node], loads: Sequence[Load], supply_v: float) -> Volts | None:
    """The voltage at every node, or None where no voltage above zero can carry these loads.

    `tree`: each node after its feeder. `loads`: one for each node. Of two solutions, this is the
    upper one, on which a bus rests that was switched on at its full voltage.

    Newton's method from above: with each load a line through its present voltage, the tree is
    solved exactly. The residual is convex and the Jacobian an M-matrix down to the upper solution,
    so steps come down to it and never pass it; where a pivot or a voltage goes to zero on the way,
    there is none.
    """
    volts = (supply_v,) * len(tree)
    for _ in range(_MOST_STEPS):
        stepped = _newton_step(tree, loads, volts, supply_v)
        if stepped is None:
            return None
        step = max((abs(a - b) for a, b in zip(volts, stepped, strict=True)), default=0.0)
        volts = stepped
        if step <= _CLOSE * supply_v:
            break
    return volts


def _newton_step(
    tree: Sequence[Node], loads: Sequence[Load], at: Volts, supply_v: float
) -> Volts | None:
    """Each subtree draws `fixed + slope * V` at its node; folded from the ends to the panel."""
    fixed = [one.current_a + 2.0 * one.power_w / v for one, v in zip(loads, at, strict=True)]
    slope = [-one.power_w / (v * v) for one, v in zip(loads, at, strict=True)]
    pivots = [1.0] * len(tree)
    for index in range(len(tree) - 1, -1, -1):
        node = tree[index]
        pivots[index] = pivot = 1.0 + node.loop_ohm * slope[index]
        if pivot <= 0.0:
            return None
        if node.feeder != PANEL_NODE:
            fixed[node.feeder] += fixed[index] / pivot
            slope[node.feeder] += slope[index] / pivot
    volts: list[float] = []
    for index, node in enumerate(tree):
        before = supply_v if node.feeder == PANEL_NODE else volts[node.feeder]
        found = (before - node.loop_ohm * fixed[index]) / pivots[index]
        if found <= 0.0:
            return None
        volts.append(found)
    return tuple(volts)


def segment_currents(
    tree: Sequence[Node], loads: Sequence[Load], volts: Volts
) -> tuple[float, ...]:
    """The current in the cable that feeds each node, in ampere."""
    return _gathered(
        tree, [one.current_a + one.power_w / v for one, v in zip(loads, volts, strict=True)]
    )


def feed_current(tree: Sequence[Node], loads: Sequence[Load], volts: Volts) -> float:
    """What the panel gives to the bus, in ampere."""
    pairs = zip(tree, segment_currents(tree, loads, volts), strict=True)
    return sum(current for node, current in pairs if node.feeder == PANEL_NODE)


def loads_of(tree: Sequence[Node], consumers: Iterable[Consumer]) -> tuple[Load, ...]:
    """The consumers' loads, added up node by node."""
    loads = [Load()] * len(tree)
    for one in consumers:
        there = loads[one.node]
        loads[one.node] = replace(
            there,
            current_a=there.current_a + one.load.current_a,
            power_w=there.power_w + one.load.power_w,
        )
    return tuple(loads)


def settle(tree: Sequence[Node], consumers: Sequence[Consumer], supply_v: float) -> Settled:
    """Let consumers fall out, one after the other, until every one left has its voltage.

    The one that is furthest below its least voltage goes first; of several, the last in the tree's
    order. What has fallen out stays out here; a real device may come back when the voltage does,
    and fall again.
    """
    on = tuple(consumers)
    drop_outs: list[DropOut] = []
    as_wired: Volts | None = None
    as_wired_a: float | None = None
    while True:
        loads = loads_of(tree, on)
        volts = working_point(tree, loads, supply_v)
        if volts is not None and not drop_outs:
            as_wired, as_wired_a = volts, feed_current(tree, loads, volts)
        shown = _collapsing(tree, on, supply_v) if volts is None else volts
        lowest = min(on, key=lambda one: (shown[one.node] - one.least_v, -one.node), default=None)
        if volts is not None and (lowest is None or volts[lowest.node] >= lowest.least_v):
            feed_a = feed_current(tree, loads, volts)
            return Settled(as_wired, as_wired_a, tuple(drop_outs), volts, feed_a, on)
        if lowest is None:
            raise AssertionError("a bus without loads has a working point")
        gone = {lowest.name, *lowest.carries}
        took = tuple(one.name for one in on if one.name in lowest.carries)
        fell_at = None if volts is None else volts[lowest.node]
        drop_outs.append(DropOut(lowest.name, fell_at, lowest.least_v, took))
        on = tuple(one for one in on if one.name not in gone)


def _collapsing(tree: Sequence[Node], consumers: Sequence[Consumer], supply_v: float) -> Volts:
    """Voltages, below zero too, if no consumer took more than it does at its least voltage.

    Tells which goes first where there is no working point: currents then have a bound, and sweeps
    from above come down to a solution.
    """
    volts = [supply_v] * len(tree)
    for _ in range(_MOST_SWEEPS):
        drawn = [0.0] * len(tree)
        for one in consumers:
            least_v = max(volts[one.node], one.least_v)
            drawn[one.node] += one.load.current_a + one.load.power_w / least_v
        currents = _gathered(tree, drawn)
        moved = 0.0
        for index, node in enumerate(tree):
            before = supply_v if node.feeder == PANEL_NODE else volts[node.feeder]
            found = before - node.loop_ohm * currents[index]
            moved = max(moved, abs(found - volts[index]))
            volts[index] = found
        if moved <= _CLOSE * supply_v:
            break
    return tuple(volts)


def _gathered(tree: Sequence[Node], drawn: Sequence[float]) -> tuple[float, ...]:
    """What each node and all behind it draw together."""
    currents = list(drawn)
    for index in range(len(tree) - 1, -1, -1):
        feeder = tree[index].feeder
        if feeder != PANEL_NODE:
            currents[feeder] += currents[index]
    return tuple(currents)
