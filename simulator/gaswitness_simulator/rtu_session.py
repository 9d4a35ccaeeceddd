"""RTU frames of a serial line or of one TCP connection: bytes in, bytes out, when. Sans-I/O."""

from collections.abc import Iterable
from typing import Final

from gaswitness_simulator.outgoing import AS_IT_IS, Finished, Outgoing, Shaper
from gaswitness_simulator.rtu import Heard, RtuReader, rtu_framed
from gaswitness_simulator.rtu_line import RtuLine

SETTLE_OVER_TCP_S: Final = 0.02
STALE_OVER_TCP_S: Final = 1.0
"""Segments of one frame come apart by what the network does, not by what the line did."""


class RtuSession:
    """What has come of a frame. `settle_s` without a byte may end one; one whose rest has not come
    `stale_s` after its last byte is given up.
    """

    def __init__(
        self,
        line: RtuLine,
        *,
        shaper: Shaper = AS_IT_IS,
        connection: int = 0,
        settle_s: float = SETTLE_OVER_TCP_S,
        stale_s: float = STALE_OVER_TCP_S,
    ) -> None:
        self._line = line
        self._shaper = shaper
        self._connection = connection
        self._settle_s = settle_s
        self._stale_s = stale_s
        self._reader = RtuReader(line.stations)

    @property
    def patience(self) -> tuple[float, ...]:
        """After which silences, in seconds since the last byte, `silence` is to be called."""
        return (self._settle_s, self._stale_s) if self._reader.waits else ()

    def receive(self, data: bytes, at_s: float) -> list[Outgoing]:
        """Take bytes that came at `at_s`. Answers go out in the order of their requests."""
        return self._sent(self._reader.feed(data), at_s)

    def silence(self, at_s: float, quiet_s: float) -> list[Outgoing]:
        """Nothing has come for `quiet_s`."""
        sent = self._sent(self._reader.silence(), at_s)
        if quiet_s >= self._stale_s and self._reader.give_up():
            self._line.noise(at_s)
        return sent

    def _sent(self, frames: Iterable[Heard], at_s: float) -> list[Outgoing]:
        sent: list[Outgoing] = []
        for heard in frames:
            if heard.after_noise:
                self._line.noise(at_s)
            pdu = self._line.take(heard.unit, heard.pdu, at_s)
            response = None if pdu is None else rtu_framed(heard.unit, pdu)
            sent += self._shaper.shape(
                Finished("rtu", self._connection, heard.unit, heard.frame, response, at_s)
            )
        return sent
