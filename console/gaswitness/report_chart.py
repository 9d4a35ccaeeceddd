"""From what was seen in a run to charts of one event: readings, setpoints, levels, outputs, what
the matrix asks of them, and where nothing is known. No shape and no coordinate is known here.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness.chart import Band, Chart, Curve, Limit, Mark, Plot, Shade, Strip
from gaswitness.chart_scale import time_text
from gaswitness.report_chart_bars import looked_bar, must_bar, on_times, seen_bar
from gaswitness.report_chart_curves import Told, by_channel, gas_curve, reading_curve
from gaswitness_probe.expect import CellView, Expectations, OutputView
from gaswitness_probe.signal import TRUE, rises
from gaswitness_sitefile.channel import Channel

ROOM: Final = 640.0
"""Height that the strips of one picture may take; more go on a further one."""
PLOT_HEIGHT: Final = 138.0
BARE_HEIGHT: Final = 46.0
BAR_HEIGHT: Final = 18.0
MOST_MARKS: Final = 40
MOST_WINDOWS: Final = 6
"""Windows shaded for one output in one picture; the bar of what must be shows all of them."""
GAS_ROOM: Final = 0.25
FLAT: Final = 0.05
FLAGS: Final = ("fault", "over_range", "under_range", "inhibit")
PANEL_FLAGS: Final = {"fault": "common fault", "unaccepted": "not accepted", "warm_up": "warm-up"}


@dataclass(frozen=True, slots=True)
class Event:
    """A stretch of a run to be drawn. `marks` have the numbers of the steps in the table beside.

    `moves`: tags of outputs that are drawn whether they moved or not.
    """

    title: str
    from_s: float
    to_s: float
    marks: tuple[Mark, ...] = ()
    moves: tuple[str, ...] = ()

    @property
    def seconds(self) -> tuple[float, float]:
        """From when to when."""
        return self.from_s, self.to_s


def event_charts(expected: Expectations, event: Event) -> tuple[Chart, ...]:
    """The event's charts; several where all that happened is too much for one."""
    site = expected.view.site
    told = by_channel(expected.view.applied)
    channels = [
        one for one in site.channels if _happened(expected, one, told.get(one.tag, []), event)
    ]
    outputs = [one for tag, one in expected.outputs.items() if _moved(one, event, tag)]
    strips = [_channel_strip(expected, one, told.get(one.tag, []), event) for one in channels]
    strips += [strip for strip in (_panel_strip(expected, event),) if strip.bars]
    strips += [_output_strip(expected, output, event) for output in outputs]
    facts = [f"{one.tag}.{level}" for one in channels for level in one.levels]
    facts += [output.fact for output in outputs]
    pages = _pages(strips)
    return tuple(
        _chart(expected, event, tuple(page), facts, (number, len(pages)))
        for number, page in enumerate(pages, 1)
    )


def _chart(
    expected: Expectations,
    event: Event,
    strips: tuple[Strip, ...],
    facts: Sequence[str],
    page: tuple[int, int],
) -> Chart:
    number, of = page
    marks = _marks_of(expected, event, strips)
    crowded = len(marks) > MOST_MARKS
    title = event.title if of == 1 else f"{event.title}, picture {number} of {of}"
    return Chart(
        title=title,
        about=(
            "As seen over the link. Hatched: not known, since a change fell somewhere between two "
            "samples, or nothing was seen. \u201cBy the matrix\u201d: what must be, hatched where "
            "either is allowed.",
        ),
        summary=_summary(expected, event, facts),
        axis="seconds of the run, as min:s or h:min:s; the numbers are those of the steps",
        from_s=event.from_s,
        to_s=event.to_s,
        strips=strips,
        marks=() if crowded else marks,
        notes=(f"{len(marks)} steps are too many to be marked here.",) if crowded else (),
        told=False,
    )


def _marks_of(expected: Expectations, event: Event, strips: Sequence[Strip]) -> tuple[Mark, ...]:
    """The marks of steps at what the picture shows, and of those at no channel or output."""
    site = expected.view.site
    tags = [*site.channel_of, *site.output_of]
    here = {strip.title.partition(" ")[0] for strip in strips}
    return tuple(
        mark
        for mark in event.marks
        if not (named := _named(mark, tags)) or not here.isdisjoint(named)
    )


def _named(mark: Mark, tags: Sequence[str]) -> set[str]:
    words = {word.strip(".,:;()") for line in mark.lines for word in line.split()}
    return words.intersection(tags)


def _pages(strips: Sequence[Strip]) -> list[list[Strip]]:
    pages: list[list[Strip]] = []
    left = 0.0
    for strip in strips:
        height = (PLOT_HEIGHT if strip.plot else BARE_HEIGHT) + BAR_HEIGHT * len(strip.bars)
        if not pages or height > left:
            pages.append([])
            left = ROOM
        pages[-1].append(strip)
        left -= height
    return pages


def _happened(expected: Expectations, channel: Channel, told: Told, event: Event) -> bool:
    """Whether something was done at the channel, or any flag of it was on."""
    if any(_meets(one.begun_s, one.done_s, event) for one, _ in told):
        return True
    facts = [f"{channel.tag}.{what}" for what in (*channel.levels, *FLAGS)]
    return any(_ever_on(expected, fact, event) for fact in facts)


def _meets(from_s: float, to_s: float, event: Event) -> bool:
    return to_s >= event.from_s and from_s < event.to_s


def _ever_on(expected: Expectations, fact: str, event: Event) -> bool:
    return any(
        part.value is TRUE and _meets(part.first.low, part.last.high, event)
        for part in expected.view.parts(fact)
    )


def _moved(output: OutputView, event: Event, tag: str) -> bool:
    if tag in event.moves or output.expected.ever(TRUE, *event.seconds):
        return True
    return _ever_on(output.expectations, output.fact, event)


def _channel_strip(expected: Expectations, channel: Channel, told: Told, event: Event) -> Strip:
    tag, view = channel.tag, expected.view
    name = f" {channel.name}" if channel.name else ""
    bars = [
        seen_bar(view, f"{tag}.{level}", f"{tag} {level}", event.seconds)
        for level in channel.levels
        if view.shown(f"{tag}.{level}")
    ]
    bars += [
        seen_bar(view, f"{tag}.{what}", f"{tag} {what.replace('_', '-')}", event.seconds)
        for what in FLAGS
        if _ever_on(expected, f"{tag}.{what}", event)
    ]
    return Strip(f"{tag}{name}, {channel.gas}", _plot(expected, channel, told, event), tuple(bars))


def _plot(expected: Expectations, channel: Channel, told: Told, event: Event) -> Plot | None:
    view = expected.view
    point = view.reading_point(channel.tag)
    curves = []
    if point is not None:
        seen = tuple(reading_curve(view, point, event.seconds))
        curves.append(Curve(f"reading ({point.name})", seen))
    highest = channel.shown_limits[1] + GAS_ROOM * channel.span
    gas = tuple((at, min(value, highest)) for at, value in gas_curve(channel, told, event.seconds))
    if len(gas) > 1:
        curves.append(Curve("gas applied, as told", gas, applied=True))
    if not curves:
        return None
    clean = channel.clean_reading
    room = 0.0 if channel.levels else FLAT * channel.span
    limits = tuple(
        Limit(
            level.setpoint,
            f"{name} {level.setpoint:g} {channel.unit} {level.direction}",
            event.from_s,
            event.to_s,
        )
        for name, level in channel.levels.items()
    )
    return Plot(channel.unit, tuple(curves), limits, clean - room, clean + room)


def _panel_strip(expected: Expectations, event: Event) -> Strip:
    view = expected.view
    bars = [
        seen_bar(view, f"panel.{what}", said, event.seconds)
        for what, said in PANEL_FLAGS.items()
        if _ever_on(expected, f"panel.{what}", event)
    ]
    bars += [
        seen_bar(view, f"{one.tag}.active", f"{one.tag} {one.name}", event.seconds)
        for one in view.site.inputs
        if _ever_on(expected, f"{one.tag}.active", event)
    ]
    return Strip("Panel and inputs", bars=tuple(bars))


def _output_strip(expected: Expectations, output: OutputView, event: Event) -> Strip:
    view, tag = expected.view, output.output.tag
    bars = []
    if view.source(output.fact) is not None:
        bars.append(seen_bar(view, output.fact, f"{tag} reported", event.seconds))
    looked = looked_bar(view.looked, output.fact, f"{tag} witnessed", event.seconds)
    bars += [looked] if looked.stretches else []
    bars.append(must_bar(output.expected, f"{tag} by the matrix", event.seconds))
    muted = f"{tag}.muted"
    if _ever_on(expected, muted, event):
        bars.append(seen_bar(view, muted, f"{tag} muted", event.seconds))
    name = output.output.name or output.output.kind
    return Strip(f"{tag} {name}: when it acts", bars=tuple(bars), bands=_windows(output, event))


def _windows(output: OutputView, event: Event) -> tuple[Band, ...]:
    """Where the effect of a cause that was seen to come is allowed to come."""
    found = [
        Band(
            max(low, event.from_s),
            min(high, event.to_s),
            f"window of {cell.cell.cause}",
            Shade.WINDOW,
        )
        for cell in output.cells
        for low, high in _rise_windows(cell)
        if low < event.to_s and high > event.from_s
    ]
    return tuple(sorted(found, key=lambda band: band.from_s)[:MOST_WINDOWS])


def _rise_windows(cell: CellView) -> Iterator[tuple[float, float]]:
    for event in rises(cell.cause):
        if event.sure:
            yield event.low + cell.rise.low, event.high + cell.rise.high


def _summary(expected: Expectations, event: Event, facts: Sequence[str]) -> str:
    """The picture in words: every time that a level or an output was on."""
    span = f"{time_text(event.from_s)} to {time_text(event.to_s)}"
    said = [
        f"{fact} on from {time_text(low, tenths=True)} to {time_text(high, tenths=True)}"
        for fact in facts
        for low, high in on_times(expected.view, fact, event.seconds)
    ]
    head = f"Readings, alarm levels and outputs as seen from {span} of the run."
    return f"{head} {'; '.join(said)}." if said else f"{head} No level or output was on."
