"""Verdicts on the states of channels: each against the flags that it has to go by.

Of the states that apply the panel shows the first by rank. Another one, or a code that the points
list does not have, is failed once it lasts longer than one point may lag behind another.
"""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from gaswitness_probe.facts import RANKS
from gaswitness_probe.history import Run
from gaswitness_probe.respond import seconds
from gaswitness_probe.signal import ALWAYS_UNKNOWN, FALSE, TRUE, Signal, Window
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.points import Point, PointType


def judge_states(view: PanelView) -> Iterator[Verdict]:
    """A verdict for every state that is shown wrongly; of one that is right nothing is said."""
    for point in state_points(view):
        applying = applying_states(view, point)
        for run in view.runs(point):
            at_s = _wrong_from(view, run, applying)
            if at_s is not None:
                yield _verdict(point, run, applying, at_s)
                break


def state_points(view: PanelView) -> list[Point]:
    """The points that show a channel's state, and were seen."""
    return [
        point
        for point in view.site.points
        if point.type is PointType.ENUMERATION
        and point.what == "state"
        and point.subject in view.site.channel_of
        and view.runs(point)
    ]


def applying_states(view: PanelView, point: Point) -> Mapping[str, Signal]:
    """When each state that the point names applies, by other points, the first by rank first."""
    named = sorted(set(point.codes.values()), key=lambda state: RANKS.get(state, -1))
    return {state: _applies(view, point, state) for state in named if state != "normal"}


def _applies(view: PanelView, point: Point, state: str) -> Signal:
    fact = "panel.warm_up" if state == "warm_up" else f"{point.subject}.{state}"
    source = view.source(fact)
    if state not in RANKS or source is None or source.point is point:
        return ALWAYS_UNKNOWN
    return view.signal(fact)


def allowed_states(applying: Mapping[str, Signal], within: Window) -> frozenset[str]:
    """The states that the point may show all through the window, as far as the flags tell."""
    found: list[str] = []
    for state, applies in applying.items():
        if applies.throughout(FALSE, *within):
            continue
        found.append(state)
        if applies.throughout(TRUE, *within):
            return frozenset(found)
    return frozenset([*found, "normal"])


def _wrong_from(view: PanelView, run: Run, applying: Mapping[str, Signal]) -> float | None:
    low, high = run.first.answered_s, run.last.asked_s - view.eyesight.refresh_s
    lasting_s = view.site.timing.flag_response_s
    if high - low <= lasting_s:
        return None
    edges = {t for signal in applying.values() for t in signal.times if low < t < high}
    moments = sorted({low, high, *edges})
    since: float | None = None
    for start, end in pairwise(moments):
        here = Window((start + end) / 2, (start + end) / 2)
        if run.value in allowed_states(applying, here):
            since = None
        elif since is None:
            since = start
        if since is not None and end - since > lasting_s:
            return since
    return None


def _verdict(point: Point, run: Run, applying: Mapping[str, Signal], at_s: float) -> Verdict:
    shows = f"the code {run.raw[0]}, which it does not have" if run.value is None else run.value
    allowed = allowed_states(applying, Window(at_s, at_s))
    must = " or ".join(state for state in (*applying, "normal") if state in allowed)
    expected = f"{point.name} shows {must} at {seconds(at_s)}"
    seen = f"{point.name} shows {shows} at {seconds(at_s)}"
    because = f"{point.name} showed {shows} while the flags of {point.subject} say {must}"
    aspect = Aspect("state", Outcome.FAILED, expected, seen, because=because, at_s=at_s)
    return Verdict(
        f"point/{point.name}",
        Kind.POINT,
        Outcome.FAILED,
        expected,
        seen,
        because=because,
        aspects=(aspect,),
    )
