"""One client's connection to virtual panels, sans-I/O: bytes in, bytes out, and when.

A panel alone on the network that has no power is silent. When it comes back it knows none of its
old connections: what comes in on one gets it closed.
"""

from typing import Protocol

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.mbap import Nonsense, Request, RequestReader, framed
from gaswitness_simulator.outgoing import AS_IT_IS, Finished, Outgoing, Shaper
from gaswitness_simulator.units import Units, units_of


class AnySession(Protocol):
    """What a server needs of the session behind each of its connections."""

    @property
    def patience(self) -> tuple[float, ...]:
        """After which silences, in seconds since the last byte, `silence` is to be called."""

    def receive(self, data: bytes, at_s: float) -> list[Outgoing]:
        """Take bytes that came at `at_s`."""

    def silence(self, at_s: float, quiet_s: float) -> list[Outgoing]:
        """Nothing has come for `quiet_s`."""


class PowerWatch:
    """Whether a panel alone on its network takes what comes on a connection made before."""

    def __init__(self, units: Units) -> None:
        self._panel = None if units.alone is None else units.alone.panel
        self._power_up = 0
        if self._panel is not None:
            self._power_up = self._panel.power_ups + (0 if self._panel.powered else 1)

    def verdict(self, at_s: float) -> list[Outgoing] | None:
        """What goes out instead of answers; None where the panel takes what comes."""
        panel = self._panel
        if panel is None:
            return None
        panel.advance(at_s)
        if not panel.powered:
            return []
        if panel.power_ups != self._power_up:
            return [Outgoing(0.0, b"", close=True)]
        return None


class Session:
    """State of one Modbus/TCP connection: what has come of a frame, and since which power-up.

    `may_write`: whether the client's role lets it; else its writes get exception 01.
    """

    patience: tuple[float, ...] = ()

    def __init__(
        self,
        served: VirtualDevice | Units,
        *,
        shaper: Shaper = AS_IT_IS,
        connection: int = 0,
        may_write: bool = True,
    ) -> None:
        self._units = units_of(served)
        self._shaper = shaper
        self._connection = connection
        self._may_write = may_write
        self._reader = RequestReader()
        self._power = PowerWatch(self._units)

    def receive(self, data: bytes, at_s: float) -> list[Outgoing]:
        """Take bytes that came at `at_s`. Answers go out in the order of their requests."""
        instead = self._power.verdict(at_s)
        if instead is not None:
            return instead
        alone = self._reader.alone(data)
        if alone is not None:
            return self._answer(alone, at_s)
        sent: list[Outgoing] = []
        try:
            for request in self._reader.feed(data):
                sent += self._answer(request, at_s)
        except Nonsense:
            sent.append(Outgoing(0.0, b"", close=True))
        return sent

    def silence(self, at_s: float, quiet_s: float) -> list[Outgoing]:  # noqa: ARG002  no use here
        return []

    def _answer(self, request: Request, at_s: float) -> list[Outgoing]:
        pdu = self._units.over_tcp(request.unit, request.pdu, at_s, may_write=self._may_write)
        response = None if pdu is None else framed(request, pdu)
        if self._shaper.at_rest:
            return [] if response is None else [Outgoing(0.0, response)]
        asked = framed(request, request.pdu)
        return self._shaper.shape(
            Finished("mbap", self._connection, request.unit, asked, response, at_s)
        )
