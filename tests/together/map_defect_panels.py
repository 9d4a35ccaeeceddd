"""Panels that have a defect of the map: a copy of the site file that puts its points otherwise.

The panel's own side makes the registers from it, by its own code: nothing of the probe's arithmetic
of defects is in this. Defects that no copy of a site file has are done to the panel's answers.
"""

from gaswitness_simulator.device import VirtualDevice
from gaswitness_sitefile.channel import ReadingOnFault
from gaswitness_sitefile.points import NUMERIC, Order, PointType, Table

OTHER_TABLE = {
    Table.COIL: Table.DISCRETE_INPUT,
    Table.DISCRETE_INPUT: Table.COIL,
    Table.HOLDING: Table.INPUT,
    Table.INPUT: Table.HOLDING,
}
NUMBERS = ("reading", "STEL.average", "TWA.average", "current")
SIGNED_TYPES = {
    PointType.INT16: PointType.UINT16,
    PointType.INT32: PointType.UINT32,
    PointType.UINT16: PointType.INT16,
    PointType.UINT32: PointType.INT32,
}
BCD_TYPES = {
    PointType.INT16: PointType.BCD16,
    PointType.UINT16: PointType.BCD16,
    PointType.INT32: PointType.BCD32,
    PointType.UINT32: PointType.BCD32,
}


def defective(site, defect):
    """The site of a panel with the defect; None where a copy of the site file cannot have it."""
    kind = defect.kind
    if kind.startswith("every address one"):
        return _points(site, _shifted(defect, 1 if kind.endswith("high") else -1))
    if kind == "tables exchanged":
        return _points(site, lambda one: _with(one, table=OTHER_TABLE[one.table]))
    if "put in before a point" in kind:
        return _inserted(site, defect, int(kind[0]))
    if kind.endswith("in the other order"):
        return _points(site, _only(defect, lambda one: _with(one, order=_turned(one, kind))))
    if kind.startswith("scale ten times"):
        by = 0.1 if kind.endswith("great") else 10.0
        return _points(site, _only(defect, lambda one: _with(one, scale=one.scale * by)))
    if kind.endswith(" exchanged") and kind != "bytes of the bits exchanged":
        return _points(site, _exchanged(defect))
    return _retyped(site, defect) or _restated(site, defect)


def _retyped(site, defect):
    kind = defect.kind
    if kind.startswith("decimal digits"):
        return _points(site, _only(defect, lambda one: _with(one, type=BCD_TYPES[one.type])))
    if kind in ("unsigned in place of signed", "signed in place of unsigned"):
        return _points(site, _only(defect, lambda one: _with(one, type=SIGNED_TYPES[one.type])))
    if kind == "32 bits in place of 16":
        return _points(site, _only(defect, lambda one: _with(one, type=PointType.INT32)))
    return None


def _restated(site, defect):
    kind = defect.kind
    turns = {
        "bits numbered from the other end": lambda bit: 15 - bit,
        "bytes of the bits exchanged": lambda bit: bit ^ 8,
        "bits numbered from 1": lambda bit: bit + 1,
    }
    if kind in turns:
        return _points(site, _only(defect, lambda one: _renumbered(one, turns[kind])))
    if kind == "fault not flagged":
        return _points(site, lambda one: _without_fault(one, defect.place))
    if kind == "fault shown as a reading of 0":
        return _channels(site, defect, on_fault=ReadingOnFault.ZERO)
    if kind == "negative readings shown as 0":
        return _channels(site, defect, under_range=0.0)
    if kind.startswith("state "):
        state = kind.removeprefix("state ").removesuffix(" under another code")
        return _points(site, _only(defect, lambda one: _recoded(one, state)))
    return None


def _with(point, **update):
    found = point.model_copy(update=update)
    found.__dict__.pop("width", None)
    return found


def _points(site, change):
    changed = [change(one) for one in site.points]
    points = tuple(one for one in changed if one is not None)
    return site.model_copy(update={"points": points})


def _channels(site, defect, **update):
    tags = {one.subject for one in site.points if one.name in defect.points}
    channels = tuple(
        one.model_copy(update=update) if one.tag in tags else one for one in site.channels
    )
    return site.model_copy(update={"channels": channels})


def _only(defect, change):
    return lambda one: change(one) if one.name in defect.points else one


def _shifted(defect, by):
    tables = {table for table in Table if defect.place in ("all tables", f"{table}s")}

    def shifted(one):
        if one.table not in tables:
            return one
        return _with(one, address=one.address + by) if one.address + by >= 0 else None

    return shifted


def _inserted(site, defect, by):
    first = next(one for one in site.points if one.name == defect.place)

    def later(one):
        return one.table is first.table and one.address >= first.address

    return _points(site, lambda one: _with(one, address=one.address + by) if later(one) else one)


def _turned(point, kind):
    words = kind.startswith("words") != point.order.low_word_first
    turns_bytes = kind.startswith(("bytes", "words and bytes"))
    swapped = turns_bytes != point.order.bytes_swapped
    return {
        (False, False): Order.ABCD,
        (True, False): Order.CDAB,
        (False, True): Order.BADC,
        (True, True): Order.DCBA,
    }[words, swapped]


def _exchanged(defect):
    one, _, other = defect.place.partition(" and ")
    partner = {one: other, other: one}

    def belongs(what):
        setpoint = what.endswith(".setpoint")
        if defect.kind.startswith("readings"):
            return what in NUMBERS
        if defect.kind.startswith("setpoints"):
            return setpoint
        return not defect.kind.startswith("status") or (what not in NUMBERS and not setpoint)

    def renamed(shows):
        subject, _, what = shows.partition(".")
        return f"{partner[subject]}.{what}" if subject in partner and belongs(what) else shows

    def exchanged(point):
        if point.name not in defect.points:
            return point
        bits = {bit: renamed(shows) for bit, shows in point.bits.items()}
        return _with(point, shows=renamed(point.shows), bits=bits)

    return exchanged


def _renumbered(point, turn):
    if point.type is PointType.BIT_FIELD:
        bits = {turn(bit): shows for bit, shows in point.bits.items() if turn(bit) < 16}
        return _with(point, bits=bits)
    return _with(point, bit=turn(point.bit)) if turn(point.bit) < 16 else None


def _without_fault(point, tag):
    if point.shows == f"{tag}.fault" and point.type not in NUMERIC:
        return None
    bits = {bit: shows for bit, shows in point.bits.items() if shows != f"{tag}.fault"}
    return _with(point, bits=bits)


def _recoded(point, state):
    """The state's code one higher; None of another state may have that."""
    code = next(code for code, named in point.codes.items() if named == state)
    others = {number: named for number, named in point.codes.items() if named != state}
    return None if code + 1 in others else _with(point, codes=others | {code + 1: state})


def inverting(place_bits):
    """A device whose bits at these (table, address) places read the other way round."""

    class Inverting(VirtualDevice):
        def answer(self, unit, pdu, at_s):
            found = super().answer(unit, pdu, at_s)
            tables = {1: Table.COIL, 2: Table.DISCRETE_INPUT}
            if found is None or pdu[0] not in tables or found[0] != pdu[0]:
                return found
            first, count = int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big")
            data = bytearray(found)
            for at in range(count):
                if (tables[pdu[0]], first + at) in place_bits:
                    data[2 + at // 8] ^= 1 << at % 8
            return bytes(data)

    return Inverting
