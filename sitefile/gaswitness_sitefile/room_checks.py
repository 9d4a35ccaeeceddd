"""Checks that rooms agree with one another, with the outputs that air them and with the channels
placed in them.
"""

from collections.abc import Iterator
from typing import Any

from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.complaints import checked
from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.gas_amounts import fraction_per_unit
from gaswitness_sitefile.problems import Loc, Place, Problem, one_of
from gaswitness_sitefile.rooms import Exchange, Room


def room_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Every disagreement of rooms, exchanges and channels; of records that could be read."""
    rooms = _read(document, "rooms", Room)
    exchanges = _read(document, "exchanges", Exchange)
    known = list(dict.fromkeys(room.tag for _, room in rooms))
    sure = len(rooms) == len(_raw(document, "rooms"))
    yield from _repeats(document, rooms)
    yield from _fans(draft, document, rooms)
    for at, exchange in exchanges:
        for end, tag in enumerate(exchange.between):
            if tag not in known and sure:
                place = document.place(("exchanges", at, "between", end))
                yield Problem(place, f"between names no room, found {tag!r}", one_of(tag, known))
    by_tag = {room.tag: room for _, room in rooms}
    for index, channel in draft.channels.good.items():
        room = by_tag.get(channel.room or "")
        if channel.room is None:
            continue
        if room is not None:
            yield from _placed(draft.channels.at(index, "room"), channel, room)
        elif sure:
            what = f"{channel.tag}: room names no room, found {channel.room!r}"
            remedy = one_of(channel.room, known) if known else "add it to rooms:"
            yield Problem(draft.channels.at(index, "room"), what, remedy)


def _raw(document: Document, name: str) -> list[Any]:
    found = document.data.get(name)
    return found if isinstance(found, list) else []


def _read(document: Document, name: str, model: type[Any]) -> list[tuple[int, Any]]:
    def below(_: Loc) -> Place:
        return document.place((name,))

    records = [(at, checked(model, raw, below)[0]) for at, raw in enumerate(_raw(document, name))]
    return [(at, record) for at, record in records if record is not None]


def _repeats(document: Document, rooms: list[tuple[int, Room]]) -> Iterator[Problem]:
    seen: set[str] = set()
    for at, room in rooms:
        if room.tag in seen:
            place = document.place(("rooms", at, "tag"))
            yield Problem(place, f"the room {room.tag} stands twice", "give each its own tag")
        seen.add(room.tag)


def _fans(draft: Draft, document: Document, rooms: list[tuple[int, Room]]) -> Iterator[Problem]:
    outputs = draft.outputs.names("tag")
    for at, room in rooms:
        for tag in room.fans:
            if tag not in outputs and draft.outputs.tags_are_all:
                place = document.place(("rooms", at, "fans", tag))
                what = f"{room.tag}: fans names no output, found {tag!r}"
                yield Problem(place, what, one_of(tag, outputs))


def _placed(place: Place, channel: Channel, room: Room) -> Iterator[Problem]:
    for gas in (channel.gas, *channel.cross_sensitivity):
        if fraction_per_unit(gas, channel.unit, channel.lfl_vol_percent) is None:
            what = f"{channel.tag}: no figure turns {channel.unit} of {gas} into a share of the air"
            remedy = (
                "write lfl_vol_percent, or unit: %vol"
                if channel.unit == "%LEL"
                else "write unit: ppm"
            )
            yield Problem(place, what, remedy)
            return
    unit = fraction_per_unit(channel.gas, channel.unit, channel.lfl_vol_percent) or 1.0
    fresh = room.background_of(channel.gas) * 1e-6 / unit
    if abs(fresh - channel.clean_reading) > 1e-6 * channel.span:
        what = (
            f"{channel.tag}: the fresh air of {room.tag} holds {fresh:.6g} {channel.unit}, "
            f"but the channel's clean reading is {channel.clean_reading:.6g}"
        )
        ppm = channel.clean_reading * unit * 1e6
        remedy = f"write clean: {fresh:.6g}, or background_ppm: {{{channel.gas}: {ppm:.6g}}}"
        yield Problem(place, what, remedy)
