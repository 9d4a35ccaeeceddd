"""Link faults that change what the panel says, in frames that are otherwise whole: the length and
the CRC are made right again behind them. Pure.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from random import Random
from types import MappingProxyType
from typing import Any, Final

from gaswitness_simulator.link_fault_frame import Frame
from gaswitness_simulator.mbap import LONGEST
from gaswitness_sitefile.link_fault import (
    Busy,
    Exceptional,
    FaultKind,
    Longer,
    NeedsGap,
    Previous,
    ReadLimit,
    Shorter,
    Silent,
    WrongFunction,
    WrongLength,
    WrongProtocol,
    WrongTransaction,
    WrongUnit,
)

BUSY: Final = 6
EXCEPTION: Final = 0x80
_OTHER_READS: Final = MappingProxyType({1: 2, 2: 1, 3: 4, 4: 3})


@dataclass(frozen=True, slots=True)
class Asked:
    """The PDU of the request, and the answer to the one before it on the connection."""

    pdu: bytes
    previous: Frame | None


Answer = Callable[[Any, Frame, Asked, Random], Frame | None]


def _none(_kind: FaultKind, _frame: Frame, _asked: Asked, _draw: Random) -> None:
    return None


def _exception(kind: Exceptional, frame: Frame, asked: Asked, _draw: Random) -> Frame:
    function = 0 if kind.how == "functionless" else asked.pdu[0] if asked.pdu else 0
    return replace(frame, pdu=bytes(((function | EXCEPTION) & 0xFF, kind.code)))


def _busy(_kind: Busy, frame: Frame, asked: Asked, draw: Random) -> Frame:
    return _exception(Exceptional(BUSY), frame, asked, draw)


def _read_limit(kind: ReadLimit, frame: Frame, asked: Asked, draw: Random) -> Frame | None:
    if kind.how == "silent":
        return None
    return _exception(Exceptional(kind.code), frame, asked, draw)


def _previous(kind: Previous, frame: Frame, asked: Asked, _draw: Random) -> Frame | None:
    before = asked.previous
    if before is None or kind.how == "as-it-was":
        return before
    return replace(before, transaction=frame.transaction, unit=frame.unit)


def _longer(kind: Longer, frame: Frame, _asked: Asked, draw: Random) -> Frame:
    more = min(kind.count, LONGEST - 1 - len(frame.pdu))
    return replace(frame, pdu=frame.pdu + draw.randbytes(max(0, more)))


def _shorter(kind: Shorter, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    return replace(frame, pdu=frame.pdu[: max(1, len(frame.pdu) - kind.count)])


def _wrong_unit(kind: WrongUnit, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    return replace(frame, unit=(frame.unit + 1) & 0xFF if kind.unit is None else kind.unit)


def _wrong_function(kind: WrongFunction, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    function = frame.pdu[0] if frame.pdu else 0
    other = _OTHER_READS.get(function, (function + 1) & 0xFF)
    wrong = other if kind.function is None else kind.function
    return replace(frame, pdu=bytes((wrong,)) + frame.pdu[1:])


def _wrong_transaction(kind: WrongTransaction, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    after = (frame.transaction + 1) & 0xFFFF
    return replace(frame, transaction=after if kind.transaction is None else kind.transaction)


def _wrong_protocol(kind: WrongProtocol, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    return replace(frame, protocol=kind.protocol)


def _wrong_length(kind: WrongLength, frame: Frame, _asked: Asked, _draw: Random) -> Frame:
    return replace(frame, length=len(frame.pdu) + 2 if kind.length is None else kind.length)


ANSWERS: Final[Mapping[type[FaultKind], Answer]] = MappingProxyType(
    {
        Silent: _none,
        NeedsGap: _none,
        ReadLimit: _read_limit,
        Exceptional: _exception,
        Busy: _busy,
        Previous: _previous,
        Longer: _longer,
        Shorter: _shorter,
        WrongFunction: _wrong_function,
        WrongUnit: _wrong_unit,
        WrongTransaction: _wrong_transaction,
        WrongProtocol: _wrong_protocol,
        WrongLength: _wrong_length,
    }
)
"""What each does to the answer, in the order in which they act."""
