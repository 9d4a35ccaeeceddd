"""Names and plain words for all that a link can do wrong, and for the protocol's exceptions."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Deviation(StrEnum):
    """How a reply, or its absence, departs from the protocol."""

    NO_CONNECTION = "no connection"
    CLOSED = "closed by the panel"
    RESET = "connection broken"
    NO_REPLY = "no reply"
    ABANDONED = "abandoned by the probe"
    NOT_MODBUS = "not Modbus/TCP"
    WRONG_PROTOCOL = "wrong protocol id"
    WRONG_LENGTH = "impossible length"
    WRONG_TRANSACTION = "wrong transaction id"
    WRONG_UNIT = "wrong unit id"
    WRONG_FUNCTION = "wrong function"
    WRONG_BYTE_COUNT = "wrong byte count"
    TRUNCATED = "reply too short"
    TOO_LONG = "reply too long"
    MALFORMED_EXCEPTION = "malformed exception"
    MALFORMED_IDENTIFICATION = "malformed identification"
    UNKNOWN_EXCEPTION = "unknown exception code"
    PADDING_NOT_ZERO = "padding bits not zero"
    LATE = "late reply"
    REPEATED = "second reply"
    UNASKED = "unasked bytes"
    WRONG_CRC = "wrong CRC"
    STRAY_BEFORE = "stray bytes before the reply"
    LOCAL_ECHO = "local echo"
    DOUBTFUL = "may be a late reply"
    NOT_CLEAR = "line not clear"


LOSSES: Final = frozenset(
    {
        Deviation.NO_CONNECTION,
        Deviation.CLOSED,
        Deviation.RESET,
        Deviation.NO_REPLY,
        Deviation.ABANDONED,
        Deviation.DOUBTFUL,
        Deviation.NOT_CLEAR,
    }
)
"""Deviations that any good panel shows on a bad link."""


@dataclass(frozen=True, slots=True)
class LinkProblem:
    """One deviation, with the bytes that show it and what was found, in words."""

    deviation: Deviation
    raw: bytes = b""
    detail: str = ""

    def __str__(self) -> str:
        text = f"{self.deviation.value}: {self.detail}" if self.detail else self.deviation.value
        return f"{text} [{spaced(self.raw)}]" if self.raw else text


EXCEPTION_WORDS: Final = {
    1: "illegal function: the panel does not know this function, or not in its present state",
    2: "illegal data address: the panel has nothing at one or more of these addresses",
    3: "illegal data value: the panel refuses this quantity",
    4: "server device failure: the panel failed while it answered",
    5: "acknowledge: the panel works on it and wants more time",
    6: "server device busy: the panel is busy with something else",
    8: "memory parity error: the panel's memory is damaged",
    10: "gateway path unavailable: the gateway has no way to this unit id",
    11: "gateway target failed to respond: the gateway hears nothing from this unit id",
}
"""The exception codes of V1.1b3 clause 7. 07 and 09 are not assigned there."""

BUSY_EXCEPTIONS: Final = frozenset({5, 6, 11})
"""Exceptions that a good panel or gateway may show for a while."""


GATEWAY_EXCEPTIONS: Final = frozenset({10, 11})
"""Exceptions with which a gateway answers for a unit that it does not reach."""


def exception_words(code: int) -> str:
    """The exception in plain words, with its code."""
    return f"exception {code:02X}, {EXCEPTION_WORDS.get(code, 'a code the protocol does not know')}"


def spaced(data: bytes) -> str:
    """Bytes as people read them: upper-case hex, one blank between."""
    return data.hex(" ").upper()
