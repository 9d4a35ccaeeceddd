"""The panels behind one port or on one line, by unit id, and who answers for the others.

MODBUS Messaging on TCP/IP Implementation Guide V1.0b, clause 4.4.1.2.
"""

from collections.abc import Iterable
from enum import StrEnum
from typing import Final

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.refusal import ILLEGAL_FUNCTION, PATH_UNAVAILABLE, TARGET_SILENT

DIRECT_UNITS: Final = frozenset({0, 255})
"""Unit ids that mean the device itself on TCP."""
WRITES: Final = frozenset({0x05, 0x06, 0x0F, 0x10, 0x15, 0x16, 0x17})


class UnknownUnit(StrEnum):
    """What a request to a unit that is not there gets over TCP.

    `silence`, or what a gateway says: exception 0A (no path), 0B (the target does not respond).
    """

    SILENCE = "silence"
    NO_PATH = "0A"
    NO_RESPONSE = "0B"


_CODES: Final = {
    UnknownUnit.NO_PATH: PATH_UNAVAILABLE,
    UnknownUnit.NO_RESPONSE: TARGET_SILENT,
}


class Units:
    """One or more panels. Over TCP, unit ids 0 and 255 mean the first of them.

    A single one stands on the network itself. With more, or where it answers for unknown units,
    there is a gateway before them, which goes on when a panel has no power. ValueError where two
    have the same unit id, and where there is none.
    """

    def __init__(
        self, devices: Iterable[VirtualDevice], unknown: UnknownUnit = UnknownUnit.SILENCE
    ) -> None:
        self.devices: dict[int, VirtualDevice] = {}
        for device in devices:
            if device.unit in self.devices:
                raise ValueError(f"two panels have the unit id {device.unit}")
            self.devices[device.unit] = device
        self.first = next(iter(self.devices.values()), None)
        if self.first is None:
            raise ValueError("there is no panel to be served")
        self.unknown = unknown
        alone = len(self.devices) == 1 and unknown is UnknownUnit.SILENCE
        self.alone = self.first if alone else None

    def over_tcp(
        self, unit: int, pdu: bytes, at_s: float, *, may_write: bool = True
    ) -> bytes | None:
        """The answer's PDU to a request with an MBAP header; None is silence."""
        device = self.devices.get(unit)
        if device is None and unit in DIRECT_UNITS:
            device = self.first
        if device is None:
            return self._for_nobody(pdu)
        if not may_write and pdu[0] in WRITES:
            return bytes((pdu[0] | 0x80, ILLEGAL_FUNCTION))
        answer = device.answer(device.unit, pdu, at_s)
        if answer is None and self.unknown is not UnknownUnit.SILENCE:
            return bytes((pdu[0] | 0x80, TARGET_SILENT))
        return answer

    def _for_nobody(self, pdu: bytes) -> bytes | None:
        code = _CODES.get(self.unknown)
        return None if code is None else bytes((pdu[0] | 0x80, code))


def units_of(served: VirtualDevice | Units) -> Units:
    """The panels that are served, where there may be one alone."""
    return served if isinstance(served, Units) else Units([served])
