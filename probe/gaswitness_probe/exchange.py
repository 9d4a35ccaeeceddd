"""One request and what came of it, and the count of many. No I/O, no verdicts."""

from array import array
from collections import Counter
from dataclasses import dataclass, field
from statistics import median
from typing import Final

from gaswitness_probe.deviation import (
    Deviation,
    LinkProblem,
    exception_words,
    spaced,
)
from gaswitness_probe.errors import LinkError, Malformed, NoConnection, NoReply, Refused


@dataclass(frozen=True, slots=True)
class Exchange:
    """One request and its reply, in whole frames as sent and received.

    `sent_s`, `received_s`: seconds of the run; the register was read at some instant between them.
    `request` is empty where nothing could be sent. `pdu` is the reply's, None where there is no
    usable one. An exception answered by the panel is a well-formed reply: `exception_code` is set
    and `problem` is None. `notes`: deviations beside the reply that do not spoil it, such as late
    replies to earlier requests. `sign`: it was asked for the line's sake, to tell late replies
    apart. `unsent`: the PDU that could not be sent.
    """

    seq: int
    sent_s: float
    received_s: float
    request: bytes
    response: bytes
    pdu: bytes | None
    problem: LinkProblem | None = None
    exception_code: int | None = None
    notes: tuple[LinkProblem, ...] = ()
    sign: bool = False
    unsent: bytes = b""

    @property
    def ok(self) -> bool:
        """Whether the panel gave what was asked."""
        return self.problem is None and self.exception_code is None

    @property
    def payload(self) -> bytes:
        """The data bytes of a good reply to a read."""
        if self.pdu is None or not self.ok:
            raise ValueError("a failed exchange has no payload")
        return self.pdu[2:]

    @property
    def words(self) -> str:
        """What came of it, for people."""
        if self.problem is not None:
            return str(self.problem)
        if self.exception_code is not None:
            return f"{exception_words(self.exception_code)} [{spaced(self.response)}]"
        return "answered"

    def required(self) -> bytes:
        """The reply's PDU.

        Raises the LinkError that fits where the panel did not give what was asked.
        """
        if self.pdu is not None and self.ok:
            return self.pdu
        if self.exception_code is not None:
            function = self.pdu[0] & 0x7F if self.pdu else 0
            raise Refused(self.words, function=function, code=self.exception_code)
        raise _error(self.problem, self.words)


def _error(problem: LinkProblem | None, words: str) -> LinkError:
    if problem is None:
        return LinkError(words)
    if problem.deviation in (Deviation.NO_CONNECTION, Deviation.CLOSED, Deviation.RESET):
        return NoConnection(words)
    if problem.deviation is Deviation.NO_REPLY:
        return NoReply(words)
    return Malformed(words, problem.raw)


KEPT_EXAMPLES: Final = 20
"""Exchanges kept for each deviation; the count goes on."""


@dataclass(slots=True)
class LinkStatistics:
    """What a link did, counted. `response_times_s` in seconds of the event loop, as time-outs."""

    requests: int = 0
    replies: int = 0
    connections: int = 0
    failed_connections: int = 0
    exceptions: Counter[int] = field(default_factory=Counter)
    deviations: Counter[Deviation] = field(default_factory=Counter)
    examples: dict[Deviation, list[Exchange]] = field(default_factory=dict)
    response_times_s: "array[float]" = field(default_factory=lambda: array("d"))

    @property
    def timeouts(self) -> int:
        """Requests that nothing answered in time."""
        return self.deviations[Deviation.NO_REPLY]

    @property
    def reconnects(self) -> int:
        """Connections made after the first."""
        return max(0, self.connections - 1)

    @property
    def response_s(self) -> tuple[float, float, float] | None:
        """Shortest, median and longest response time; None where nothing was answered."""
        times = self.response_times_s
        return (min(times), median(times), max(times)) if times else None

    def count(self, exchange: Exchange, took_s: float) -> None:
        """Take an exchange into account."""
        if exchange.request:
            self.requests += 1
        if exchange.pdu is not None:
            self.replies += 1
            self.response_times_s.append(took_s)
        if exchange.exception_code is not None:
            self.exceptions[exchange.exception_code] += 1
        if exchange.problem is not None:
            self._count_deviation(exchange.problem, exchange)
        for note in exchange.notes:
            self._count_deviation(note, exchange)

    def _count_deviation(self, problem: LinkProblem, exchange: Exchange) -> None:
        self.deviations[problem.deviation] += 1
        kept = self.examples.setdefault(problem.deviation, [])
        if len(kept) < KEPT_EXAMPLES:
            kept.append(exchange)
