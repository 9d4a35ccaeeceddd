"""What a client asks of a framing, and the framing of Modbus/TCP: transaction ids tell which reply
belongs to which request. No I/O; time is an argument, in seconds of the event loop."""

from typing import Final, Protocol

from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.frames import HEADER_BYTES, Adu, Stream, encode


class Framing(Protocol):
    """One client's conversation: how requests become bytes, and which bytes are the reply.

    `notes`: deviations beside the reply; the client empties it before it listens for a new request.
    `quiet_until_s`: before this instant no request may go; who waits, listens, and tells
    `overheard` what came. `wire_s`: what the bytes of request and reply take on the line beyond the
    time-out. `silence_shows_break`: whether silence may mean that the connection is gone.
    """

    notes: list[LinkProblem]
    quiet_until_s: float
    wire_s: float
    silence_shows_break: bool

    def opened(self) -> None:
        """A connection stands anew; bytes of the one before cannot come any more."""
        ...

    def before(self, now_s: float) -> None:
        """The client is about to ask: look whether the line must be listened to first."""
        ...

    def tag(self, unit: int, pdu: bytes) -> bytes | None:
        """A PDU to ask beforehand, where a late reply could be taken for the reply to this one."""
        ...

    def begin(self, unit: int, pdu: bytes, now_s: float) -> bytes:
        """The frame of a request that goes now."""
        ...

    def pdu_of(self, request: bytes) -> bytes:
        """The PDU of a request's frame."""
        ...

    def feed(self, data: bytes, now_s: float) -> None:
        """Bytes that came while the reply was awaited."""
        ...

    def take(self) -> Adu | LinkProblem | None:
        """The reply, or a problem that ends the wait for it; None while neither is there."""
        ...

    def unfinished(self) -> bytes:
        """Bytes that came and make no frame so far."""
        ...

    def silent(self, waited: str) -> Adu | LinkProblem:
        """The time is over: what there is instead of a reply."""
        ...

    def tail(self, problem: LinkProblem | None) -> LinkProblem | None:
        """Bytes after the exchange that came to this. `reply too long` spoils a reply that looked
        good; any other deviation stands beside it."""
        ...

    def overheard(self, data: bytes, now_s: float) -> None:
        """Bytes that came while nothing was awaited."""
        ...

    def concluded(self, problem: LinkProblem | None, *, refused: bool, now_s: float) -> None:
        """The exchange has come to this; `refused`: by a well-formed exception."""
        ...

    def lost(self, problem: LinkProblem | None) -> bool:
        """Whether the stream cannot be trusted any more and the connection must be made anew."""
        ...


class MbapFraming:
    """Modbus/TCP. Late replies carry the id of their request, so the line is never waited out."""

    def __init__(self) -> None:
        self.silence_shows_break = True
        self.notes: list[LinkProblem] = []
        self.quiet_until_s = float("-inf")
        self.wire_s = 0.0
        self.transaction = 0
        self._stream = Stream()
        self._taken = b""
        self._issued = 0
        self._unanswered: set[int] = set()

    def opened(self) -> None:
        self._stream = Stream()
        self._issued = 0

    def before(self, now_s: float) -> None:  # noqa: ARG002  # the line is never waited out
        return

    def tag(self, unit: int, pdu: bytes) -> bytes | None:  # noqa: ARG002  # ids tell replies apart
        return None

    def begin(self, unit: int, pdu: bytes, now_s: float) -> bytes:  # noqa: ARG002  # as above
        self.transaction = transaction = (self.transaction + 1) & 0xFFFF
        self._unanswered.discard(transaction)
        return encode(transaction, unit, pdu)

    def pdu_of(self, request: bytes) -> bytes:
        return request[HEADER_BYTES:]

    def feed(self, data: bytes, now_s: float) -> None:  # noqa: ARG002  # as above
        self._stream.feed(data)

    def take(self) -> Adu | LinkProblem | None:
        while True:
            found = self._stream.take()
            if isinstance(found, Adu) and found.transaction != self.transaction:
                self.notes.append(self._stray(found))
            else:
                self._taken = found.raw if found is not None else b""
                return found

    def _stray(self, found: Adu) -> LinkProblem:
        age = (self.transaction - found.transaction) & 0xFFFF
        if not 0 < age <= self._issued:
            detail = f"asked with {self.transaction:04X}, answered with {found.transaction:04X}"
            return LinkProblem(Deviation.WRONG_TRANSACTION, found.raw, detail)
        if found.transaction in self._unanswered:
            self._unanswered.discard(found.transaction)
            return LinkProblem(Deviation.LATE, found.raw, f"answers {age} requests before")
        return LinkProblem(Deviation.REPEATED, found.raw, f"answers {age} requests before")

    def unfinished(self) -> bytes:
        return self._stream.pending

    def silent(self, waited: str) -> Adu | LinkProblem:
        if self._stream.pending:
            raw = self._stream.pending
            return LinkProblem(Deviation.TRUNCATED, raw, f"the rest did not come {waited}")
        for note in self.notes:
            if note.deviation in (Deviation.WRONG_TRANSACTION, Deviation.REPEATED):
                return LinkProblem(Deviation.WRONG_TRANSACTION, note.raw, note.detail)
        return LinkProblem(Deviation.NO_REPLY, detail=f"nothing came {waited}")

    def tail(self, problem: LinkProblem | None) -> LinkProblem | None:
        """Bytes put in amid a reply push its end out behind the length that it states, and every
        value after them is another one: only a whole frame leaves the reply before it as it is."""
        rest = self._stream.pending
        if problem is not None or not rest or self._stream.starts_whole():
            return None
        detail = f"bytes run on after what would be the reply: {len(rest)} more"
        return LinkProblem(Deviation.TOO_LONG, self._taken + rest, detail)

    def overheard(self, data: bytes, now_s: float) -> None:  # noqa: ARG002  # as above
        self._stream.feed(data)

    def concluded(self, problem: LinkProblem | None, *, refused: bool, now_s: float) -> None:  # noqa: ARG002  # as above
        self._issued += 1
        if problem is not None and problem.deviation in _MAY_COME_LATE:
            self._unanswered.add(self.transaction)

    def lost(self, problem: LinkProblem | None) -> bool:
        if problem is None:
            return False
        return problem.deviation is not Deviation.NO_REPLY and bool(self._stream.pending)


_MAY_COME_LATE: Final = frozenset(
    {Deviation.NO_REPLY, Deviation.WRONG_TRANSACTION, Deviation.ABANDONED}
)
