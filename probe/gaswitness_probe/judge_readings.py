"""Verdicts on readings: the gas applied against what each register shows once it has settled."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from math import inf, isnan

from gaswitness_probe.decode import decode
from gaswitness_probe.facts import reading_points, resolution, within_type
from gaswitness_probe.judge_flags import Plateau, applied_gas, settled_gas
from gaswitness_probe.observe import Stretch, clash
from gaswitness_probe.respond import seconds
from gaswitness_probe.series import Series
from gaswitness_probe.settling import SETTLING
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Signal, Window
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict, overall
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.channel import Channel, ReadingOnFault
from gaswitness_sitefile.points import Order, Point


def judge_readings(view: PanelView) -> Iterator[Verdict]:
    """A verdict for every channel's reading, and one for each further point that shows it."""
    for channel in view.site.channels:
        points = reading_points(view.site, channel.tag)
        of_point = {point.name: tuple(_aspects(view, channel, point)) for point in points}
        aspects = [aspect for found in of_point.values() for aspect in found]
        yield _channel_verdict(view, channel, points, aspects)
        for point in points:
            if of_point[point.name]:
                yield _point_verdict(point, of_point[point.name])
    yield from _consistency(view)


def _channel_verdict(
    view: PanelView, channel: Channel, points: Sequence[Point], aspects: Sequence[Aspect]
) -> Verdict:
    name = f"reading/{channel.tag}"
    expected = (
        f"settled readings within ± {channel.reading_tolerance:g} {channel.unit} of the gas applied"
    )
    if not points:
        why = f"no point shows the reading of {channel.tag}"
        return Verdict(name, Kind.READING, Outcome.INCONCLUSIVE, expected, because=why)
    if not aspects and view.reading_point(channel.tag) is None:
        why = f"{points[0].name} was never read"
        return Verdict(name, Kind.READING, Outcome.INCONCLUSIVE, expected, because=why)
    if not aspects:
        why = "no gas stood long enough for the reading to settle (3.5 times t90)"
        return Verdict(name, Kind.READING, Outcome.NOT_RUN, expected, because=why)
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = next(aspect for aspect in aspects if aspect.outcome is outcome)
    seen = telling.seen
    if outcome is Outcome.PROVEN:
        seen = "; ".join(dict.fromkeys(aspect.seen for aspect in aspects))
    return Verdict(
        name,
        Kind.READING,
        outcome,
        expected,
        seen,
        because=telling.because,
        aspects=tuple(aspects),
    )


def _point_verdict(point: Point, aspects: tuple[Aspect, ...]) -> Verdict:
    outcome = overall([aspect.outcome for aspect in aspects])
    telling = next(aspect for aspect in aspects if aspect.outcome is outcome)
    return Verdict(
        f"point/{point.name}",
        Kind.POINT,
        outcome,
        telling.expected,
        telling.seen,
        because=telling.because,
        aspects=aspects,
    )


def _aspects(view: PanelView, channel: Channel, point: Point) -> Iterator[Aspect]:
    yield from _plateaus(view, channel, point)
    yield from _moves(view, channel, point)
    yield from _in_fault(view, channel, point)


def _moves(view: PanelView, channel: Channel, point: Point) -> Iterator[Aspect]:
    """That the reading moves at all when gas comes or goes, where it has no time to settle.

    After t90 a detector has covered 90 % of its way: with its tolerance against it, still half of
    one that is 2.5 tolerances long. One that has covered less does not follow the gas; how far it
    came beyond that says nothing certain with gas from a cylinder.
    """
    series = view.series(point)
    unsound = view.unsound(channel.tag)
    timing = view.site.timing
    low, high = channel.shown_limits
    for begun, step, until in applied_gas(view, channel):
        was = series.begun_by(begun.low) - 1
        if was < 0:
            continue
        start = series.values[was]
        shown_s = 2 * timing.scan_s + timing.refresh_s + view.site.oldest_reading_s
        due = begun.high + step.over_s + _t90_s(channel, start, step.level) + shown_s
        if due > until or not unsound.throughout(FALSE, begun.low, due):
            continue
        shown = _sound(series, unsound, Window(due, until))
        if not shown:
            continue
        level = within_type(point, min(max(step.level, low), high))
        way = level - start
        if isnan(start) or abs(way) < 2.5 * channel.reading_tolerance:
            continue
        covered = max((series.values[index] - start) / way for index in shown)
        if covered < 0.5 - view.doubt(channel, point) / abs(way):
            yield Aspect(
                f"{point.name} follows",
                Outcome.FAILED,
                f"{point.name} moves from {start:.4g} towards {level:g} {channel.unit}",
                f"{series.values[shown[-1]]:.4g} {channel.unit}",
                because=f"{point.name} did not follow the gas: {level:g} {channel.unit} applied "
                f"at {seconds(begun.low)}, {series.values[shown[-1]]:.4g} shown "
                f"{seconds(due - begun.high)} later",
                at_s=due,
            )


def _t90_s(channel: Channel, start: float, level: float) -> float:
    """The T90 by which the detector goes; the longer one, where either may be meant."""
    clean = channel.clean_reading
    away = abs(level - clean) > abs(start - clean) + channel.reading_tolerance
    return channel.t90_s if away else channel.slowest_t90_s


_Settled = Sequence[tuple[float, tuple[int, ...]]]
"""What a register held, beside the reading that it had to show, each time that gas stood."""


def _plateaus(view: PanelView, channel: Channel, point: Point) -> Iterator[Aspect]:
    unsound = view.unsound(channel.tag)
    series = view.series(point)
    seen: list[tuple[Plateau, list[float], tuple[int, ...]]] = []
    for plateau in settled_gas(view, channel):
        shown = _sound(series, unsound, Window(plateau.low, plateau.high))
        if shown:
            values = [series.values[index] for index in shown if not isnan(series.values[index])]
            seen.append((plateau, values, view.runs(point)[shown[-1]].raw))
    all_raw = [(_showable(channel, point, plateau.level), raw) for plateau, _, raw in seen]
    for plateau, values, raw in seen:
        yield _compared(channel, point, plateau, values, raw, all_raw)


def _showable(channel: Channel, point: Point, level: float) -> float:
    low, high = channel.shown_limits
    return within_type(point, min(max(level, low), high))


def _sound(series: Series, unsound: Signal, when: Window) -> Sequence[int]:
    """The runs shown at some instant of the window, those that may show a fault left out."""
    within = series.within(when.low, when.high)
    found: list[int] = []
    for part in unsound.within(when.low, when.high):
        if part.value is not FALSE:
            continue
        whole_from = part.start <= when.low
        start = within.start if whole_from else bisect_left(series.low, part.start)
        stop = within.stop if part.end >= when.high else bisect_left(series.high, part.end)
        found += range(max(start, within.start), min(stop, within.stop))
    return found


def _in_fault(view: PanelView, channel: Channel, point: Point) -> Iterator[Aspect]:
    """What the reading shows while the channel says that it is in fault."""
    series = view.series(point)
    lag_s = view.site.timing.flag_response_s
    unsure_s = -inf
    for part in view.flag(f"{channel.tag}.fault").segments():
        if part.value is UNKNOWN:
            unsure_s = part.start
        low, high = part.start + lag_s, part.end
        if part.value is not TRUE or low >= high:
            continue
        shown = [series.values[index] for index in series.within(low, high)]
        begun_s = part.start - 2 * lag_s
        # From when the fault may have come on, the reading may already be what it shows in fault.
        last = series.begun_before(max(begun_s, unsure_s))
        before = series.values[bisect_left(series.high, begun_s) : last]
        known = _stood_still(view, channel, begun_s, part.start) and not all(map(isnan, before))
        if channel.on_fault is ReadingOnFault.HOLD and not known:
            continue  # what it showed last, before the fault, was not seen
        if shown:
            yield _fault_reading(view, channel, point, shown, list(before), low)


def _stood_still(view: PanelView, channel: Channel, low: float, high: float) -> bool:
    """Whether nothing that is known moved the reading from `low` to `high`."""
    moved = list(applied_gas(view, channel))
    if channel.room is not None and not moved:
        return False
    settled = any(gas.low <= low and high <= gas.high for gas in settled_gas(view, channel))
    return settled or all(high < when.low for when, _, _ in moved)


def _creep(view: PanelView, channel: Channel) -> float:
    """How far a settled reading may still be from where it goes, in the channel's unit.

    A share of 10 to the -SETTLING of the longest step that was made, or that the range allows.
    """
    reached = [channel.clean_reading, *channel.shown_limits]
    for _, gas, _ in applied_gas(view, channel):
        reached += [gas.level, gas.lowest, gas.highest]
    return float((max(reached) - min(reached)) * 10.0**-SETTLING)


def _fault_reading(
    view: PanelView,
    channel: Channel,
    point: Point,
    shown: list[float],
    before: list[float],
    at_s: float,
) -> Aspect:
    near = view.doubt(channel, point)
    rule = channel.on_fault
    if rule is ReadingOnFault.HOLD:
        near += _creep(view, channel)  # the last good reading may be a scan after the last sample
    if rule is ReadingOnFault.HOLD:
        good = [value for value in before if not isnan(value)]
        wrong = [v for v in shown if not any(abs(v - value) <= near for value in good)]
        wrong = wrong if good else []
        expected = "the last good reading"
    elif rule is ReadingOnFault.ZERO:
        wrong = [value for value in shown if not abs(value) <= near]
        expected = "0"
    else:
        wrong = [value for value in shown if not isnan(value)]
        expected = "no number" if rule is ReadingOnFault.NAN else f"its sentinel {point.sentinel}"
    stated = f"{point.name} shows {expected} while {channel.tag} is in fault"
    seen = f"{wrong[0]:.4g} {channel.unit}" if wrong else expected
    return Aspect(
        f"{point.name} in fault",
        Outcome.FAILED if wrong else Outcome.PROVEN,
        stated,
        seen,
        because=f"{point.name} showed {seen} while {channel.tag} was in fault"
        + (f"; it is to show {expected}" if wrong else ""),
        at_s=at_s,
    )


def _compared(
    channel: Channel,
    point: Point,
    plateau: Plateau,
    values: list[float],
    raw: tuple[int, ...],
    all_raw: _Settled,
) -> Aspect:
    low, high = channel.shown_limits
    level = _showable(channel, point, plateau.level)
    margin = channel.noise + resolution(point) + 1e-6 * max(abs(low), abs(high))
    tolerance = channel.reading_tolerance
    stated = f"{level:g} ± {tolerance:g} {channel.unit}"
    words = " ".join(f"{word:04X}" for word in raw)
    if not values:
        outcome, seen = Outcome.FAILED, f"no reading (raw {words})"
    else:
        worst = max(abs(value - level) for value in values)
        nearest = min(abs(value - level) for value in values)
        outcome = (
            Outcome.PROVEN
            if worst <= tolerance
            else Outcome.FAILED
            if nearest > tolerance + margin
            else Outcome.INCONCLUSIVE
        )
        shown = sum(values) / len(values)
        seen = f"{level:g} applied, {shown:.4g} {channel.unit} shown"
        if outcome is not Outcome.PROVEN:
            seen += f" (raw {words})"
    because = f"{point.name}: {seen}; expected {stated}"
    if outcome is Outcome.FAILED:
        because += _hint(point, all_raw, tolerance + margin)
    return Aspect(
        f"{point.name} at {level:g}", outcome, stated, seen, because=because, at_s=plateau.low
    )


def _hint(point: Point, settled: _Settled, tolerance: float) -> str:
    """Under which other order or scale all raw values would fit: a lead, never a proof."""
    for order in Order:
        other = point.model_copy(update={"order": order})
        if order is not point.order and _fits(other, settled, 1.0, tolerance):
            return f"; it would fit with byte order {order} instead of {point.order}"
    for power in (-3, -2, -1, 1, 2, 3):
        if any(level for level, _ in settled) and _fits(point, settled, 10.0**power, tolerance):
            return f"; it would fit with {10.0**power:g} times the scale"
    return ""


def _fits(point: Point, settled: _Settled, factor: float, tolerance: float) -> bool:
    values = [(level, decode(point, raw)) for level, raw in settled]
    return all(
        isinstance(value, float | int) and abs(value * factor - level) <= tolerance
        for level, value in values
    )


def _consistency(view: PanelView) -> Iterator[Verdict]:
    """Points that show a fact which another point shows too must agree with it."""
    lasting = view.site.timing.flag_response_s
    for fact, sources in view.sources.items():
        first = view.source(fact)
        if first is None:
            continue
        known = view.signal(fact)
        for source in sources:
            if source.point is first.point or not view.runs(source.point):
                continue
            clashes = [
                (at_s, part)
                for part in view.parts_of(source)
                if (at_s := _lasting_clash(part, known, lasting)) is not None
            ]
            if clashes:
                yield _disagreement(view, fact, source.point, first.point, clashes[0])


def _lasting_clash(part: Stretch, known: Signal, lasting_s: float) -> float | None:
    """When the stretch contradicts the fact for longer than one of them may lag behind."""
    at_s = clash(part, known)
    if at_s is None or part.known is None:
        return None
    opposite = [
        piece
        for piece in known.within(*part.known)
        if piece.value not in (part.value, UNKNOWN) and piece.end - piece.start > lasting_s
    ]
    return opposite[0].start if opposite else None


def _disagreement(
    view: PanelView, fact: str, point: Point, other: Point, clashed: tuple[float, Stretch]
) -> Verdict:
    at_s, part = clashed
    expected = f"{point.name} agrees with {other.name} on {fact}"
    tag, _, what = point.shows.partition(".")
    output = view.site.output_of.get(tag)
    if output is not None and what == "energised":
        acts = part.value is FALSE
        energised = acts is output.normally_energised
        sense = (
            f"normally energised (fail-safe): energised at rest, not while {tag} acts"
            if output.normally_energised
            else f"energised only while {tag} acts"
        )
        seen = (
            f"coil of {tag} {'energised' if energised else 'not energised'} while {tag} "
            f"{'acts' if acts else 'does not act'}, at {seconds(at_s)}"
        )
        because = f"{seen}; it is to be {sense}"
    else:
        shows = "on" if part.value is TRUE else "off"
        seen = f"{point.name} shows {fact} {shows}, {other.name} the opposite, at {seconds(at_s)}"
        because = seen
    aspect = Aspect("agrees", Outcome.FAILED, expected, seen, because=because, at_s=at_s)
    return Verdict(
        f"point/{point.name}",
        Kind.POINT,
        Outcome.FAILED,
        aspect.expected,
        aspect.seen,
        because=aspect.because,
        aspects=(aspect,),
    )
