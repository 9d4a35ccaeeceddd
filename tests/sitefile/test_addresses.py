"""Addresses: one register map typed by hand in three notations, and what each refuses."""

import pytest

from gaswitness_sitefile.addresses import pdu_address
from gaswitness_sitefile.points import Notation, Table

# Typed by hand. V1.1b3 clause 4.4: element 1 has PDU address 0. The worked examples of clauses 6.3
# and 6.1 read registers 108..110 at 0x006B and coils 20..38 at 0x0013; 4xxxxx is a convention.
MAP = """\
name    | table            | type    | pdu    | one-based | reference | function
flow    | holding register | float32 | 0x006B | 108       | 40108     | 3
speed   | holding register | uint16  | 109    | 110       | 400110    | 3
first   | input register   | uint16  | 0      | 1         | 30001     | 4
last    | input register   | uint16  | 65535  | 65536     | 365536    | 4
door    | coil             | bit     | 0x13   | 20        | 00020     | 1
far     | coil             | bit     | 10000  | 10001     | 010001    | 1
contact | discrete input   | bit     | 196    | 197       | 10197     | 2
high    | discrete input   | bit     | 9999   | 10000     | 110000    | 2
"""
EXPECTED = {
    "flow": (107, 109, 3),
    "speed": (109, 110, 3),
    "first": (0, 1, 4),
    "last": (65535, 65536, 4),
    "door": (19, 20, 1),
    "far": (10000, 10001, 1),
    "contact": (196, 197, 2),
    "high": (9999, 10000, 2),
}
HEAD = """\
gaswitness_site: 1
panel: {tag: P-1}
channels:
  - {tag: AT-1, gas: CO, unit: ppm, range: [0, 100]}
"""


def rows():
    header, *lines = (
        [cell.strip() for cell in line.split("|")] for line in MAP.strip().splitlines()
    )
    return [dict(zip(header, line, strict=True)) for line in lines]


@pytest.mark.parametrize("notation", ["pdu", "one-based", "reference"])
def test_the_hand_typed_map_loads_alike_in_every_notation(notation, loaded):
    points = "\n".join(
        f"  - {{name: {row['name']}, table: {row['table']}, type: {row['type']}, "
        f"address: {row[notation]}, shows: spare}}"
        for row in rows()
    )

    site = loaded(f"{HEAD}map: {{notation: {notation}}}\npoints:\n{points}\n").site

    found = {p.name: (p.address, p.end, p.table.read_function) for p in site.points}
    assert found == EXPECTED


@pytest.mark.parametrize("notation", ["pdu", "one-based", "reference"])
def test_the_hand_typed_map_loads_alike_from_a_table(notation, tmp_path, loaded):
    lines = [f"{r['name']},{r['table']},{r['type']},{r[notation]},spare" for r in rows()]
    text = "\n".join(["name,table,type,address,shows", *lines])
    (tmp_path / "points.csv").write_text(text, encoding="utf-8")

    site = loaded(f"{HEAD}map: {{notation: {notation}}}\npoints: {{file: points.csv}}\n").site

    found = {p.name: (p.address, p.end, p.table.read_function) for p in site.points}
    assert found == EXPECTED


@pytest.mark.parametrize(
    ("written", "table", "notation", "words"),
    [
        (65536, Table.COIL, Notation.PDU, "outside 0..65535"),
        (-1, Table.COIL, Notation.PDU, "outside 0..65535"),
        (400001, Table.HOLDING, Notation.PDU, "set map.notation to reference"),
        (0, Table.COIL, Notation.ONE_BASED, "outside 1..65536"),
        ("0x", Table.COIL, Notation.PDU, "whole number"),
        (1.5, Table.COIL, Notation.PDU, "whole number"),
        (True, Table.COIL, Notation.PDU, "no number"),
        ([1], Table.COIL, Notation.PDU, "no number"),
        (10001, Table.COIL, Notation.REFERENCE, "names a discrete input"),
        (30001, Table.HOLDING, Notation.REFERENCE, "names an input register"),
        ("0x9C41", Table.HOLDING, Notation.REFERENCE, "hexadecimal"),
        (4000001, Table.HOLDING, Notation.REFERENCE, "five or six digits"),
        ("466000", Table.HOLDING, Notation.REFERENCE, "outside its table"),
    ],
)
def test_an_address_out_of_its_notation_is_refused(written, table, notation, words):
    with pytest.raises(ValueError, match=words.replace(".", r"\.")):
        pdu_address(written, table, notation)


def test_a_number_of_leading_zeros_is_not_octal(loaded):
    text = f"{HEAD}points:\n  - {{name: a, table: coil, type: bit, address: 010, shows: spare}}\n"

    assert loaded(text).site.points[0].address == 10
