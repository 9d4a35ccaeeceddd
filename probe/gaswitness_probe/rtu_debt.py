"""Which requests on an RTU line are still owed an answer, and what that makes doubtful. Pure.

RTU has no transaction id: a reply shows its unit, its function and its length, no more, and a late
answer looks like the answer to the next request. Two things keep it from being taken for that.

Waiting. After a request that was not answered the line is heard out until nothing can come any
more: QUIET_FACTOR times the time-out, or times the latest answer ever seen on this line where that
is more, counted from the request. An answer that comes in that time is named, and makes the wait
longer from then on. This alone rests on a guess about the slowest answer.

Tags. A unit answers in the order in which it was asked, so a reply that no owed request can have
(of another function, or another length) proves that the owed ones are past. Where the next request
could not be told from an owed one, another read is asked first, of a function or count unlike all
owed ones, one that this unit has answered well before. It is an exchange like any other, in
evidence and counts. This rests on no guess about time.

Where nothing can serve as a tag, the first reply that could be an owed one is not taken (`may be a
late reply`), the line is heard out once more, and the next one counts: a late answer would have
come in one of the two waits.
"""

from dataclasses import dataclass
from typing import Final

from gaswitness_probe.rtu_frames import due_length, whole

QUIET_FACTOR: Final = 2.0
LONGEST_QUIET_S: Final = 30.0
MOST_KNOWN: Final = 8
MOST_OWED: Final = 16


@dataclass(frozen=True, slots=True)
class Owed:
    """A request without an answer; `length` of its good reply, None where that is not known."""

    request: bytes
    length: int | None
    sent_s: float

    @classmethod
    def of(cls, request: bytes, sent_s: float) -> "Owed":
        return cls(request, due_length(request), sent_s)

    def could_be(self, frame: bytes) -> bool:
        """Whether the frame can be the answer to this request."""
        unit, function = self.request[0], self.request[1]
        if frame[0] != unit or frame[1] & 0x7F != function:
            return False
        return bool(frame[1] & 0x80) or self.length is None or len(frame) == self.length

    def like(self, request: bytes) -> bool:
        """Whether good replies to the two cannot be told apart."""
        length = due_length(request)
        if self.request[:2] != request[:2]:
            return False
        return length is None or self.length is None or length == self.length


class Debts:
    """What is owed on one line, and which reads its units are known to answer."""

    def __init__(self, timeout_s: float) -> None:
        self.owed: list[Owed] = []
        self.latest_s = 0.0
        self._timeout_s = timeout_s
        self._known: dict[tuple[int, int, int], bytes] = {}

    @property
    def quiet_s(self) -> float:
        """How long after an unanswered request the line is heard out, in seconds."""
        return min(QUIET_FACTOR * max(self._timeout_s, self.latest_s), LONGEST_QUIET_S)

    def owe(self, request: bytes, sent_s: float) -> None:
        """This request was not answered."""
        self.owed = [*self.owed, Owed.of(request, sent_s)][-MOST_OWED:]

    def could_be_owed(self, frame: bytes) -> bool:
        """Whether the frame can be a late answer."""
        return any(owed.could_be(frame) for owed in self.owed)

    def late(self, frame: bytes, now_s: float) -> float | None:
        """Take a frame that came unasked as the answer to the oldest request that it can answer,
        and all older ones as past; its age in seconds, None where it answers none."""
        if not whole(frame):
            return None
        for at, owed in enumerate(self.owed):
            if owed.could_be(frame):
                age_s = now_s - owed.sent_s
                self.latest_s = max(self.latest_s, age_s)
                unit = frame[0]
                # One answer pays one request: a later one of the same shape stays owed.
                self.owed = [
                    one for n, one in enumerate(self.owed) if n > at or one.request[0] != unit
                ]
                return age_s
        return None

    def answered(self, request: bytes, *, well: bool) -> None:
        """A reply came that no owed request of this unit can have: those are past."""
        self.owed = [owed for owed in self.owed if owed.request[0] != request[0]]
        length = due_length(request)
        if well and length is not None:
            key = (request[0], request[1], length)
            self._known.pop(key, None)
            self._known[key] = request
            if len(self._known) > MOST_KNOWN:
                del self._known[next(iter(self._known))]

    def tag(self, request: bytes) -> bytes | None:
        """A known request that proves the line clear for this one; None where none is needed, or
        none is known."""
        if any(owed.like(request) for owed in self.owed):
            return self.fit_tag(request[0])
        return None

    def fit_tag(self, unit: int, besides: bytes | None = None) -> bytes | None:
        """The shortest known request to the unit whose reply no owed request can have, nor
        `besides`; of a function that is not owed before others, as exceptions tell no length."""
        owed = [*self.owed, *([] if besides is None else [Owed.of(besides, 0.0)])]
        fit = [
            known
            for known in self._known.values()
            if known[0] == unit and not any(one.like(known) for one in owed)
        ]
        functions = {one.request[1] for one in owed}
        return min(fit, key=lambda known: (known[1] in functions, len(known)), default=None)

    def forgive(self, unit: int) -> None:
        """The unit's owed requests count as past, by waiting alone."""
        self.owed = [owed for owed in self.owed if owed.request[0] != unit]
