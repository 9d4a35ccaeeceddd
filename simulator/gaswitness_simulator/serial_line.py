"""Serving virtual panels on a serial line, at the line's pace.

A port with a baud rate paces what it sends itself; on a pseudo-terminal bytes come and go here one
after another as they would over the line. No answer begins before a silence of T3.5, as far as the
machine's timer (about a millisecond) can tell.
"""

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from itertools import groupby
from operator import attrgetter
from typing import Final

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import AS_IT_IS, Outgoing, Shaper
from gaswitness_simulator.pacing import Arrivals, Departure, LineTimes
from gaswitness_simulator.quiet import Quiet
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.serial_line_echo import Echo
from gaswitness_simulator.serial_line_port import Port, open_port
from gaswitness_simulator.units import Units, units_of
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import LinkAddress, SerialLine

SETTLE_AT_LEAST_S: Final = 0.020
STALE_S: Final = 0.100
"""Converters on USB hand over the parts of a frame up to 16 ms apart, whatever T3.5 is."""
NO_PARITY_BITS: Final = 11
"""Bits of a character with two stop bits and no parity."""


def without_parity(line: SerialLine) -> SerialLine:
    """Settings with characters as long, for pseudo-terminals: some systems refuse them parity."""
    if line.bits_per_character != NO_PARITY_BITS:
        return line
    return SerialLine(line.baud, "none", 2)


class SerialLineServer:
    """Panels on a line. `address` is where the other end is, once it is open.

    `lost`, if given, is told once that the port has gone.
    """

    def __init__(
        self,
        served: VirtualDevice | Units,
        address: LinkAddress,
        now: Callable[[], float],
        *,
        shaper: Shaper = AS_IT_IS,
        connection: int = 0,
        lost: Callable[[Exception], None] | None = None,
    ) -> None:
        self.address = address
        self.now = now
        self.times = LineTimes.of(address.serial or SerialLine())
        try:
            self.line = RtuLine(units_of(served))
        except ValueError as error:
            raise GaswitnessError(str(error)) from error
        self._session = RtuSession(
            self.line,
            shaper=shaper,
            connection=connection,
            settle_s=max(self.times.t35_s, SETTLE_AT_LEAST_S),
            stale_s=max(self.times.t35_s, STALE_S),
        )
        self._lost = lost
        self._quiet = Quiet(self._silence)
        self._arrivals = Arrivals(self.times)
        self._echo = Echo()
        self._waiting: deque[bytes] = deque()
        self._leaving: Departure | None = None
        self._timers: set[asyncio.TimerHandle] = set()
        self._port: Port | None = None

    def open(self, *, by_thread: bool | None = None) -> None:
        """Open the port and begin to listen on the running loop.

        Raises GaswitnessError where the port cannot be had.
        """
        self._port = open_port(self.address, by_thread=by_thread)
        line = self.address.serial or SerialLine()
        if not self._port.paced:
            line = without_parity(line)
        self.address = replace(self.address, device=self._port.name, serial=line)
        self._port.start(self._heard, self._gone)

    def close(self) -> None:
        """Let go of the line; what was to be sent is not."""
        self._quiet.cancel()
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        self._waiting.clear()
        self._leaving = None
        if self._port is not None:
            self._port.close()
            self._port = None

    def _at(self, when_s: float, call: Callable[..., None], *values: object) -> None:
        """Call later, unless closed before."""

        def due() -> None:
            self._timers.discard(timer)
            call(*values)

        timer = asyncio.get_running_loop().call_at(when_s, due)
        self._timers.add(timer)

    def _gone(self, error: Exception) -> None:
        if self._port is not None and self._lost is not None:
            self._lost(GaswitnessError(f"{self._port.name} has gone: {error}. Plug it in again"))

    def _heard(self, data: bytes) -> None:
        if self._port is None:
            return
        now_s = asyncio.get_running_loop().time()
        if self._port.paced:
            self._feed(self._echo.without(data, now_s))
        else:
            self._at(self._arrivals.last_byte_s(now_s, len(data)), self._feed, data)

    def _feed(self, data: bytes) -> None:
        self._answer(self._session.receive(data, self.now()))
        self._quiet.after_bytes(self._session.patience)

    def _silence(self, quiet_s: float) -> None:
        self._answer(self._session.silence(self.now(), quiet_s))

    def _answer(self, sent: list[Outgoing]) -> None:
        begins_s = asyncio.get_running_loop().time() + self.times.t35_s
        # What is due together goes out as one: two timers due together may come either way round.
        for delay_s, due in groupby(sent, key=attrgetter("delay_s")):
            data = b"".join(outgoing.data for outgoing in due)
            if data:
                self._at(begins_s + delay_s, self._send, data)

    def _send(self, data: bytes) -> None:
        if self._port is None:
            return
        now_s = asyncio.get_running_loop().time()
        if self._port.paced:
            self._echo.sent(data, now_s, now_s + len(data) * self.times.character_s)
            self._port.write(data)
            return
        self._waiting.append(data)
        if self._leaving is None:
            self._send_on()

    def _send_on(self) -> None:
        """Let the bytes leave that are due, on a line without a pace of its own."""
        if self._port is None:
            return
        now_s = asyncio.get_running_loop().time()
        while self._leaving is not None or self._waiting:
            if self._leaving is None:
                self._leaving = Departure(self._waiting.popleft(), now_s)
            if due := self._leaving.due(now_s, self.times):
                self._port.write(due)
            next_s = self._leaving.next_s(self.times)
            if next_s is not None:
                self._at(next_s, self._send_on)
                return
            self._leaving = None
