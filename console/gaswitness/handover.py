"""The handover sheet's content, once for all its forms: points, links, tables of rows. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gaswitness.handover_points import (
    Entry,
    entries,
    hex_words,
    wire_bytes,
)
from gaswitness.handover_polling import BLOCK_COLUMNS, Way, block_rows, ways
from gaswitness_scenarios.example_values import ExampleValue
from gaswitness_sitefile.crossing import crossing_of
from gaswitness_sitefile.points import Point, PointType
from gaswitness_sitefile.rows import number_cell
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.tables import CellValue


@dataclass(frozen=True, slots=True)
class Handover:
    """`made_by`: program and version. `sha256`: of the site file with its tables."""

    site: Site
    sha256: str
    made_by: str
    entries: tuple[Entry, ...]
    ways: tuple[Way, ...]

    @property
    def title(self) -> str:
        """What stands at the head of every form."""
        panel = self.site.panel
        return f"Handover sheet of {panel.tag}" + (f", {panel.name}" if panel.name else "")

    @property
    def edition(self) -> str:
        """Which document, which site file, made by what."""
        panel = self.site.panel
        parts = [panel.tag, panel.document]
        parts += [f"revision {panel.document_revision}"] if panel.document_revision else []
        parts += [f"site file {self.sha256[:12]}", self.made_by]
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Listing:
    """A table in plain rows, for spreadsheets."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[CellValue | None, ...], ...]


def handover(site: Site, sha256: str, made_by: str) -> Handover:
    """Gather it. Raises ValueError where encoder and decoder disagree about an example."""
    found = ways(site)
    return Handover(site, sha256, made_by, entries(site, found[0].blocks), found)


POINT_COLUMNS: Final = (
    "name",
    "function",
    "table",
    "function codes",
    "address (PDU)",
    "address (hex)",
    "reference",
    "registers or bits",
    "type",
    "bit",
    "order",
    "scale",
    "offset",
    "unit",
    "low",
    "high",
    "access",
    "sentinel",
    "in fault",
    "bits and codes",
    "block",
    "place in block",
    "note",
)


def listings(sheet: Handover) -> Iterator[Listing]:
    """Every table: points, example values, poll blocks, cause and effect."""
    yield Listing("points", POINT_COLUMNS, tuple(_point_row(entry) for entry in sheet.entries))
    yield Listing(
        "example-values",
        ("name", "when", "value", "unit", "registers (hex)", "bytes on the wire", "remark"),
        tuple(_example_rows(sheet.entries)),
    )
    yield Listing(
        "poll-blocks",
        ("link", *BLOCK_COLUMNS),
        tuple((way.name, *map(_plain, row)) for way in sheet.ways for row in block_rows(way)),
    )
    yield _matrix(sheet.site)


def _plain(text: str) -> CellValue:
    """Counts as numbers; what has leading zeros stays text."""
    if text.isdecimal() and (text == "0" or not text.startswith("0")):
        return int(text)
    return text


def _point_row(entry: Entry) -> tuple[CellValue | None, ...]:
    point = entry.point
    return (
        point.name,
        entry.function,
        str(point.table),
        entry.functions,
        point.address,
        entry.hexadecimal,
        entry.reference,
        point.width,
        entry.type,
        point.bit,
        entry.order,
        number_cell(point.scale),
        number_cell(point.offset),
        point.unit,
        None if point.low is None else number_cell(point.low),
        None if point.high is None else number_cell(point.high),
        entry.access,
        None if point.sentinel is None else number_cell(point.sentinel),
        entry.in_fault,
        "; ".join(f"{key} = {said}" for key, said in entry.meanings),
        entry.block or None,
        entry.place if entry.block else None,
        point.note,
    )


def _example_rows(found: Sequence[Entry]) -> Iterator[tuple[CellValue | None, ...]]:
    for entry in found:
        for one in entry.examples:
            bits = entry.point.table.of_bits
            yield (
                entry.point.name,
                one.case,
                _value(entry.point, one),
                entry.point.unit if isinstance(one.value, int | float) else "",
                str(one.words[0]) if bits else hex_words(one),
                wire_bytes(entry, one),
                one.remark or ("no value" if one.value is None else ""),
            )


def _value(point: Point, example: ExampleValue) -> CellValue | None:
    """The value for a program: a number, a text, 1 or 0; empty where there is none."""
    value = example.value
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float) and point.type is PointType.FLOAT32:
        # as many digits as a binary32 tells apart (IEEE 754-2019, clause 5.12.2)
        return number_cell(float(f"{value:.9g}"))
    return number_cell(value) if isinstance(value, int | float) else value


def _matrix(site: Site) -> Listing:
    drawing = crossing_of(site.matrix, [output.tag for output in site.outputs])
    empty = (None,) * max(0, len(drawing.effects) - 1)
    rows: list[tuple[CellValue | None, ...]] = [
        (cause, *(drawing.marks.get((cause, effect)) for effect in drawing.effects))
        for cause in drawing.causes
    ]
    rows += [(f"note {at}", note, *empty) for at, note in enumerate(drawing.notes, 1)]
    return Listing("cause-and-effect", (drawing.corner, *drawing.effects), tuple(rows))
