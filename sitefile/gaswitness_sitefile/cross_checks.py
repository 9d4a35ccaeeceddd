"""Checks that the parts of a site file agree with one another. What is unwise is not asked here.

Records that could not be read are passed over, but their tags count as known.
"""

from collections.abc import Callable, Iterator
from typing import Any, Final

from gaswitness_sitefile.bus_checks import bus_checks
from gaswitness_sitefile.channel import LEVEL_NAMES, Channel, ReadingOnFault
from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft, Section
from gaswitness_sitefile.event_checks import event_checks
from gaswitness_sitefile.fact_checks import cause_fault
from gaswitness_sitefile.matrix import facts_of
from gaswitness_sitefile.pace_checks import pace_checks
from gaswitness_sitefile.point_checks import point_checks
from gaswitness_sitefile.points import FLOATS
from gaswitness_sitefile.problems import Place, Problem, one_of
from gaswitness_sitefile.room_checks import room_checks

RESERVED_TAGS: Final = ("panel", "any", "events")
"""Subjects of facts that are no tags."""


def cross_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Every disagreement between records, as far as they could be read."""
    yield from _tags(draft)
    yield from _repeats(draft.points, "point name", lambda point: point.name, "name")
    yield from _repeats(draft.matrix, "cell", lambda cell: cell.id, "cause")
    yield from _link_names(document)
    yield from pace_checks(draft, document)
    yield from _level_names(draft.channels)
    yield from _cells(draft)
    yield from _output_places(draft)
    yield from bus_checks(draft, document)
    yield from room_checks(draft, document)
    yield from event_checks(draft, document)
    yield from point_checks(draft)
    yield from _readings_on_fault(draft)


def _tags(draft: Draft) -> Iterator[Problem]:
    first: dict[str, Place] = {}
    tagged: tuple[Section[Any], ...] = (draft.channels, draft.inputs, draft.outputs)
    for section in tagged:
        for index, record in sorted(section.good.items()):
            place = section.at(index, "tag")
            folded = record.tag.casefold()
            if folded in RESERVED_TAGS:
                what = f"the tag {record.tag} means something else in causes and points"
                yield Problem(place, what, "give it another tag")
            elif folded in first:
                what = f"the tag {record.tag} stands twice, first in {_at(first[folded], place)}"
                yield Problem(place, what, "give each channel, input and output its own tag")
            first.setdefault(folded, place)


def _at(place: Place, seen_from: Place) -> str:
    if place.cell:
        return f"cell {place.cell}"
    return f"line {place.line}" if place.file == seen_from.file else f"{place.file}:{place.line}"


def _repeats(
    section: Section[Any], what: str, key: Callable[[Any], str], field: str
) -> Iterator[Problem]:
    first: dict[str, Place] = {}
    for index, record in sorted(section.good.items()):
        name, place = key(record), section.at(index, field)
        if name in first:
            said = f"the {what} {name!r} stands twice, first in {_at(first[name], place)}"
            yield Problem(place, said, "keep one, or tell them apart")
        first.setdefault(name, place)


def _link_names(document: Document) -> Iterator[Problem]:
    links = document.data.get("links")
    seen: dict[str, Place] = {}
    for index, link in enumerate(links if isinstance(links, list) else []):
        name = link.get("name") if isinstance(link, dict) else None
        if not isinstance(name, str):
            continue
        place = document.place(("links", index, "name"))
        if name in seen:
            what = f"the link {name!r} stands twice, first in {_at(seen[name], place)}"
            yield Problem(place, what, "give each link its own name")
        seen.setdefault(name, place)


def _level_names(channels: Section[Channel]) -> Iterator[Problem]:
    for index, channel in channels.good.items():
        for name in channel.levels:
            if name not in LEVEL_NAMES:
                place = channels.at(index, "levels", name)
                what = f"{channel.tag}: {name!r} is no alarm level"
                yield Problem(place, what, one_of(name, LEVEL_NAMES))


def _cells(draft: Draft) -> Iterator[Problem]:
    outputs = draft.outputs.names("tag")
    complete = draft.outputs.tags_are_all
    for index, cell in draft.matrix.good.items():
        for fact in dict.fromkeys(facts_of(cell.cause_tree)):
            fault = cause_fault(draft, fact)
            if fault:
                what, remedy = fault
                place = draft.matrix.at(index, "cause")
                yield Problem(place, f"cause {cell.cause!r}: {what}", remedy)
        if cell.effect not in outputs and complete:
            known = cell.effect in (*draft.channels.names("tag"), *draft.inputs.names("tag"))
            what = f"effect {cell.effect!r} is {'not an output' if known else 'no known output'}"
            place = draft.matrix.at(index, "effect")
            yield Problem(place, what, one_of(cell.effect, outputs))


def _output_places(draft: Draft) -> Iterator[Problem]:
    tags = draft.channels.names("tag")
    for index, output in draft.outputs.good.items():
        if output.at is not None and output.at not in tags and draft.channels.tags_are_all:
            what = f"{output.tag}: at names no channel, found {output.at!r}"
            yield Problem(draft.outputs.at(index, "at"), what, one_of(output.at, tags))


def _readings_on_fault(draft: Draft) -> Iterator[Problem]:
    """What a channel shows on fault must be possible in the points that show its reading."""
    by_tag = {channel.tag: channel for channel in draft.channels.good.values()}
    for index, point in draft.points.good.items():
        channel = by_tag.get(point.subject)
        if channel is None or point.what != "reading":
            continue
        if channel.on_fault is ReadingOnFault.NAN and point.type not in FLOATS:
            what = f"{point.name}: {channel.tag} shows NaN on fault, which {point.type} cannot hold"
            place = draft.points.at(index, "type")
            yield Problem(place, what, "write a float type, or another on_fault for the channel")
        if channel.on_fault is ReadingOnFault.SENTINEL and point.sentinel is None:
            what = f"{point.name}: {channel.tag} shows the sentinel on fault, but none is given"
            place = draft.points.at(index, "sentinel")
            yield Problem(place, what, "write sentinel: and the raw value, such as 65535")
