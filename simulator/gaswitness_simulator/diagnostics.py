"""Counters, event log and listen-only mode of one unit on a serial line: functions 08, 0B and 0C.

MODBUS Application Protocol Specification V1.1b3, clauses 6.8 to 6.10. Sans-I/O. The meaning of the
single counters and event bits is from memory of those clauses, where the tests name no source.
"""

import struct
from collections import deque
from collections.abc import Callable
from typing import Final

from gaswitness_simulator.refusal import (
    DEVICE_FAILURE,
    ILLEGAL_FUNCTION,
    ILLEGAL_VALUE,
    Refused,
)

LONGEST_LOG: Final = 64
FETCHES: Final = frozenset({0x0B, 0x0C})
"""Functions that read the event counter and do not count as events themselves."""

RECEIVED: Final = 0x80
RECEIVED_WITH_ERROR: Final = 0x02
RECEIVED_LISTENING: Final = 0x20
RECEIVED_BROADCAST: Final = 0x40
SENT: Final = 0x40
SENT_READ_EXCEPTION: Final = 0x01
SENT_ABORT_EXCEPTION: Final = 0x02
SENT_BUSY_EXCEPTION: Final = 0x04
SENT_LISTENING: Final = 0x20
BEGAN_LISTENING: Final = 0x04
RESTARTED: Final = 0x00

RESTART: Final = 0x0001
LISTEN_ONLY: Final = 0x0004
CLEARS_LOG: Final = 0xFF00


class Diagnostics:
    """What a unit counts since power-up, restart, or the clearing of its counters (modulo 65536).

    `bus_messages`: frames heard, for whomever. `bus_errors`: frames lost to noise. `exceptions`:
    made, those to a broadcast too, which nobody hears. `messages`: for this unit, or for all.
    `silences`: of those, the ones without answer. `busy`: answered with exception 06.
    """

    def __init__(self) -> None:
        self.listening = False
        self.log: deque[int] = deque(maxlen=LONGEST_LOG)
        self.clear()
        count: dict[int, Callable[[], int]] = {
            0x02: lambda: 0,  # the diagnostic register; this panel keeps no flags in it
            0x0B: lambda: self.bus_messages,
            0x0C: lambda: self.bus_errors,
            0x0D: lambda: self.exceptions,
            0x0E: lambda: self.messages,
            0x0F: lambda: self.silences,
            0x10: lambda: 0,  # negative acknowledge: nothing is programmed over Modbus
            0x11: lambda: self.busy,
            0x12: lambda: 0,  # overrun: the line's own driver has room enough
        }
        self._counts = count

    def clear(self) -> None:
        """Set every counter to 0."""
        self.bus_messages = self.bus_errors = self.exceptions = 0
        self.messages = self.silences = self.busy = self.events = 0

    def heard(self) -> None:
        """A whole frame was on the line, for whomever."""
        self.bus_messages += 1

    def noise(self) -> None:
        """Bytes were on the line that made no frame."""
        self.bus_errors += 1
        listening = RECEIVED_LISTENING if self.listening else 0
        self.log.appendleft(RECEIVED | RECEIVED_WITH_ERROR | listening)

    def asked(self, *, broadcast: bool) -> None:
        """The frame is for this unit."""
        self.messages += 1
        event = RECEIVED | (RECEIVED_BROADCAST if broadcast else 0)
        self.log.appendleft(event | (RECEIVED_LISTENING if self.listening else 0))

    def settled(self, function: int, answer: bytes | None, *, sent: bool) -> None:
        """The request was dealt with; `answer` is None where none was even made."""
        code = answer[1] if answer is not None and answer[0] & 0x80 else 0
        event = SENT | (SENT_LISTENING if self.listening else 0)
        if code:
            self.exceptions += 1
            self.busy += code == 6
            event |= _sent_with(code)
        elif answer is not None and function not in FETCHES:
            self.events += 1
        self.silences += not sent
        self.log.appendleft(event)

    def wakes(self, pdu: bytes) -> bool:
        """Whether this is the one request that a listening unit acts on."""
        return pdu[:3] == struct.pack(">BH", 0x08, RESTART)

    def answer(self, pdu: bytes) -> bytes | None:
        """The PDU that answers function 08, 0B or 0C; None is silence. Raises Refused."""
        if pdu[0] == 0x08:
            return self._diagnose(pdu)
        if len(pdu) != 1:
            raise Refused(ILLEGAL_VALUE)
        if pdu[0] == 0x0B:
            return event_counter(0, self.events)
        return event_log(0, self.events, self.bus_messages, bytes(self.log))

    def _diagnose(self, pdu: bytes) -> bytes | None:
        if len(pdu) < 3:
            raise Refused(ILLEGAL_VALUE)
        asked = int.from_bytes(pdu[1:3], "big")
        data = pdu[3:]
        if asked == 0x0000:
            if len(data) < 2 or len(data) % 2:
                raise Refused(ILLEGAL_VALUE)
            return pdu
        if asked not in self._counts and asked not in (RESTART, LISTEN_ONLY, 0x0A, 0x14):
            raise Refused(ILLEGAL_FUNCTION)
        if len(data) != 2:
            raise Refused(ILLEGAL_VALUE)
        value = int.from_bytes(data, "big")
        if value != 0 and not (asked == RESTART and value == CLEARS_LOG):
            raise Refused(ILLEGAL_VALUE)
        if asked == RESTART:
            return self._restart(pdu, clears_log=value == CLEARS_LOG)
        if asked == LISTEN_ONLY:
            self.listening = True
            self.log.appendleft(BEGAN_LISTENING)
            return None
        if asked == 0x0A:
            self.clear()
        count = self._counts.get(asked)
        return pdu if count is None else pdu[:3] + (count() & 0xFFFF).to_bytes(2, "big")

    def _restart(self, pdu: bytes, *, clears_log: bool) -> bytes | None:
        was_listening = self.listening
        self.listening = False
        self.clear()
        if clears_log:
            self.log.clear()
        self.log.appendleft(RESTARTED)
        return None if was_listening else pdu


def event_counter(status: int, events: int) -> bytes:
    """The PDU that answers function 0B; status FFFF is busy with an earlier command."""
    return struct.pack(">BHH", 0x0B, status, events & 0xFFFF)


def event_log(status: int, events: int, messages: int, log: bytes) -> bytes:
    """The PDU that answers function 0C; the latest event comes first."""
    counts = (status, events & 0xFFFF, messages & 0xFFFF)
    return struct.pack(">BBHHH", 0x0C, 6 + len(log), *counts) + log


def _sent_with(code: int) -> int:
    if code <= ILLEGAL_VALUE:
        return SENT_READ_EXCEPTION
    return SENT_ABORT_EXCEPTION if code == DEVICE_FAILURE else SENT_BUSY_EXCEPTION
