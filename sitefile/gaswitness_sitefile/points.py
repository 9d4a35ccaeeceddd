"""The points list: the register map, one row a point.

`address` is always the PDU address (0..65535) once loaded, whatever notation the file uses.
"""

from collections.abc import Iterator
from enum import StrEnum
from functools import cached_property
from typing import Annotated, Final

from pydantic import Field, field_validator

from gaswitness_sitefile.event_log import is_event_number
from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS, LIFE_NUMBERS
from gaswitness_sitefile.mode_facts import (
    CHANNEL_MODES,
    FIRST_UP,
    FORCED,
    IN_TEST,
    is_first_up_number,
)
from gaswitness_sitefile.model import Number, Record, Whole
from gaswitness_sitefile.records import Queue, RecordFile, first_twice


class Table(StrEnum):
    """The four tables of the Modbus data model (V1.1b3 clause 4.3)."""

    COIL = "coil"
    DISCRETE_INPUT = "discrete input"
    HOLDING = "holding register"
    INPUT = "input register"

    @property
    def of_bits(self) -> bool:
        """Whether an address of the table holds one bit, not a 16-bit register."""
        return self in (Table.COIL, Table.DISCRETE_INPUT)

    @property
    def read_function(self) -> int:
        """The function code that reads the table (V1.1b3 clauses 6.1 to 6.4)."""
        return {Table.COIL: 1, Table.DISCRETE_INPUT: 2, Table.HOLDING: 3, Table.INPUT: 4}[self]

    @property
    def writable(self) -> bool:
        """Whether the protocol has functions that write the table."""
        return self in (Table.COIL, Table.HOLDING)


class PointType(StrEnum):
    """How the registers of a point are to be understood.

    `bit` is a coil or discrete input. `bit in word` is one bit of a register, number `bit`, 0 the
    least significant. `bit field` is a whole register whose bits `bits` names. `enumeration` is an
    unsigned register whose values `codes` names. `bcd16` and `bcd32` hold four and eight decimal
    digits. `string` is `length` registers of two ASCII characters each.
    """

    BIT = "bit"
    BIT_IN_WORD = "bit in word"
    BIT_FIELD = "bit field"
    ENUMERATION = "enumeration"
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    INT64 = "int64"
    UINT64 = "uint64"
    FLOAT32 = "float32"
    FLOAT64 = "float64"
    BCD16 = "bcd16"
    BCD32 = "bcd32"
    STRING = "string"


WIDTHS: Final = {
    PointType.BIT: 1,
    PointType.BIT_IN_WORD: 1,
    PointType.BIT_FIELD: 1,
    PointType.ENUMERATION: 1,
    PointType.INT16: 1,
    PointType.UINT16: 1,
    PointType.INT32: 2,
    PointType.UINT32: 2,
    PointType.INT64: 4,
    PointType.UINT64: 4,
    PointType.FLOAT32: 2,
    PointType.FLOAT64: 4,
    PointType.BCD16: 1,
    PointType.BCD32: 2,
}
"""Addresses that a point of each type takes; a string takes `length`."""

NUMERIC: Final = frozenset(
    {
        PointType.INT16,
        PointType.UINT16,
        PointType.INT32,
        PointType.UINT32,
        PointType.INT64,
        PointType.UINT64,
        PointType.FLOAT32,
        PointType.FLOAT64,
        PointType.BCD16,
        PointType.BCD32,
    }
)
FLOATS: Final = frozenset({PointType.FLOAT32, PointType.FLOAT64})


class Order(StrEnum):
    """Order of the bytes of a value on the wire, A the most significant.

    For 32 bits as written; for 64 bits likewise: ABCD high word and high byte first, CDAB low word
    first, BADC bytes swapped within each word, DCBA both. In one word BADC and DCBA swap the bytes.
    A string's registers always stand in order; ABCD and CDAB have the first of two characters in
    the high byte, BADC and DCBA in the low byte.
    """

    ABCD = "ABCD"
    CDAB = "CDAB"
    BADC = "BADC"
    DCBA = "DCBA"

    @property
    def low_word_first(self) -> bool:
        """Whether the least significant word comes first."""
        return self in (Order.CDAB, Order.DCBA)

    @property
    def bytes_swapped(self) -> bool:
        """Whether the low byte of each word comes first."""
        return self in (Order.BADC, Order.DCBA)


class Access(StrEnum):
    """What a client may do with the point."""

    READ = "r"
    READ_WRITE = "rw"
    WRITE = "w"


class Gaps(StrEnum):
    """What a read of addresses between mapped points gets.

    `zeros`: between the first and the last mapped address of a table, unmapped ones read as 0.
    Beyond them, and with `exception` in every gap, the answer is exception 02.
    """

    EXCEPTION = "exception"
    ZEROS = "zeros"


class Notation(StrEnum):
    """How the file writes addresses.

    `pdu`: 0..65535 as on the wire. `one-based`: element numbers 1..65536 (V1.1b3 clause 4.4).
    `reference`: five or six digits whose first names the table, 40001 or 400001 being the first
    holding register (a convention, not in the protocol).
    """

    PDU = "pdu"
    ONE_BASED = "one-based"
    REFERENCE = "reference"


class MapRules(Record):
    """What holds for the whole points list: notation, default order, what lies in the gaps.

    `files` and `queues`: what the panel keeps beside its tables.
    """

    notation: Notation = Notation.PDU
    order: Order = Order.ABCD
    gaps: Gaps | Annotated[dict[Table, Gaps], Field()] = Gaps.EXCEPTION
    files: tuple[RecordFile, ...] = ()
    queues: tuple[Queue, ...] = ()

    @field_validator("files")
    @classmethod
    def _files_apart(cls, files: tuple[RecordFile, ...]) -> tuple[RecordFile, ...]:
        if (number := first_twice(one.number for one in files)) is not None:
            raise ValueError(f"file {number} stands twice: give each its own number")
        return files

    @field_validator("queues")
    @classmethod
    def _queues_apart(cls, queues: tuple[Queue, ...]) -> tuple[Queue, ...]:
        if (pointer := first_twice(one.pointer for one in queues)) is not None:
            raise ValueError(f"two queues have the pointer {pointer}: give each its own")
        return queues

    def gaps_of(self, table: Table) -> Gaps:
        """What lies between the mapped points of the table."""
        if isinstance(self.gaps, Gaps):
            return self.gaps
        return self.gaps.get(table, Gaps.EXCEPTION)


CHANNEL_STATES: Final = (
    "normal",
    "A1",
    "A2",
    "A3",
    "fault",
    "inhibit",
    "warm_up",
    "over_range",
    "under_range",
    *CHANNEL_MODES,
)
"""What a channel's `state` may be, for an enumeration. Of several that apply the panel shows the
first of: warm_up, inhibit, test, calibration, fault, A3, A2, A1, over_range, under_range,
normal."""

LEVEL_NUMBERS: Final = ("setpoint",)
CHANNEL_SHOWS: Final = (
    "reading",
    "state",
    "A1",
    "A2",
    "A3",
    "fault",
    "inhibit",
    "over_range",
    "under_range",
    "A1.setpoint",
    "A2.setpoint",
    "A3.setpoint",
    "STEL",
    "TWA",
    "STEL.average",
    "TWA.average",
    "current",
    *BUS_FLAGS,
    *CHANNEL_MODES,
    FIRST_UP,
)


def is_number(what: str, subject: str = "") -> bool:
    """Whether the aspect of a subject is a number: a reading, setpoint, average, current, count."""
    if subject == "events":
        return is_event_number(what)
    if is_first_up_number(subject, what) or what in ("reading", "current", *LIFE_NUMBERS):
        return True
    return what.endswith((".setpoint", ".average"))


INPUT_SHOWS: Final = ("active",)
OUTPUT_SHOWS: Final = ("active", "energised", "muted", FORCED)
PANEL_FLAGS: Final = ("fault", "warm_up", "unaccepted", "inhibit", IN_TEST, *LIFE_FLAGS)
PANEL_SHOWS: Final = (*PANEL_FLAGS, "state", FIRST_UP, *LIFE_NUMBERS)
ANY_SHOWS: Final = ("A1", "A2", "A3", "fault")
COMMANDS: Final = ("panel.reset", "panel.accept", "panel.mute")
PLAIN_SHOWS: Final = ("heartbeat", "constant", "spare", "bits")


class Point(Record):
    """One row of the points list.

    `shows` says what the point means: `TAG.reading`, `TAG.state`, `TAG.A1`, `TAG.fault`,
    `TAG.inhibit`, `TAG.A1.setpoint`, `TAG.STEL`, `TAG.TWA.average`, `TAG.current` (of a loop, in
    mA), `K1.active` (the output acts), `K1.energised` (its coil is energised), `DI-1.active`,
    `panel.fault`, `panel.state`, `panel.on_battery`, `AT-101.comms_fault` (see `life_facts`),
    `panel.first_up` (the number of the channel that was first in alarm), `AT-101.first_up`,
    `AT-101.test`, `K1.forced`, `events.count` and, of the log's newest entry, `events.1.code`,
    `events.1.subject`, `events.1.at_s` (see `event_log`), `any.A1`, `heartbeat`,
    `constant` (with `value`), `spare`, `bits` (for a bit field, whose `bits` say the rest), or the
    commands `panel.reset`, `panel.accept`, `panel.mute`.
    Value in `unit` = raw x `scale` + `offset`. `low` and `high` bound
    what the point may legally show, in `unit`. `sentinel` is the raw value that stands for a fault.
    """

    name: str
    table: Table
    address: Annotated[Whole, Field(ge=0, le=65535)]
    type: PointType
    shows: str
    order: Order = Order.ABCD
    bit: Annotated[Whole | None, Field(ge=0, le=15)] = None
    length: Annotated[Whole | None, Field(ge=1, le=125)] = None
    scale: Number = 1.0
    offset: Number = 0.0
    unit: str = ""
    access: Access = Access.READ
    low: Number | None = None
    high: Number | None = None
    sentinel: Whole | None = None
    codes: Annotated[dict[int, str], Field(default_factory=dict)]
    bits: Annotated[dict[int, str], Field(default_factory=dict)]
    value: str | float | None = None
    note: str = ""

    @cached_property
    def width(self) -> int:
        """How many addresses the point takes."""
        return WIDTHS.get(self.type) or self.length or 1

    @property
    def end(self) -> int:
        """The address after the point's last."""
        return self.address + self.width

    @property
    def subject(self) -> str:
        """The tag that the point is about, or `panel`, `any`, `heartbeat`..."""
        return self.shows.partition(".")[0]

    @property
    def what(self) -> str:
        """The aspect of the subject that the point shows, such as `reading` or `A1.setpoint`."""
        return self.shows.partition(".")[2]

    def facts(self) -> Iterator[tuple[int | None, str]]:
        """(bit, what it shows) for every fact in the point; bit None where it is one fact."""
        if self.type is PointType.BIT_FIELD:
            yield from sorted(self.bits.items())
        else:
            yield None, self.shows


FIRST_REFERENCE: Final = {
    Table.COIL: 0,
    Table.DISCRETE_INPUT: 1,
    Table.INPUT: 3,
    Table.HOLDING: 4,
}
"""Leading digit of five- and six-digit references, by table (convention, not in the protocol)."""


def reference(table: Table, address: int) -> str:
    """The PDU address as a reference of six digits, for people: holding 0 is 400001."""
    return f"{FIRST_REFERENCE[table]}{address + 1:05d}"
