"""All units of one serial line, and what each says to a frame on it. Sans-I/O.

MODBUS over Serial Line V1.02, clauses 2.1 and 2.2: unit 0 is everyone, writes only and never
answered; 248 to 255 are nobody's. Functions that only serial lines have are answered here.
"""

from typing import Final

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.diagnostics import Diagnostics
from gaswitness_simulator.refusal import ILLEGAL_VALUE, Refused
from gaswitness_simulator.rtu import BROADCAST, LAST_UNIT
from gaswitness_simulator.units import Units

BROADCAST_WRITES: Final = frozenset({0x05, 0x06, 0x0F, 0x10, 0x15, 0x16})
STATUS_FACTS: Final = (
    "panel.fault",
    "any.A1",
    "any.A2",
    "any.A3",
    "any.fault",
    "panel.inhibit",
    "panel.unaccepted",
    "panel.warm_up",
)
"""What function 07 tells, bit 0 first; of its meaning the protocol says nothing."""

RUNNING: Final = b"\xff"


class Station:
    """One unit on the line: its panel, and what it has counted since that had power last."""

    def __init__(self, device: VirtualDevice) -> None:
        self.device = device
        self.diagnostics = Diagnostics()
        self._power_ups = device.panel.power_ups

    def powered(self, at_s: float) -> bool:
        """Whether it hears anything. A panel that had no power begins its counts anew."""
        panel = self.device.panel
        panel.advance(at_s)
        if panel.power_ups != self._power_ups:
            self._power_ups = panel.power_ups
            self.diagnostics = Diagnostics()
        return panel.powered

    def take(self, pdu: bytes, at_s: float, *, broadcast: bool) -> bytes | None:
        """The PDU to be sent for a frame that is for this unit; None is silence."""
        diagnostics = self.diagnostics
        diagnostics.asked(broadcast=broadcast)
        was_listening = diagnostics.listening
        answer = None
        acts = not broadcast or pdu[0] in BROADCAST_WRITES
        if acts and (not was_listening or diagnostics.wakes(pdu)):
            try:
                answer = self._answer(pdu, at_s)
            except Refused as refused:
                answer = bytes((pdu[0] | 0x80, refused.code))
            if answer is None and pdu[0] == 0x08:
                return None  # it listens from now on, or no more: the log says that itself
        said = None if broadcast or was_listening else answer
        diagnostics.settled(pdu[0], answer, sent=said is not None)
        return said

    def _answer(self, pdu: bytes, at_s: float) -> bytes | None:
        if pdu[0] in (0x08, 0x0B, 0x0C):
            return self.diagnostics.answer(pdu)
        if pdu[0] not in (0x07, 0x11):
            return self.device.answer(self.device.unit, pdu, at_s)
        if len(pdu) != 1:
            raise Refused(ILLEGAL_VALUE)
        return exception_status(self.device) if pdu[0] == 0x07 else server_id(self.device)


class RtuLine:
    """One object owns all units of a line. ValueError where a unit id is not 1 to 247."""

    def __init__(self, units: Units) -> None:
        for unit in units.devices:
            if not 1 <= unit <= LAST_UNIT:
                raise ValueError(
                    f"unit id {unit} on a serial line: write one from 1 to {LAST_UNIT}"
                )
        self.units = units
        self.stations = {unit: Station(device) for unit, device in units.devices.items()}

    def take(self, unit: int, pdu: bytes, at_s: float) -> bytes | None:
        """The PDU that answers a frame; None is silence. Every unit has heard the frame."""
        said = None
        for own, station in self.stations.items():
            if not station.powered(at_s):
                continue
            station.diagnostics.heard()
            if unit == BROADCAST:
                station.take(pdu, at_s, broadcast=True)
            elif unit == own:
                said = station.take(pdu, at_s, broadcast=False)
        return said

    def noise(self, at_s: float) -> None:
        """Bytes were on the line that made no frame."""
        for station in self.stations.values():
            if station.powered(at_s):
                station.diagnostics.noise()


def exception_status(device: VirtualDevice) -> bytes:
    """The PDU that answers function 07 (V1.1b3 clause 6.7)."""
    facts = (device.panel.fact(name) for name in STATUS_FACTS)
    return bytes((0x07, sum(fact << bit for bit, fact in enumerate(facts))))


def server_id(device: VirtualDevice) -> bytes:
    """The PDU that answers function 11 (V1.1b3 clause 6.13): unit id, running, then who it is."""
    who = " ".join((device.panel.site.panel.tag, "virtual panel")).encode("utf-8")
    content = bytes((device.unit,)) + RUNNING + who
    return bytes((0x11, len(content))) + content
