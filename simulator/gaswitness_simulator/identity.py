"""Device Identification: which objects a virtual panel has, and how they are read.

Function 2B/0E of the MODBUS Application Protocol Specification V1.1b3, clause 6.21. The panel
always says that it is a virtual one.
"""

from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from types import MappingProxyType
from typing import Final

from gaswitness_simulator.refusal import ILLEGAL_ADDRESS, ILLEGAL_VALUE, Refused
from gaswitness_sitefile.site import Site

LARGEST_PDU: Final = 253
HEAD: Final = 7
"""Bytes before the objects: 2B, 0E, code, conformity, more follows, next object, how many."""

LARGEST_OBJECT: Final = LARGEST_PDU - HEAD - 2
LAST_OF_CODE: Final = MappingProxyType({1: 0x02, 2: 0x7F, 3: 0xFF})
"""The last object that each stream code gives: basic, regular, extended."""

ONE_OBJECT: Final = 4


def identity_of(site: Site, extra: Mapping[int, bytes] = MappingProxyType({})) -> dict[int, bytes]:
    """The objects by id. `extra` holds objects of the panel's own, ids 80 to FF.

    ValueError for other ids, and for objects too long for one answer (244 bytes).
    """
    panel = site.panel
    product = f"Virtual panel, not a real one: {panel.name or panel.tag}"
    texts = {
        0x00: panel.vendor or "Gaswitness",
        0x01: panel.product or "virtual panel",
        0x02: panel.revision or _own_version(),
        0x04: product,
        0x05: "virtual panel",
        0x06: panel.tag,
    }
    objects = {number: text.encode("utf-8")[:LARGEST_OBJECT] for number, text in texts.items()}
    for number, content in extra.items():
        if not 0x80 <= number <= 0xFF:
            raise ValueError(
                f"an object of the panel's own has an id from 80 to FF, not {number:X}"
            )
        if len(content) > LARGEST_OBJECT:
            raise ValueError(f"object {number:X} has {len(content)} bytes, {LARGEST_OBJECT} fit")
        objects[number] = bytes(content)
    return objects


def _own_version() -> str:
    try:
        return version("gaswitness")
    except PackageNotFoundError:
        return "0"


def identification(objects: Mapping[int, bytes], code: int, first: int) -> bytes:
    """The answer's PDU. `code` 1 to 3 streams from object `first` on, 4 gives that object alone.

    Figure 30: an object that is not there (02, for one object only: a stream then starts anew from
    object 0), then a code that is none (03). Object texts that do not fit follow in further
    answers.
    """
    if code not in LAST_OF_CODE and first not in objects:
        raise Refused(ILLEGAL_ADDRESS)
    if code == ONE_OBJECT:
        return _answer(objects, code, [first], more=None)
    if code not in LAST_OF_CODE:
        raise Refused(ILLEGAL_VALUE)
    found = sorted(number for number in objects if number <= LAST_OF_CODE[code])
    wanted = [number for number in found if number >= first] if first in found else found
    fitting: list[int] = []
    room = LARGEST_PDU - HEAD
    for number in wanted:
        room -= 2 + len(objects[number])
        if room < 0:
            return _answer(objects, code, fitting, more=number)
        fitting.append(number)
    return _answer(objects, code, fitting, more=None)


def _answer(objects: Mapping[int, bytes], code: int, sent: list[int], more: int | None) -> bytes:
    conformity = 0x83 if max(objects) >= 0x80 else 0x82
    follows = (0x00, 0x00) if more is None else (0xFF, more)
    head = bytes((0x2B, 0x0E, code, conformity, *follows, len(sent)))
    return head + b"".join(bytes((n, len(objects[n]))) + objects[n] for n in sent)
