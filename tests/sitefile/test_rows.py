"""Records to rows of a table and back: nothing is lost, whatever the records hold."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_sitefile.document import read_document
from gaswitness_sitefile.draft import read_draft
from gaswitness_sitefile.load import TableFile, load_site
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.points import MapRules, Notation, Order, Point, PointType, Table
from gaswitness_sitefile.rows import csv_text, matrix_rows, number_cell, point_rows
from gaswitness_sitefile.tables import read_table

SPREADSHEET_ERRORS = ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!")
texts = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=12).filter(
    lambda text: text not in SPREADSHEET_ERRORS
)
numbers = st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x + 0.0)
names = texts.filter(lambda text: ";" not in text)
REGISTERS = [kind for kind in PointType if kind is not PointType.BIT]


@st.composite
def points(draw):
    """Any record that the model takes; whether it makes sense is not asked by tables."""
    kind = draw(st.sampled_from(REGISTERS))
    value = st.one_of(st.none(), numbers)
    if kind is PointType.STRING:
        value = st.one_of(st.none(), texts)
    some = {"order": draw(st.sampled_from(list(Order)))}
    return Point(
        name=draw(texts),
        table=draw(st.sampled_from((Table.HOLDING, Table.INPUT))),
        address=draw(st.integers(0, 65535)),
        type=kind,
        shows=draw(texts),
        bit=draw(st.one_of(st.none(), st.integers(0, 15))),
        length=draw(st.one_of(st.none(), st.integers(1, 125))),
        scale=draw(numbers),
        offset=draw(numbers),
        unit=draw(texts),
        access=draw(st.sampled_from(("r", "rw", "w"))),
        low=draw(st.one_of(st.none(), numbers)),
        high=draw(st.one_of(st.none(), numbers)),
        sentinel=draw(st.one_of(st.none(), st.integers(-(2**63), 2**64 - 1))),
        codes=draw(st.dictionaries(st.integers(0, 65535), names, max_size=3)),
        bits=draw(st.dictionaries(st.integers(0, 15), names, max_size=3)),
        value=draw(value),
        note=draw(texts),
        **some,
    )


def back(folder, rows, rules):
    """The points that a site file with this table would have."""
    (folder / "points.csv").write_text(csv_text(rows), encoding="utf-8", newline="")
    path = folder / "site.yaml"
    path.write_text(
        f"map: {{notation: {rules.notation}, order: {rules.order}}}\n"
        "points: {file: points.csv}\n",
        encoding="utf-8",
    )
    draft = read_draft(read_document(path, "site file"))
    assert draft.points.problems == ()
    assert draft.problems == ()
    return list(draft.points.good.values())


@given(
    listed=st.lists(points(), min_size=1, max_size=4),
    notation=st.sampled_from(list(Notation)),
    order=st.sampled_from(list(Order)),
)
def test_no_point_changes_on_its_way_through_a_table(tmp_path_factory, listed, notation, order):
    rules = MapRules(notation=notation, order=order)
    folder = tmp_path_factory.mktemp("rows")
    assert back(folder, point_rows(listed, rules), rules) == listed


def test_a_name_that_begins_with_a_remark_sign_is_no_remark(tmp_path):
    point = Point(name="#1", table="coil", address=4, type="bit", shows="K1.active")
    rows = point_rows([point], MapRules())
    assert rows.names[:2] == ("table", "name")
    assert back(tmp_path, rows, MapRules()) == [point]


# Worksheet texts that a spreadsheet would take for a formula: OWASP, "CSV Injection" (from memory).
@pytest.mark.parametrize("text", ["=1+1", "+49 30", "-note", "@home", "'=kept", "''-x", "=", "-"])
def test_text_that_looks_like_a_formula_is_guarded_and_comes_back(text, tmp_path):
    cell = Cell(cause="A-1.A1", effect="K1", response_s=2, note=text)
    written = csv_text(matrix_rows([cell]))
    raw = list(csv.reader(io.StringIO(written)))[1][-1]
    assert raw == "'" + text
    (tmp_path / "m.csv").write_text(written, encoding="utf-8", newline="")
    (row,) = read_table(tmp_path / "m.csv", name="m.csv").rows
    assert row.cells["note"] == text


def test_a_constant_that_names_a_code_is_that_code_though_it_looks_like_a_number(tmp_path):
    point = Point(
        name="mode",
        table="holding register",
        address=3,
        type="enumeration",
        shows="constant",
        codes={0: "1", 1: "0"},
        value="1",
    )
    assert back(tmp_path, point_rows([point], MapRules()), MapRules()) == [point]


def test_a_negative_number_is_no_formula():
    point = Point(
        name="a",
        table="input register",
        address=0,
        type="int16",
        shows="A.reading",
        sentinel=-32768,
    )
    assert ",-32768," in csv_text(point_rows([point], MapRules()))


def test_numbers_that_a_spreadsheet_would_round_are_text():
    # 15 digits are kept: ECMA-376 leaves it open, common practice, no source
    assert number_cell(2**64 - 1) == "18446744073709551615"
    assert number_cell(0.1 + 0.2) == "0.30000000000000004"
    assert number_cell(0.1) == 0.1
    assert number_cell(25.0) == 25
    assert isinstance(number_cell(25.0), int)


def test_references_are_written_with_six_digits(cellar_folder):
    site = load_site(cellar_folder / "cellar.yaml").site
    rows = point_rows(site.points, site.map)
    address = rows.names.index("address")
    written = [row[address] for row in rows.rows]
    # input register 0, holding register 0, coil 0, discrete input 0 (convention, common practice)
    assert [written[at] for at in (0, 5, 11, 15)] == [300001, 400001, "000001", 100001]


@pytest.mark.parametrize("name", ["fernhollow", "coldbrook", "saltmarsh"])
def test_every_ready_made_site_comes_back_the_same(name, tmp_path, sites):
    before = load_site(sites / name / "site.yaml")
    (tmp_path / "p.csv").write_text(csv_text(point_rows(before.site.points, before.site.map)))
    (tmp_path / "m.csv").write_text(csv_text(matrix_rows(before.site.matrix)))
    tables = {
        "points": TableFile(tmp_path / "p.csv"),
        "matrix": TableFile(tmp_path / "m.csv"),
    }
    assert load_site(before.path, tables).site == before.site


@pytest.fixture
def sites(good):
    return good.parents[2] / "scenarios" / "sites"
