"""Checks that the bus agrees with itself, and with the channels and outputs of its panel."""

from collections.abc import Iterator, Sequence
from typing import Final

from gaswitness_sitefile.bus import PANEL, Bus, Cable, Segment
from gaswitness_sitefile.cable_data import MOST_OHM_PER_KM
from gaswitness_sitefile.complaints import checked
from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.problems import Loc, Problem, one_of

Found = tuple[Loc, str, str]
"""Where below `bus`, what is wrong, the remedy."""

RESERVED: Final = (PANEL, "any")


def bus_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Every disagreement of the bus; none where it is not there or could not be read."""
    if document.data.get("bus") is None:
        return
    bus, _ = checked(Bus, document.data["bus"], document.place)
    if bus is None:
        return
    found = [*_names(bus, draft), *_addresses(bus), *_channels(bus, draft), *_outputs(bus, draft)]
    found += [*_cables(bus), *_segments(bus), *_terminator(bus), *_voltages(bus)]
    for loc, what, remedy in found:
        yield Problem(document.place(("bus", *loc)), what, remedy)


def _nodes(bus: Bus) -> list[str]:
    return [*(device.tag for device in bus.devices), *bus.junctions]


def _names(bus: Bus, draft: Draft) -> Iterator[Found]:
    taken = {tag.casefold(): tag for tag in draft.inputs.names("tag") + draft.outputs.names("tag")}
    channels = {tag.casefold() for tag in draft.channels.names("tag")}
    places: list[Loc] = [("devices", at, "tag") for at in range(len(bus.devices))]
    places += [("junctions", at) for at in range(len(bus.junctions))]
    seen: set[str] = set()
    for loc, name in zip(places, _nodes(bus), strict=True):
        folded = name.casefold()
        if folded in RESERVED:
            yield loc, f"the name {name} means something else", "give it another name"
        elif folded in seen:
            yield loc, f"{name} stands twice on the bus", "give each device and junction its own"
        elif folded in taken or (loc[0] == "junctions" and folded in channels):
            yield loc, f"{name} is the tag of something else", "give it a name of its own"
        seen.add(folded)


def _addresses(bus: Bus) -> Iterator[Found]:
    first: dict[int, str] = {}
    for at, device in enumerate(bus.devices):
        if device.address in first:
            what = f"{device.tag}: address {device.address} is that of {first[device.address]} too"
            yield ("devices", at, "address"), what, "give each device its own address"
        first.setdefault(device.address, device.tag)


def _channels(bus: Bus, draft: Draft) -> Iterator[Found]:
    known, sure = draft.channels.names("tag"), draft.channels.tags_are_all
    first: dict[str, str] = {}
    for at, device in enumerate(bus.devices):
        for index, tag in enumerate(device.carries):
            own = device.channels is None
            loc: Loc = ("devices", at, "tag") if own else ("devices", at, "channels", index)
            if tag not in known and sure:
                also = ", or say which it has in channels: [...]" if own else ""
                what = f"{device.tag}: {tag!r} is no known channel"
                yield loc, what, one_of(tag, known) + also
            elif tag in first:
                what = f"{device.tag}: channel {tag} is that of {first[tag]} too"
                yield loc, what, "keep it at one device"
            first.setdefault(tag, device.tag)


def _outputs(bus: Bus, draft: Draft) -> Iterator[Found]:
    known, sure = draft.outputs.names("tag"), draft.outputs.tags_are_all
    seen: set[str] = set()
    for at, entry in enumerate(bus.outputs):
        loc: Loc = ("outputs", at, "output")
        if entry.output not in known and sure:
            yield loc, f"{entry.output!r} is no known output", one_of(entry.output, known)
        elif entry.output in seen:
            yield loc, f"{entry.output} stands twice in outputs of the bus", "keep one"
        seen.add(entry.output)


def _cables(bus: Bus) -> Iterator[Found]:
    if bus.cable.ohm_per_km_at_20_c is None:
        yield ("cable", "cross_section_mm2"), *_unknown_wire(bus.cable)
        return
    for at, segment in enumerate(bus.segments):
        cable = bus.cable_of(segment)
        if cable.ohm_per_km_at_20_c is None:
            yield ("segments", at, "cable", "cross_section_mm2"), *_unknown_wire(cable)


def _unknown_wire(cable: Cable) -> tuple[str, str]:
    table = MOST_OHM_PER_KM[cable.conductor_class, cable.coated]
    sizes = ", ".join(f"{size:g}" for size in table)
    what = f"IEC 60228 has no conductor of {cable.cross_section_mm2:g} mm2"
    return what, f"write one of {sizes}, or the maker's figure in ohm_per_km"


def _segments(bus: Bus) -> Iterator[Found]:
    nodes = _nodes(bus)
    fed: dict[str, int] = {}
    for at, segment in enumerate(bus.segments):
        yield from _ends(at, segment, nodes)
        if segment.to in fed:
            what = f"two segments lead to {segment.to}: a ring, or a name twice"
            remedy = "keep one; write 'from' as the end nearer to the panel"
            yield ("segments", at, "to"), what, remedy
        fed.setdefault(segment.to, at)
    yield from _loose(bus, nodes, fed)


def _ends(at: int, segment: Segment, nodes: Sequence[str]) -> Iterator[Found]:
    if segment.start not in (PANEL, *nodes):
        what = f"from {segment.start!r} is no device, junction or the panel"
        yield ("segments", at, "from"), what, one_of(segment.start, (PANEL, *nodes))
    if segment.to == PANEL:
        remedy = "exchange from and to: cables go from the panel out"
        yield ("segments", at, "to"), "a segment leads to the panel", remedy
    elif segment.to not in nodes:
        what = f"to {segment.to!r} is no device or junction"
        yield ("segments", at, "to"), what, f"{one_of(segment.to, nodes)}; list boxes in junctions"


def _loose(bus: Bus, nodes: Sequence[str], fed: dict[str, int]) -> Iterator[Found]:
    """Nodes that no chain of segments joins to the panel; of each chain, where it is broken."""
    reached, new = {PANEL}, {PANEL}
    while new:
        new = {s.to for s in bus.segments if s.start in new} - reached
        reached |= new
    for at, name in enumerate(nodes):
        if name in reached or (name in fed and not _goes_round(bus, name, fed)):
            continue
        devices = len(bus.devices)
        loc: Loc = ("devices", at, "tag") if at < devices else ("junctions", at - devices)
        if name in fed:
            what, remedy = f"{name} is on a ring without the panel", "lead one segment from panel"
        else:
            what = f"no cable leads to {name}"
            remedy = (
                f"add a segment {{from: ..., to: {name}, length_m: ...}}, from nearer the panel"
            )
        yield loc, what, remedy


def _goes_round(bus: Bus, name: str, fed: dict[str, int]) -> bool:
    here, steps = name, 0
    while here in fed and steps <= len(bus.segments):
        here, steps = bus.segments[fed[here]].start, steps + 1
        if here == name:
            return True
    return False


def _terminator(bus: Bus) -> Iterator[Found]:
    nodes = _nodes(bus)
    if bus.terminator is not None and bus.terminator not in nodes:
        what = f"terminator {bus.terminator!r} is no device or junction"
        yield ("terminator",), what, one_of(bus.terminator, nodes)


def _voltages(bus: Bus) -> Iterator[Found]:
    for at, device in enumerate(bus.devices):
        if device.least_v >= bus.supply_v:
            what = (
                f"{device.tag}: least_v {device.least_v:g} is not below the supply's "
                f"{bus.supply_v:g} V"
            )
            yield ("devices", at, "least_v"), what, "correct it, or supply_v"
