"""The points list as an integrator needs it: each point with its meaning, its place in the poll
blocks, and examples of what it may hold. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gaswitness.handover_words import (
    fact_words,
    fault_words,
    number,
    order_words,
    scale_words,
    type_words,
)
from gaswitness_probe.history import Value
from gaswitness_probe.read_plan import Block
from gaswitness_scenarios.example_values import ExampleValue, example_values
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_sitefile.points import Access, Point, PointType, Table, reference
from gaswitness_sitefile.site import Site

READ_WORDS = {Access.READ: "read", Access.READ_WRITE: "read, write", Access.WRITE: "write only"}


@dataclass(frozen=True, slots=True)
class Entry:
    """A point in words. `function`: what it is. `meanings`: of its bits or codes, (number, words).

    `block`: number of the poll block that brings it, from 1; 0 if none does. `place`: where in the
    block's data, counted in registers or bits from 0.
    """

    point: Point
    function: str
    meanings: tuple[tuple[int, str], ...]
    in_fault: str
    block: int
    place: int
    examples: tuple[ExampleValue, ...]

    @property
    def reference(self) -> str:
        """The address as a six-digit reference."""
        return reference(self.point.table, self.point.address)

    @property
    def hexadecimal(self) -> str:
        """The PDU address in hex."""
        return f"0x{self.point.address:04X}"

    @property
    def functions(self) -> str:
        """The function codes that read and write it."""
        point = self.point
        codes = [] if point.access is Access.WRITE else [f"{point.table.read_function:02d}"]
        if point.access is not Access.READ:
            codes += write_functions(point)
        return ", ".join(codes)

    @property
    def type(self) -> str:
        """The type with its bit or length."""
        return type_words(self.point)

    @property
    def order(self) -> str:
        """The order of its bytes."""
        return order_words(self.point)

    @property
    def scale(self) -> str:
        """From raw to value."""
        return scale_words(self.point)

    @property
    def bounds(self) -> str:
        """What it may legally show."""
        low, high = self.point.low, self.point.high
        if low is None and high is None:
            return ""
        ends = ("" if end is None else number(end) for end in (low, high))
        return " to ".join(ends)

    @property
    def access(self) -> str:
        """What a client may do."""
        return READ_WORDS[self.point.access]

    @property
    def where(self) -> str:
        """Its block and place, such as `2: 14`."""
        return f"{self.block}: {self.place}" if self.block else ""


def write_functions(point: Point) -> list[str]:
    """Function codes that write the point whole (V1.1b3 clauses 6.5, 6.6, 6.11, 6.12)."""
    if point.table is Table.COIL:
        return ["05", "15"]
    return ["06", "16"] if point.width == 1 else ["16"]


def entries(site: Site, blocks: Sequence[Block]) -> tuple[Entry, ...]:
    """Every point, in the order of the points list. Raises ValueError where encoder and decoder
    disagree about an example."""
    rest = RestPanel(site)
    places = _places(blocks)
    return tuple(
        Entry(
            point,
            fact_words(site, point.shows),
            tuple(_meanings(site, point)),
            fault_words(site, point),
            *places.get(point.name, (0, 0)),
            example_values(site, point, rest),
        )
        for point in site.points
    )


def _places(blocks: Sequence[Block]) -> Mapping[str, tuple[int, int]]:
    return {
        point.name: (at, point.address - block.address)
        for at, block in enumerate(blocks, 1)
        for point in block.points
    }


def _meanings(site: Site, point: Point) -> Iterator[tuple[int, str]]:
    if point.type is PointType.BIT_FIELD:
        yield from ((bit, fact_words(site, shows)) for bit, shows in sorted(point.bits.items()))
    elif point.type is PointType.ENUMERATION:
        yield from sorted(point.codes.items())


def example_words(entry: Entry, example: ExampleValue) -> str:
    """What a client must make of the example."""
    point = entry.point
    said = value_words(point, example.value)
    return f"{said} ({example.remark})" if example.remark else said


def value_words(point: Point, value: Value) -> str:
    """A decoded value with its unit."""
    if value is None:
        return "no value"
    if isinstance(value, bool):
        return "1, yes" if value else "0, no"
    if isinstance(value, str):
        return value
    if point.type is PointType.BIT_FIELD:
        return f"{int(value):016b}"
    digits = 15 if point.type is PointType.FLOAT64 else 7
    said = str(value) if isinstance(value, int) else number(value, digits)
    return f"{said} {point.unit}".strip()


def hex_words(example: ExampleValue) -> str:
    """The registers in hex, first address first."""
    return " ".join(f"{word:04X}" for word in example.words)


def wire_bytes(entry: Entry, example: ExampleValue) -> str:
    """The bytes in the order in which they go over the wire."""
    return example.data(entry.point).hex(" ").upper()


def alike(found: Sequence[Entry]) -> list[tuple[list[Entry], tuple[ExampleValue, ...]]]:
    """Points with the same examples, type, order and unit together, single bits left out."""
    groups: dict[tuple[object, ...], list[Entry]] = {}
    for entry in found:
        point = entry.point
        if point.table.of_bits or point.type is PointType.BIT_IN_WORD:
            continue
        key = (point.type, point.order, point.unit, point.scale, point.offset, entry.examples)
        groups.setdefault(key, []).append(entry)
    return [(group, group[0].examples) for group in groups.values()]


def at_rest(entry: Entry) -> str:
    """What a single bit shows at rest; empty for others."""
    if not (entry.point.table.of_bits or entry.point.type is PointType.BIT_IN_WORD):
        return ""
    rested = next((one for one in entry.examples if "at rest" in one.case), None)
    return "" if rested is None else str(int(bool(rested.value)))
