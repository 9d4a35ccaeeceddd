"""What a panel keeps outside the four tables: files of records, and queues. Facts only.

MODBUS Application Protocol Specification V1.1b3, clauses 6.14, 6.15 and 6.18.
"""

from collections.abc import Iterable
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.model import Record, Whole

MOST_RECORDS: Final = 10_000
"""Records of a file are numbered 0 to 9999."""
MOST_QUEUED: Final = 31
"""Values that function 18 can give; a longer queue is refused by exception 03."""

Word = Annotated[Whole, Field(ge=0, le=0xFFFF)]


class FileContent(StrEnum):
    """What makes the words of a file.

    `values`: the site file. `events`: the panel's event log: its count modulo 65536 and the number
    of entries held, then four words an entry, the newest first: code, subject, and the instant in
    tenths of a second, high word first.
    """

    VALUES = "values"
    EVENTS = "events"


class RecordFile(Record):
    """File `number` of `records` 16-bit words, read by function 14 and, if writable, written by 15.

    `values` are its first words; the rest are 0. With `content: events` it holds as many of the
    log's newest entries as it has room for.
    """

    number: Annotated[Whole, Field(ge=1, le=0xFFFF)]
    name: str = ""
    records: Annotated[Whole, Field(ge=1, le=MOST_RECORDS)]
    values: tuple[Word, ...] = ()
    writable: bool = False
    content: FileContent = FileContent.VALUES

    @model_validator(mode="after")
    def _a_log_is_only_read(self) -> Self:
        if self.content is FileContent.EVENTS and (self.writable or self.values):
            raise ValueError(
                f"file {self.number} holds the event log: take writable and values out"
            )
        return self

    @model_validator(mode="after")
    def _values_fit(self) -> Self:
        if len(self.values) > self.records:
            raise ValueError(
                f"file {self.number} has {len(self.values)} values for {self.records} records: "
                "write more records, or fewer values"
            )
        return self


class Queue(Record):
    """A first-in-first-out queue, read by function 18. `pointer` is the address as asked for,
    zero-based whatever the notation of the map.
    """

    pointer: Annotated[Whole, Field(ge=0, le=0xFFFF)]
    name: str = ""
    values: Annotated[tuple[Word, ...], Field(max_length=0xFFFF)] = ()


def first_twice(numbers: Iterable[int]) -> int | None:
    """The first number that stands twice."""
    seen: set[int] = set()
    for number in numbers:
        if number in seen:
            return number
        seen.add(number)
    return None
