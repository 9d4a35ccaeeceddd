"""Files of records and queues of a virtual panel: functions 14, 15 and 18. Sans-I/O.

MODBUS Application Protocol Specification V1.1b3, clauses 6.14, 6.15 and 6.18; the order of checks
is that of figures 24, 25 and 28.
"""

import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Final

from gaswitness_simulator.refusal import ILLEGAL_ADDRESS, ILLEGAL_VALUE, Refused
from gaswitness_sitefile.records import MOST_QUEUED, FileContent, Queue, RecordFile

REFERENCE_TYPE: Final = 6
LEAST_READ, MOST_READ = 0x07, 0xF5
LEAST_WRITE, MOST_WRITE = 0x09, 0xFB
"""Byte counts as the tables of 6.14 and 6.15 have them; figure 25 says 07 to F5 for writes too."""

MOST_ANSWERED: Final = 0xF5
_GROUP: Final = struct.Struct(">BHHH")


@dataclass(slots=True)
class _File:
    """`renewed`: makes the words anew at each reading, where they are not kept as written."""

    words: bytearray
    writable: bool
    renewed: Callable[[], bytes] | None = None


@dataclass(frozen=True, slots=True)
class _Group:
    kind: int
    file: int
    record: int
    count: int
    data: bytes = b""


class RecordFiles:
    """The files, as written so far; they outlast the power. `log` makes the words of the event log
    in as many registers as it is told."""

    def __init__(
        self, files: Iterable[RecordFile], log: Callable[[int], bytes] | None = None
    ) -> None:
        self._files: dict[int, _File] = {}
        for file in files:
            words = bytearray(2 * file.records)
            struct.pack_into(f">{len(file.values)}H", words, 0, *file.values)
            renewed = None
            if file.content is FileContent.EVENTS and log is not None:
                renewed = partial(log, file.records)
            self._files[file.number] = _File(words, file.writable, renewed)

    def read(self, pdu: bytes) -> bytes:
        """The PDU that answers function 14. Raises Refused."""
        size = pdu[1] if len(pdu) > 1 else 0
        fits = LEAST_READ <= size <= MOST_READ and size == len(pdu) - 2 and not size % _GROUP.size
        if not fits:
            raise Refused(ILLEGAL_VALUE)
        groups = [_Group(*_GROUP.unpack_from(pdu, at)) for at in range(2, len(pdu), _GROUP.size)]
        found = [self._words(group) for group in groups]
        parts = [bytes((1 + len(words), REFERENCE_TYPE)) + words for words in found]
        answer = b"".join(parts)
        if len(answer) > MOST_ANSWERED:
            raise Refused(ILLEGAL_VALUE)
        return bytes((0x14, len(answer))) + answer

    def write(self, pdu: bytes) -> bytes:
        """The PDU that answers function 15, which is the request's. Raises Refused."""
        size = pdu[1] if len(pdu) > 1 else 0
        if not LEAST_WRITE <= size <= MOST_WRITE or size != len(pdu) - 2:
            raise Refused(ILLEGAL_VALUE)
        groups = list(_written(pdu))
        for group in groups:
            self._words(group)
            if not self._files[group.file].writable:
                raise Refused(ILLEGAL_ADDRESS)
        for group in groups:
            at = 2 * group.record
            self._files[group.file].words[at : at + len(group.data)] = group.data
        return pdu

    def _words(self, group: _Group) -> bytes:
        file = self._files.get(group.file)
        end = 2 * (group.record + group.count)
        there = file is not None and end <= len(file.words)
        if file is None or not there or group.kind != REFERENCE_TYPE or group.count == 0:
            raise Refused(ILLEGAL_ADDRESS)
        if file.renewed is not None:
            file.words[:] = file.renewed()
        # What no answer could hold anyway need not be read.
        return bytes(file.words[2 * group.record : min(end, 2 * group.record + MOST_ANSWERED)])


def _written(pdu: bytes) -> Iterator[_Group]:
    """The groups of a request of function 15; exception 03 where they do not add up."""
    at = 2
    while at < len(pdu):
        if len(pdu) - at < _GROUP.size:
            raise Refused(ILLEGAL_VALUE)
        kind, file, record, count = _GROUP.unpack_from(pdu, at)
        at += _GROUP.size
        data = pdu[at : at + 2 * count]
        if len(data) < 2 * count:
            raise Refused(ILLEGAL_VALUE)
        at += len(data)
        yield _Group(kind, file, record, count, data)


class Queues:
    """The queues. Reading takes nothing out of them."""

    def __init__(self, queues: Iterable[Queue]) -> None:
        self._values = {queue.pointer: queue.values for queue in queues}

    def read(self, pdu: bytes) -> bytes:
        """The PDU that answers function 18. Raises Refused."""
        if len(pdu) != 3:
            raise Refused(ILLEGAL_VALUE)
        values = self._values.get(int.from_bytes(pdu[1:3], "big"))
        if values is None:
            raise Refused(ILLEGAL_ADDRESS)
        if len(values) > MOST_QUEUED:
            raise Refused(ILLEGAL_VALUE)
        count = len(values)
        return struct.pack(f">BHH{count}H", 0x18, 2 + 2 * count, count, *values)
