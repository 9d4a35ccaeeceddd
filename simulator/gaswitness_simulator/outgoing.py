"""What goes out on a link, and when; and the place where link faults take hold of it.

Types only: the session makes `Finished` frames, a `Shaper` turns each into what is really sent.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal, Protocol

Framing = Literal["mbap", "rtu"]


@dataclass(frozen=True, slots=True)
class Finished:
    """A request and its answer, both whole frames as on the wire (MBAP or CRC included).

    `connection` numbers the connections and lines of a process, none twice. `unit` is the one
    asked for. `response` is None where the panel is silent: a broadcast, a unit that is not there.
    `at_s` is the time of the run at which the request was complete.
    """

    framing: Framing
    connection: int
    unit: int
    request: bytes
    response: bytes | None
    at_s: float


@dataclass(frozen=True, slots=True)
class Outgoing:
    """Bytes to send `delay_s` from now; then the connection may close, or be reset (TCP RST).

    Delays are seconds of the link's clock: a panel played faster still has the wire's pace.
    """

    delay_s: float
    data: bytes
    close: bool = False
    reset: bool = False


class Admission(StrEnum):
    """What becomes of a connection that has just been made."""

    ACCEPT = "accept"
    REFUSE = "refuse"
    DROP_OLDEST = "throw out the oldest"


class Shaper(Protocol):
    """Decides what is really sent for each finished answer. Pure: it waits for nothing itself."""

    @property
    def at_rest(self) -> bool:
        """Whether every answer goes out as it is: then there is no need to ask."""

    @property
    def idle_limit_s(self) -> float | None:
        """After how many seconds without a byte from it a connection is closed; None is never."""

    def connecting(self, connection: int, others: int) -> Admission:
        """A TCP or TLS connection comes while `others` are open."""

    def gone(self, connection: int) -> None:
        """The connection is closed, whoever closed it."""

    def shape(self, finished: Finished) -> list[Outgoing]:
        """What goes out, in order. Nothing is silence."""


class AsItIs:
    """The shaper of a link without faults."""

    @property
    def at_rest(self) -> bool:
        return True

    @property
    def idle_limit_s(self) -> float | None:
        return None

    def connecting(self, connection: int, others: int) -> Admission:  # noqa: ARG002  the Protocol's
        return Admission.ACCEPT

    def gone(self, connection: int) -> None:
        pass

    def shape(self, finished: Finished) -> list[Outgoing]:
        return [] if finished.response is None else [Outgoing(0.0, finished.response)]


AS_IT_IS: Final = AsItIs()
