"""RTU, on a serial line or carried over TCP: which bytes are the reply, and how long the line must
be silent. `rtu_debt` says how a late answer is kept from being taken for the next. No I/O."""

from typing import Final

from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.frames import Adu
from gaswitness_probe.rtu_debt import Debts
from gaswitness_probe.rtu_frames import (
    LONGEST_FRAME,
    SHORTEST_FRAME,
    any_frame,
    due_length,
    find_reply,
    first_frame,
    framed,
    whole,
)
from gaswitness_sitefile.link_address import SerialLine

FASTEST_COUNTED_BAUD: Final = 19200
SILENCE_ABOVE_S: Final = 0.001750
"""T3.5 is fixed above 19200 baud (serial-line specification V1.02 clause 2.5.1.1)."""

UNKNOWN_LINE: Final = SerialLine(9600)
"""Taken for the line behind a converter, whose settings the probe does not see: the slower of the
two speeds that every device has (V1.02 clause 3.2)."""

JUST_LISTENED_S: Final = 0.0005
MOST_BYTES: Final = 4096
"""Without a reply among them, after which a flood is not read on."""

GLITCHES: Final = frozenset({0x00, 0xFF})
MOST_GLITCHES: Final = 2
"""What a line can seem to say as its driver lets go (common practice, no source)."""

RAGGED_S: Final = 0.02
"""A burst that was not asked for is heard to its end, as far as converters and busy machines hand
it over in parts; USB converters wait up to 16 ms (common practice, no source)."""

LONGEST_BABBLE_S: Final = 2.0
"""How long silence is waited for on a line that never falls silent."""


def silence_s(line: SerialLine) -> float:
    """T3.5, the silence between two frames, in seconds."""
    if line.baud > FASTEST_COUNTED_BAUD:
        return SILENCE_ABOVE_S
    return 3.5 * line.bits_per_character / line.baud


class RtuFraming:
    """One line. `line` is None where the frames travel over TCP.

    `timeout_s` counts from the request's last byte to the reply's last, the time on the wire aside.
    """

    def __init__(self, line: SerialLine | None, timeout_s: float) -> None:
        self.notes: list[LinkProblem] = []
        self.quiet_until_s = 0.0
        self.wire_s = 0.0
        self.silence_shows_break = line is None
        self.silence_s = silence_s(line or UNKNOWN_LINE)
        self.debts = Debts(timeout_s)
        self._character_s = 0.0 if line is None else line.bits_per_character / line.baud
        self._pending = b""
        self._request = self._reply = b""
        self._answered = False
        self._sent_s = self._heard_s = self._babble_s = float("-inf")

    def opened(self) -> None:
        self._pending = b""

    def before(self, now_s: float) -> None:
        self._babble_s = max(now_s, self.quiet_until_s) + LONGEST_BABBLE_S
        if now_s - self.quiet_until_s > JUST_LISTENED_S:
            self.quiet_until_s = now_s + self.silence_s

    def tag(self, unit: int, pdu: bytes) -> bytes | None:
        found = self.debts.tag(framed(unit, pdu))
        return None if found is None else found[1:-2]

    def begin(self, unit: int, pdu: bytes, now_s: float) -> bytes:
        if self._pending:
            again = self._pending == self._reply
            deviation = Deviation.REPEATED if again else Deviation.UNASKED
            detail = "while nothing was asked"
            self.notes.append(LinkProblem(deviation, self._pending, detail))
        self._pending = self._reply = b""
        self._answered = False
        self._request = request = framed(unit, pdu)
        due = due_length(request) or LONGEST_FRAME
        self.wire_s = self._character_s * (len(request) + due)
        self._sent_s = now_s
        return request

    def pdu_of(self, request: bytes) -> bytes:
        return request[1:-2]

    def feed(self, data: bytes, now_s: float) -> None:
        self._pending += data
        self._heard_s = now_s

    def take(self) -> Adu | LinkProblem | None:
        while self._pending:
            data, request = self._pending, self._request
            if len(data) < len(request) and request.startswith(data):
                return None  # an echo that is still coming
            if data.startswith(request):
                self._echo()
                continue
            found = find_reply(data, request)
            end = None if found is not None and found[0] == 0 else first_frame(data)
            if end is not None and self._late(data[:end]):
                self._pending = data[end:]
            elif found is not None:
                return self._found(*found)
            elif end is not None:
                return self._cut(0, end)
            else:
                return self._spoilt()
        return None

    def _echo(self) -> None:
        self._pending = self._pending[len(self._request) :]
        self.notes.append(LinkProblem(Deviation.LOCAL_ECHO, self._request, "of the request"))

    def _found(self, begin: int, end: int) -> Adu | LinkProblem:
        frame = self._pending[begin:end]
        if self.debts.could_be_owed(frame):
            self._before_reply(begin)
            self._pending = self._pending[end:]
            detail = "an earlier request went unanswered, and its reply would look the same"
            return LinkProblem(Deviation.DOUBTFUL, frame, detail)
        return self._cut(begin, end)

    def _cut(self, begin: int, end: int) -> Adu:
        frame = self._pending[begin:end]
        self._before_reply(begin)
        self._pending = self._pending[end:]
        self._reply = frame
        self._answered = frame[0] == self._request[0]
        return Adu(0, frame[0], frame[1:-2], frame)

    def _before_reply(self, begin: int) -> None:
        if begin:
            stray = self._pending[:begin]
            self.notes.append(LinkProblem(Deviation.STRAY_BEFORE, stray, f"{begin} bytes"))

    def _late(self, frame: bytes) -> bool:
        age_s = self.debts.late(frame, self._heard_s)
        if age_s is not None:
            detail = f"{age_s:.3g} s after its request"
            self.notes.append(LinkProblem(Deviation.LATE, frame, detail))
        return age_s is not None

    def _spoilt(self) -> LinkProblem | None:
        """A frame as long as it says, at its place, with a wrong CRC: no use waiting for more."""
        data, due = self._pending, due_length(self._request)
        if len(data) > MOST_BYTES:
            return self._problem(Deviation.WRONG_CRC, f"{len(data)} bytes, no reply among them")
        if due is None or len(data) < due or data[:2] != self._request[:2] or data[2] != due - 5:
            return None
        self._answered = True
        if whole(data):
            detail = f"{due} bytes were due, {len(data)} came"
            return self._problem(Deviation.TOO_LONG, detail)
        return self._problem(Deviation.WRONG_CRC)

    def _problem(self, deviation: Deviation, detail: str = "") -> LinkProblem:
        return LinkProblem(deviation, self.unfinished(), detail)

    def unfinished(self) -> bytes:
        data, self._pending = self._pending, b""
        return data

    def silent(self, waited: str) -> Adu | LinkProblem:
        data, request = self._pending, self._request
        found = None if request.startswith(data) else any_frame(data)
        if found is not None:
            begin, end = found
            if not self.debts.could_be_owed(data[begin:end]):
                return self._cut(begin, end)
            self._before_reply(begin)
            self._late(data[begin:end])
            self._pending = data = data[end:]
        if not data:
            return LinkProblem(Deviation.NO_REPLY, detail=f"nothing that fits came {waited}")
        due = due_length(request)
        if len(data) < SHORTEST_FRAME:
            return self._problem(Deviation.TRUNCATED, f"the rest did not come {waited}")
        if due is not None and len(data) < due and data[:2] == request[:2]:
            return self._problem(Deviation.TRUNCATED, f"{due} bytes were due {waited}")
        detail = f"no frame with a right CRC in {len(data)} bytes {waited}"
        return self._problem(Deviation.WRONG_CRC, detail)

    def tail(self, problem: LinkProblem | None) -> LinkProblem | None:
        """Bytes that run on after a reply make it another frame, and a value could be right by
        chance alone: only what surely stands apart leaves the reply as it is."""
        data = self.unfinished()
        if not data:
            return None
        if data == self._reply:
            return LinkProblem(Deviation.REPEATED, data, "the same frame again")
        if problem is not None:
            return LinkProblem(Deviation.UNASKED, data, "after all that")
        if whole(data) or (len(data) <= MOST_GLITCHES and GLITCHES.issuperset(data)):
            return LinkProblem(Deviation.UNASKED, data, "after the reply")
        detail = f"bytes run on after what would be the reply: {len(data)} more"
        return LinkProblem(Deviation.TOO_LONG, self._reply + data, detail)

    def overheard(self, data: bytes, now_s: float) -> None:
        self._heard_s = now_s
        self._pending = (self._pending + data)[-MOST_BYTES:]
        end = first_frame(self._pending)
        if end is not None and self._late(self._pending[:end]):
            self._pending = self._pending[end:]
            if not self.debts.owed:
                self.quiet_until_s = now_s
        rest_s = max(self.silence_s, RAGGED_S) if self._pending else self.silence_s
        silent_s = max(self.quiet_until_s, now_s + rest_s)
        self.quiet_until_s = min(silent_s, max(self._babble_s, self.quiet_until_s))

    def concluded(self, problem: LinkProblem | None, *, refused: bool, now_s: float) -> None:
        debts, request = self.debts, self._request
        self.quiet_until_s = max(now_s, self._heard_s) + self.silence_s
        if problem is None:
            debts.answered(request, well=not refused)
        elif problem.deviation is Deviation.DOUBTFUL:
            # in order: the frame answered either the owed one, and this one is owed, or this one
            debts.forgive(request[0])
            if debts.fit_tag(request[0], request) is not None:
                debts.owe(request, self._sent_s)
            self._wait_out()
        elif debts.owed or not self._answered:
            debts.owe(request, self._sent_s)
            self._wait_out()
        self._babble_s = self.quiet_until_s + LONGEST_BABBLE_S

    def _wait_out(self) -> None:
        quiet_s = self._sent_s + self.wire_s + self.debts.quiet_s
        self.quiet_until_s = max(self.quiet_until_s, quiet_s)

    def lost(self, problem: LinkProblem | None) -> bool:  # noqa: ARG002  # any silence mends RTU
        return False
