"""Bars of a traced panel: when a fact was on, and for how long."""

from itertools import pairwise
from typing import Final

from gaswitness.chart import Bar, State, Stretch
from gaswitness.wording import duration_words
from gaswitness_scenarios.panel_trace import PanelTrace

TENTHS_UP_TO_S: Final = 120.0


def ever(trace: PanelTrace, fact: str) -> bool:
    """Whether the fact was ever on; never, if the trace does not hold it."""
    return fact in trace.changed and any(on for _, on in trace.changes(fact))


def bar(trace: PanelTrace, fact: str, label: str, name: str = "") -> Bar:
    """A row of when the fact was on."""
    return bar_of(trace, trace.changes(fact), label, name)


def bar_of(
    trace: PanelTrace, changes: tuple[tuple[float, bool], ...], label: str, name: str = ""
) -> Bar:
    """A row of when something was on that began to be so, or not, at these instants."""
    ended_s = trace.until_s
    stretches = [
        Stretch(begun, ended, State.ON, lasted(trace, begun, ended))
        if on
        else Stretch(begun, ended, State.OFF)
        for (begun, on), (ended, _) in pairwise([*changes, (ended_s, False)])
    ]
    return Bar(label, tuple(stretches), name)


def lasted(trace: PanelTrace, begun: float, ended: float) -> str:
    """How long a stretch was, or how long at least, where the picture cuts it off."""
    long_s = ended - begun
    cut = begun <= trace.from_s or ended >= trace.until_s
    said = f"{long_s:.1f} s" if long_s < TENTHS_UP_TO_S else duration_words(long_s)
    return f">{said}" if cut else said
