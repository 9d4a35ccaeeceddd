"""Design rules of the detector bus: its terminator, its margins as stated, what it leaves out."""

from typing import Final

from gaswitness_sitefile.rules.rule import Findings, Rule
from gaswitness_sitefile.site import Site


def _no_terminator(site: Site) -> Findings:
    if site.bus is not None and site.bus.terminator is None:
        ends = ", ".join(site.bus.ends)
        yield ("bus",), f"no device carries the line terminator; the bus ends at {ends}"


def _terminator_not_last(site: Site) -> Findings:
    bus = site.bus
    if bus is not None and bus.terminator is not None and bus.terminator not in bus.ends:
        ends = " or ".join(bus.ends)
        what = f"the terminator is at {bus.terminator}, but the bus goes on to {ends}"
        yield ("bus", "terminator"), what


def _channel_off_the_bus(site: Site) -> Findings:
    if site.bus is None:
        return
    for index, channel in enumerate(site.channels):
        if channel.tag not in {tag for device in site.bus.devices for tag in device.carries}:
            yield ("channels", index, "tag"), f"no device on the bus has the channel {channel.tag}"


def _draw_not_stated(site: Site) -> Findings:
    if site.bus is None:
        return
    stated = {entry.output for entry in site.bus.outputs}
    for index, output in enumerate(site.outputs):
        if output.at in site.bus.device_of and output.tag not in stated:
            what = f"bus.outputs does not say what {output.tag} at {output.at} draws"
            yield ("outputs", index, "tag"), what


def _no_port(site: Site) -> Findings:
    if site.bus is None:
        return
    free = {one.tag: list(one.ports) for one in site.bus.devices if one.ports}
    for index, output in enumerate(site.outputs):
        device = site.bus.device_of.get(output.at or "")
        if device is None or device.tag not in free:
            continue
        if output.kind in free[device.tag]:
            free[device.tag].remove(output.kind)
        else:
            what = f"no port of {device.tag} is left for the {output.kind} {output.tag}"
            yield ("outputs", index, "at"), what


BUS_RULES: Final = (
    Rule("GW601", _no_terminator, "without its terminator nothing on the line communicates"),
    Rule("GW602", _terminator_not_last, "the terminator belongs at the last device of the line"),
    Rule(
        "GW603",
        _channel_off_the_bus,
        "what its detector draws, and whether the bus carries it, is not worked out",
    ),
    Rule(
        "GW604",
        _draw_not_stated,
        "the load of a full alarm cannot be judged: write its draws, 0 where it has its own supply",
    ),
    Rule(
        "GW605",
        _no_port,
        "an output that its detector cannot switch does nothing: correct ports, or the output's at",
    ),
)
