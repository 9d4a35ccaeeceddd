"""One client's connection to a virtual panel, sans-I/O: bytes in, bytes out, and when.

A panel without power is silent. When it comes back it knows none of its old connections: what
comes in on one gets it closed.
"""

from typing import Final

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.mbap import Nonsense, RequestReader, framed
from gaswitness_simulator.outgoing import Outgoing

DIRECT_UNITS: Final = frozenset({0, 255})
"""Unit ids that mean the device itself on TCP (Messaging guide V1.0b, clause 4.4.1.2)."""


class Session:
    """State of one connection: what has come of a frame, and since which power-up it stands."""

    def __init__(self, device: VirtualDevice) -> None:
        self._device = device
        self._reader = RequestReader()
        panel = device.panel
        self._power_up = panel.power_ups + (0 if panel.powered else 1)

    def receive(self, data: bytes, at_s: float) -> list[Outgoing]:
        """Take bytes that came at `at_s`. Answers go out in the order of their requests."""
        panel = self._device.panel
        panel.advance(at_s)
        if not panel.powered:
            return []
        if panel.power_ups != self._power_up:
            return [Outgoing(0.0, b"", close=True)]
        sent: list[Outgoing] = []
        try:
            for request in self._reader.feed(data):
                unit = self._device.unit if request.unit in DIRECT_UNITS else request.unit
                pdu = self._device.answer(unit, request.pdu, at_s)
                if pdu is not None:
                    sent.append(Outgoing(0.0, framed(request, pdu)))
        except Nonsense:
            sent.append(Outgoing(0.0, b"", close=True))
        return sent
