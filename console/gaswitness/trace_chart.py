"""From what a virtual panel showed to a chart: which channels and outputs are drawn, and in which
words. No shape and no coordinate is known here.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Final

from gaswitness.chart import (
    Band,
    Bar,
    Chart,
    Curve,
    Limit,
    Mark,
    Plot,
    Shade,
    State,
    Stretch,
    Strip,
)
from gaswitness.chart_scale import time_text
from gaswitness.trace_bars import bar, ever, lasted
from gaswitness.trace_exposure import exposure_strip
from gaswitness.trace_panel_lanes import PANEL_FLAGS, panel_strip
from gaswitness.trace_supply import supply_strips
from gaswitness.wording import duration_words
from gaswitness_scenarios.panel_trace import Happening, PanelTrace
from gaswitness_scenarios.trace_readers import POWERED, UNSERVED
from gaswitness_sitefile.channel import Channel

MOST_LINES: Final = 3
"""Of what happened at one instant; more are counted."""
GAS_ROOM: Final = 0.25
"""Gas further beyond the highest shown reading, in spans, does not stretch the scale."""
FLAGS: Final = (
    "comms_fault",
    "missing",
    "wrong_type",
    "fault",
    "over_range",
    "under_range",
    "test",
    "calibration",
    "inhibit",
)
"""Of a channel, drawn where they were ever on."""
FLAG_WORDS: Final = {
    "comms_fault": "comms fault",
    "wrong_type": "wrong type",
    "over_range": "over-range",
    "under_range": "under-range",
}
FLAT: Final = 0.05
"""Without levels a scale shows at least this part of the span about clean air, either way."""
STIRS: Final = 0.01
"""Gas that moves by less than this part of the span is not worth a picture."""
COIL_OFF: Final = "coil off"
IN_SELF_TEST: Final = "self-test"
SELF_TEST: Final = UNSERVED[1]


@dataclass(frozen=True, slots=True)
class Chosen:
    """Tags to be drawn; empty: whatever anything happened to."""

    channels: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()


def trace_chart(trace: PanelTrace, chosen: Chosen, software: str) -> Chart:
    """The chart of a trace. `software` says by what it was made."""
    site = trace.site
    channels = chosen.channels or tuple(t for t in trace.channels if _something(trace, t))
    all_outputs = tuple(output.tag for output in site.outputs)
    outputs = chosen.outputs or tuple(t for t in all_outputs if _ever_acts(trace, t))
    strips = [strip for tag in channels for strip in _of_channel(trace, site.channel_of[tag])]
    strips += supply_strips(trace)
    panel = panel_strip(trace)
    strips += [strip for strip in (panel, _output_strip(trace, outputs)) if strip.bars]
    told = [one for one in trace.happenings if not one.channel or one.channel in channels]
    marks = _marks(told)
    title = f"{site.panel.tag}: {trace.script.title or trace.script.name}"
    span = f"{time_text(trace.from_s)} to {time_text(trace.until_s)}"
    return Chart(
        title=title,
        about=_about(trace, software),
        summary=_summary(trace, channels, outputs, span),
        axis="panel time since the first power-up, in " + _axis_unit(trace),
        from_s=trace.from_s,
        to_s=trace.until_s,
        strips=tuple(strips),
        bands=_bands(trace),
        marks=marks,
        notes=_notes(trace, channels, outputs, len(trace.happenings) - len(told)),
    )


def _axis_unit(trace: PanelTrace) -> str:
    return "h:min:s" if trace.until_s >= 3600 else "min:s"


def _about(trace: PanelTrace, software: str) -> tuple[str, ...]:
    site, script = trace.site, trace.script
    name = f"{site.panel.name}. " if site.panel.name else ""
    document = f"Document {site.panel.document}" if site.panel.document else ""
    revision = site.panel.document_revision
    document += f" revision {revision}. " if document and revision else ". " if document else ""
    return (
        f"{name}{document}Script {script.name}, SHA-256 {script.sha256[:12]}, seed {trace.seed}, "
        f"{software}.",
        "A virtual panel in virtual time: what the site file asks for, not what a real panel does.",
    )


def _something(trace: PanelTrace, tag: str) -> bool:
    """Whether gas moved at the channel, a flag of it was ever on, or anything was done to it."""
    at = trace.channels.index(tag)
    gases = [sample.gases[at] for sample in trace.samples]
    moved = max(gases) - min(gases) > STIRS * trace.site.channel_of[tag].span
    done = any(one.channel == tag for one in trace.happenings)
    return moved or done or any(ever(trace, f) for f in trace.facts if f.startswith(f"{tag}."))


def _of_channel(trace: PanelTrace, channel: Channel) -> Iterator[Strip]:
    yield _channel_strip(trace, channel)
    exposed = exposure_strip(trace, channel)
    if exposed is not None:
        yield exposed


def _channel_strip(trace: PanelTrace, channel: Channel) -> Strip:
    tag = channel.tag
    name = f" {channel.name}" if channel.name else ""
    bars = [bar(trace, f"{tag}.{level}", f"{tag} {level}") for level in channel.levels]
    bars += [
        bar(trace, f"{tag}.{what}", f"{tag} {FLAG_WORDS.get(what, what)}")
        for what in FLAGS
        if ever(trace, f"{tag}.{what}")
    ]
    bands = tuple(
        Band(begun, ended, f"{tag} inhibited", Shade.ASIDE)
        for begun, ended in trace.stretches(f"{tag}.inhibit")
    )
    return Strip(f"{tag}{name}, {channel.gas}", _plot(trace, channel), tuple(bars), bands)


def _plot(trace: PanelTrace, channel: Channel) -> Plot:
    at = trace.channels.index(channel.tag)
    reading = Curve("reading", tuple((s.at_s, s.readings[at]) for s in trace.samples))
    highest = channel.shown_limits[1] + GAS_ROOM * channel.span
    gas = Curve(
        "gas at the detector",
        tuple((s.at_s, min(s.gases[at], highest)) for s in trace.samples),
        applied=True,
    )
    clean = channel.clean_reading
    room = 0.0 if channel.levels else FLAT * channel.span
    limits = tuple(_limits(trace, channel))
    return Plot(channel.unit, (reading, gas), limits, clean - room, clean + room)


def _limits(trace: PanelTrace, channel: Channel) -> list[Limit]:
    found = []
    for name, level in channel.levels.items():
        own = [
            (at, value)
            for at, tag, lv, value in trace.setpoints
            if (tag, lv) == (channel.tag, name)
        ]
        for (begun, value), (ended, _) in pairwise([*own, (trace.until_s, math.nan)]):
            text = f"{name} {value:g} {channel.unit} {level.direction}"
            found.append(Limit(value, text, begun, ended))
    return found


def _output_strip(trace: PanelTrace, outputs: Sequence[str]) -> Strip:
    bars = []
    for tag in outputs:
        output = trace.site.output_of[tag]
        name = f"{tag} {output.name or output.kind}"
        bars.append(Bar(name, tuple(_acting(trace, tag)), f"{name} acts"))
        if ever(trace, f"{tag}.forced"):
            bars.append(bar(trace, f"{tag}.forced", f"{tag} forced", f"{name} forced"))
        if ever(trace, f"{tag}.muted"):
            bars.append(bar(trace, f"{tag}.muted", f"{tag} muted", f"{name} muted"))
    return Strip(
        "Outputs: when they act",
        bars=tuple(bars),
    )


def _ever_acts(trace: PanelTrace, tag: str) -> bool:
    """Whether it ever acted, but for a coil that the self-test drops."""
    return any(
        stretch.state is State.ON and stretch.text != IN_SELF_TEST
        for stretch in _acting(trace, tag)
    )


def _acting(trace: PanelTrace, tag: str) -> list[Stretch]:
    """When the output acts: driven, or, normally energised, left without supply."""
    drops = trace.site.output_of[tag].normally_energised
    active, energised = (trace.facts.index(f"{tag}.{what}") for what in ("active", "energised"))
    test = trace.facts.index(SELF_TEST) if SELF_TEST in trace.facts else None
    found: list[Stretch] = []
    told = [
        (s.at_s, (s.facts[active], drops and not s.facts[energised], test and s.facts[test]))
        for s in trace.samples
    ]
    parts = [(at_s, how) for at, (at_s, how) in enumerate(told) if not at or told[at - 1][1] != how]
    end = (trace.until_s, (False, False, False))
    for (begun, (driven, dropped, tested)), (ended, _) in pairwise([*parts, end]):
        why = IN_SELF_TEST if tested else COIL_OFF
        text = lasted(trace, begun, ended) if driven else why if dropped else ""
        found.append(Stretch(begun, ended, State.ON if text else State.OFF, text))
    return found


def _bands(trace: PanelTrace) -> tuple[Band, ...]:
    found = [
        Band(begun, ended, "warm-up", Shade.WAITING)
        for begun, ended in trace.stretches("panel.warm_up")
    ]
    powered = [*trace.changes(POWERED), (trace.until_s, False)]
    found += [
        Band(begun, ended, "power off", Shade.DEAD)
        for (begun, on), (ended, _) in pairwise(powered)
        if not on
    ]
    return tuple(sorted(found, key=lambda band: band.from_s))


def _marks(told: Sequence[Happening]) -> tuple[Mark, ...]:
    instants = groupby(told, key=lambda one: one.at_s)
    return tuple(
        Mark(at_s, number, _lines([one.text for one in happened]))
        for number, (at_s, happened) in enumerate(instants, 1)
    )


def _lines(texts: list[str]) -> tuple[str, ...]:
    more = len(texts) - MOST_LINES
    if more <= 1:
        return tuple(texts)
    return (*texts[:MOST_LINES], f"and {more} more at the same instant")


def _summary(trace: PanelTrace, channels: Sequence[str], outputs: Sequence[str], span: str) -> str:
    """The picture in words: every time that a level, flag or output was on."""
    facts = [f for f in trace.facts if f.partition(".")[0] in channels]
    facts += [fact for fact in trace.facts if fact in PANEL_FLAGS]
    facts += [f"{tag}.active" for tag in outputs]
    said = [
        f"{fact} on from {time_text(begun, tenths=True)} to {time_text(ended, tenths=True)}"
        for fact in facts
        for begun, ended in trace.stretches(fact)
    ]
    length = duration_words(trace.until_s - trace.from_s)
    head = f"Readings, alarm levels, flags and outputs from {span}, {length} of panel time."
    return f"{head} {'; '.join(said)}." if said else f"{head} No level, flag or output was on."


def _notes(
    trace: PanelTrace, channels: Sequence[str], outputs: Sequence[str], untold: int
) -> tuple[str, ...]:
    left = [t for t in trace.channels if t not in channels]
    left += [o.tag for o in trace.site.outputs if o.tag not in outputs]
    notes = []
    why = {one.text for tag in outputs for one in _acting(trace, tag)}
    if COIL_OFF in why:
        notes.append(f"{COIL_OFF}: a normally energised output without supply acts, too.")
    if IN_SELF_TEST in why:
        notes.append(f"{IN_SELF_TEST}: no coil is on; a normally energised output acts, too.")
    if left:
        notes.append(f"Not drawn: {', '.join(left)}.")
    if untold:
        steps = "step" if untold == 1 else "steps"
        notes.append(f"Not told: {untold} {steps} at channels that are not drawn.")
    return tuple(notes)
