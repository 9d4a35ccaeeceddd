"""The handover sheet as one HTML page: what an integrator reads, in the order of the work."""

from collections.abc import Iterator
from typing import Final

from gaswitness.cautions import HANDOVER
from gaswitness.handover import Handover
from gaswitness.handover_beside import beside_rows, event_rows, shows_events
from gaswitness.handover_frames import frames_block
from gaswitness.handover_matrix import matrix_block
from gaswitness.handover_points import (
    Entry,
    alike,
    at_rest,
    example_words,
    hex_words,
    wire_bytes,
)
from gaswitness.handover_polling import (
    BLOCK_COLUMNS,
    Way,
    block_rows,
    client_rules,
    cycle,
    gap_rows,
    liveness,
    way_facts,
    writable,
)
from gaswitness.handover_words import ORDERS
from gaswitness.page import (
    Column,
    Markup,
    bullets,
    contents,
    definitions,
    document,
    element,
    joined,
    paragraph,
    section,
    table,
)
from gaswitness_sitefile.points import PointType

SECTIONS: Final = (
    ("panel", "The panel and how it is reached"),
    ("polling", "Poll blocks"),
    ("client", "What a good client does"),
    ("points", "Points list"),
    ("values", "Example values"),
    ("frames", "Example frames"),
    ("matrix", "Cause and effect"),
)


def handover_page(sheet: Handover) -> str:
    """The page."""
    drawing, style = matrix_block(sheet.site)
    titles = dict(SECTIONS)
    parts = {
        "panel": _panel(sheet),
        "polling": _polling(sheet),
        "client": _client(sheet),
        "points": _points(sheet),
        "values": _values(sheet),
        "frames": frames_block(sheet.site, sheet.ways[0]),
        "matrix": drawing,
    }
    return document(
        sheet.title,
        element("h1", sheet.title),
        paragraph(sheet.edition),
        element("p", element("strong", "Caution: "), HANDOVER, class_="caution"),
        contents(SECTIONS),
        *(section(titles[id_], body, id_=id_) for id_, body in parts.items()),
        foot=sheet.edition,
        landscape=True,
        css=style + _CSS,
    )


def _panel(sheet: Handover) -> Markup:
    panel = sheet.site.panel
    facts = [
        ("Panel", panel.tag),
        ("Name", panel.name),
        ("Vendor, product, revision", ", ".join(
            part for part in (panel.vendor, panel.product, panel.revision) if part
        )),
        ("Place", panel.location),
        ("Document", " ".join(part for part in (panel.document, panel.document_revision) if part)),
        ("Site file (SHA-256)", sheet.sha256),
        ("Made by", sheet.made_by),
    ]  # fmt: skip
    links = [
        joined([element("h3", f"Link: {way.name}"), definitions(way_facts(way))])
        for way in sheet.ways
    ]
    return joined([definitions([fact for fact in facts if fact[1]]), *links])


def _polling(sheet: Handover) -> Markup:
    lead = paragraph(
        "These reads fetch every readable point within the panel's limits in the least time. They "
        "are ready to be typed into a client: function, start, count. Where a point stands in its "
        "block is in the points list, under block: place, counted from 0."
    )
    tables = [_blocks(at, way) for at, way in enumerate(sheet.ways, 1)]
    gaps = table(
        "What each table answers",
        ["Table", Column("Function", "number"), "Mapped (PDU addresses)", "Everywhere else"],
        gap_rows(sheet.site),
        id_="gaps",
    )
    return joined([lead, *tables, gaps, *_beside(sheet)])


def _beside(sheet: Handover) -> Iterator[Markup]:
    """Files, queues, and the event log's codes, where the panel has any."""
    kept = list(beside_rows(sheet.site))
    if kept:
        yield table(
            "Beside the tables",
            ["What", Column("Number", "number"), "Functions", "Holds"],
            kept,
            id_="beside",
        )
    if shows_events(sheet.site):
        yield table(
            "Codes of the event log",
            ["Of", Column("Code", "number"), "Means"],
            event_rows(sheet.site),
            id_="events",
        )


def _blocks(at: int, way: Way) -> Markup:
    styles = {"what is in it": "", "table": ""}
    columns = [Column(name, styles.get(name, "number")) for name in BLOCK_COLUMNS]
    drawn = table(f"Blocks on the link {way.name}", columns, block_rows(way), id_=f"blocks-{at}")
    said = paragraph(
        f"{cycle(way)} Bytes are request + answer; ms, the time of one exchange; oldest s, the age "
        "of what is seen at the worst, from the detector on."
    )
    return joined([drawn, said])


def _client(sheet: Handover) -> Markup:
    site = sheet.site
    names = writable(site)
    if names:
        writes = (
            f"{len(names)} points take writes: {', '.join(names)}. Agree in writing who may write "
            "what, and when; a reset or a moved setpoint changes what protects people. All others "
            "refuse a write. Write a value whole, in one request."
        )
    else:
        writes = "Nothing takes writes: the map is for reading."
    missing = [
        f"{entry.point.name}: {entry.in_fault}" for entry in sheet.entries if entry.in_fault
        and entry.point.what == "reading"
    ]  # fmt: skip
    return joined(
        [
            bullets(client_rules(site), numbered=True),
            element("h3", "Does it live?"),
            paragraph(liveness(site)),
            element("h3", "Values that are none"),
            paragraph(
                "NaN and sentinels are no numbers: do not scale, average, limit or store them as "
                "readings. What each reading shows while its channel is in fault:"
            ),
            bullets(missing),
            element("h3", "Who may write"),
            paragraph(writes),
        ]
    )


def _points(sheet: Handover) -> Markup:
    notation = paragraph(
        "PDU addresses count from 0, as on the wire. References are the six-digit convention, "
        "which counts from 1 and whose first digit names the table: 0 coils, 1 discrete inputs, "
        "3 input registers, 4 holding registers. Orders of bytes: "
        + "; ".join(f"{order}, {said}" for order, said in ORDERS.items())
        + "."
    )
    columns: list[Column | str] = [
        "Point", "Function", "Table", Column("FC", "number"), Column("PDU", "number"),
        Column("hex", "code"), Column("Reference", "number"), "Type, order", "Value", "Unit",
        "Range", "Access", "In fault", Column("At rest", "number"),
        Column("Block: place", "number"),
    ]  # fmt: skip
    rows = [_point_row(entry) for entry in sheet.entries]
    every = table("Every point of the map", columns, rows, id_="points-list")
    return joined([notation, every, _bits(sheet)])


def _bits(sheet: Handover) -> Markup:
    """What each bit of the bit fields means."""
    rows = [
        (entry.point.name, entry.reference, str(bit), _alone(entry, bit), said)
        for entry in sheet.entries
        if entry.point.type is PointType.BIT_FIELD
        for bit, said in entry.meanings
    ]
    columns: list[Column | str] = [
        "Point", Column("Reference", "number"), Column("Bit", "number"), Column("Alone", "code"),
        "Means, where it is 1",
    ]  # fmt: skip
    caption = "Every bit of the bit fields; alone: the register as received with only this bit set"
    return table(caption, columns, rows, id_="bit-list") if rows else Markup("")


def _alone(entry: Entry, bit: int) -> str:
    found = (one for one in entry.examples if one.case.startswith(f"only bit {bit},"))
    return "".join(hex_words(one) for one in found)


def _point_row(entry: Entry) -> tuple[str, ...]:
    point = entry.point
    function: list[str] = [entry.function]
    short = sorted((point.codes or point.bits).items())
    pairs = [joined([element("span", str(key), class_="key"), f" {said}"]) for key, said in short]
    if pairs:
        function.append(joined([": ", joined(pairs, "; ")]))
    if point.note:
        function.append(element("p", point.note, class_="note"))
    return (
        point.name,
        joined(function),
        str(point.table),
        entry.functions,
        str(point.address),
        entry.hexadecimal,
        entry.reference,
        ", ".join(part for part in (entry.type, entry.order) if part),
        entry.scale,
        point.unit,
        entry.bounds,
        entry.access,
        entry.in_fault,
        at_rest(entry),
        entry.where,
    )


def _values(sheet: Handover) -> Markup:
    lead = paragraph(
        "Made by one encoder and read back by another decoder, so that a client can be tested "
        "without gas: put the bytes into its decoder, and compare. Registers in the order of their "
        "addresses, bytes as they go over the wire. A single bit is 1 for yes; alone in an answer "
        "it is the lowest bit of the byte 01 or 00."
    )
    columns: list[Column | str] = [
        "Points", "When", "Value", Column("Registers", "code"), Column("Bytes", "code")
    ]  # fmt: skip
    rows = list(_value_rows(sheet))
    return joined([lead, table("What registers may hold", columns, rows, id_="value-list")])


def _value_rows(sheet: Handover) -> Iterator[tuple[str, ...]]:
    for group, examples in alike(sheet.entries):
        names = _names([entry.point.name for entry in group])
        how = ", ".join(part for part in (group[0].type, group[0].order, group[0].scale) if part)
        for at, one in enumerate(examples):
            who = joined([names, element("span", how, class_="note")], Markup("<br>"))
            yield (
                who if at == 0 else Markup(f'<span class="again">{names}</span>'),
                one.case,
                example_words(group[0], one),
                hex_words(one),
                wire_bytes(group[0], one),
            )


def _names(names: list[str]) -> Markup:
    """All names, or the first few and how many more."""
    shown = names if len(names) <= 6 else [*names[:5], f"and {len(names) - 5} more alike"]
    return joined(shown, ", ")


_CSS: Final = """
.note { font-weight: 400; }
.key { font-weight: 600; }
p.note { margin: .2rem 0 0; font-style: italic; }
.again { color: #666; }
.bytes { font-family: ui-monospace, "DejaVu Sans Mono", Consolas, monospace; max-width: 24em;
  overflow-wrap: anywhere; }
.beside { columns: 27rem; column-gap: 1.5rem; }
.beside .wide { break-inside: avoid; margin: 0 0 .8rem; }
@media print { .frames { font-size: 7pt; } .beside { columns: 3; column-gap: 5mm; }
  #points table, #values table { font-size: 7pt; } .frames { break-inside: avoid; }
  #points, #values { break-before: page; } th, td { padding: .12em .3em; } }
"""
