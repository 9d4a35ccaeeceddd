"""`gaswitness tables` as typed: out to a workbook, edited there, and back."""

import csv
import io
import json
import shutil
import warnings
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from gaswitness.cli import run
from gaswitness.sheets import save_book
from gaswitness.tables_workbook import CELL_REMARKS, POINT_REMARKS, tables_workbook
from gaswitness_sitefile.differences import differences
from gaswitness_sitefile.load import TableFile, load_site
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.points import NUMERIC, Notation, Point

ROOT = Path(__file__).parents[2]
SITES = ROOT / "scenarios" / "sites"
CELLAR = ROOT / "tests" / "sitefile" / "good"


@pytest.fixture
def demo(tmp_path):
    """A copy of the demo and its workbook."""
    shutil.copytree(SITES / "fernhollow", tmp_path / "site")
    return tmp_path / "site"


@pytest.fixture
def cellar(tmp_path):
    """The cellar, whose tables stand in the site file itself."""
    shutil.copytree(CELLAR, tmp_path / "site")
    return tmp_path / "site" / "cellar.yaml"


def written(site, folder):
    book = folder / "t.xlsx"
    assert run(["tables", str(site), "-o", str(book)]) == 0
    return book


def edited(path, change):
    book = load_workbook(path)
    change(book)
    book.save(path)
    return str(path)


def cell_of(sheet, row_name, column_name, head=1):
    """The cell where a row's first cell and a column's heading cross."""
    heads = {sheet.cell(head, at).value: at for at in range(1, sheet.max_column + 1)}
    for row in range(head + 1, sheet.max_row + 1):
        if sheet.cell(row, 1).value == row_name:
            return sheet.cell(row, heads[column_name])
    raise AssertionError(row_name)


texts = st.text(st.characters(exclude_categories=("C", "Z")), max_size=12).filter(
    lambda text: text not in ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!")
)
scales = st.floats(1e-9, 1e9)


@st.composite
def sites(draw):
    """The cellar with other names, notes, scales, delays, notation and order of its matrix."""
    site = load_site(CELLAR / "cellar.yaml").site
    names = draw(st.lists(texts.filter(bool), min_size=3, max_size=3, unique=True))
    points = [
        point.model_copy(
            update={"name": f"{name}{point.name}", "note": draw(texts), "scale": draw(scales)}
            if point.type in NUMERIC
            else {"name": f"{name}{point.name}", "note": draw(texts)}
        )
        for point, name in zip(site.points, names * 6, strict=False)
    ]
    cells = [
        cell.model_copy(
            update={
                "note": draw(texts),
                "on_delay_s": draw(st.floats(4, 1e6)),
                "off_delay_s": draw(st.floats(0, 1e6)),
                "response_s": draw(st.sampled_from((2.0, 5.0, 0.1))),
                "latching": draw(st.booleans()),
            }
        )
        for cell in site.matrix
    ]
    rules = site.map.model_copy(update={"notation": draw(st.sampled_from(list(Notation)))})
    matrix = tuple(draw(st.permutations(cells)))
    return site.model_copy(update={"points": tuple(points), "matrix": matrix, "map": rules})


@settings(max_examples=12, deadline=None)
@given(site=sites())
def test_no_site_changes_on_its_way_through_a_workbook(tmp_path_factory, site):
    folder = tmp_path_factory.mktemp("book")
    save_book(tables_workbook(site), folder / "t.xlsx")
    text = (CELLAR / "cellar.yaml").read_text("utf-8")
    text = text.replace("notation: reference", f"notation: {site.map.notation}")
    (folder / "site.yaml").write_text(text, "utf-8")
    points = {"points": TableFile(folder / "t.xlsx", "points")}
    matrix = {"matrix": TableFile(folder / "t.xlsx", "matrix")}
    drawn = {"matrix": TableFile(folder / "t.xlsx", "crossing")}
    assert load_site(folder / "site.yaml", {**points, **matrix}).site == site
    assert differences(load_site(folder / "site.yaml", {**points, **drawn}).site, site) == ()


@pytest.mark.parametrize("name", ["fernhollow", "coldbrook", "saltmarsh"])
def test_every_site_goes_out_and_comes_back_unchanged(name, tmp_path, capsys):
    path = SITES / name / "site.yaml"
    book = written(path, tmp_path)
    before = load_site(path).site
    points = {"points": TableFile(book, "points")}
    by_list = load_site(path, {**points, "matrix": TableFile(book, "matrix")}).site
    drawn = load_site(path, {**points, "matrix": TableFile(book, "crossing")}).site
    assert by_list == before
    assert differences(before, drawn) == ()
    assert run(["tables", str(path), "--take", str(book)]) == 0
    assert "no differences" in capsys.readouterr().out


def test_a_site_file_may_read_the_workbook_itself(cellar, tmp_path):
    before = load_site(cellar).site
    written(cellar, cellar.parent)
    text = (cellar.parent / "cellar-tables.yaml").read_text("utf-8")
    text = text.replace("{file: points.csv}", "{file: t.xlsx, sheet: points}")
    text = text.replace("{file: matrix.csv}", "{file: t.xlsx, sheet: crossing}")
    path = cellar.parent / "by-workbook.yaml"
    path.write_text(text, "utf-8")
    after = load_site(path).site
    assert after.points == before.points
    assert differences(before, after) == ()


def test_an_edit_is_said_in_words_and_nothing_is_written(demo, tmp_path, capsys):
    def change(book):
        cell_of(book["points"], "AT-101 reading", "address").value = 8
        cell_of(book["crossing"], "AT-201.A2", "V1", head=3).value = "L 2s within 6s"
        cell_of(book["crossing"], "AT-301.A1", "F3", head=3).value = "X"

    book = edited(written(demo, tmp_path), change)
    before = {path.name: path.read_bytes() for path in demo.iterdir() if path.is_file()}
    capsys.readouterr()
    assert run(["tables", str(demo), "--take", book]) == 1
    out = capsys.readouterr().out
    assert "point AT-101 reading: address 0 -> 8 (300001 -> 300009)" in out
    assert "cell AT-301.A1 > F3 is missing in A" in out
    assert "cell AT-201.A2 > V1: not latching -> latching" in out
    assert "add --force to write points.csv, matrix.csv anew" in out
    assert {path.name: path.read_bytes() for path in demo.iterdir() if path.is_file()} == before


def test_forced_it_is_written_and_diff_sees_the_same(demo, tmp_path, capsys):
    shutil.copytree(demo, tmp_path / "before")
    book = edited(
        written(demo, tmp_path),
        lambda book: setattr(
            cell_of(book["crossing"], "AT-301.A1", "F3", head=3), "value", "X within 4s"
        ),
    )
    assert run(["tables", str(demo), "--take", book, "--force"]) == 0
    capsys.readouterr()
    assert run(["diff", "--json", str(tmp_path / "before"), str(demo)]) == 1
    found = json.loads(capsys.readouterr().out)["differences"]
    assert [one["text"] for one in found] == ["cell AT-301.A1 > F3 is missing in A"]
    # what was not edited keeps its order and its file
    old, new = load_site(tmp_path / "before" / "site.yaml"), load_site(demo / "site.yaml")
    assert new.site.matrix[:-1] == old.site.matrix
    assert (demo / "site.yaml").read_bytes() == (tmp_path / "before" / "site.yaml").read_bytes()
    assert (demo / "points.csv").read_bytes() == (tmp_path / "before" / "points.csv").read_bytes()


def test_a_table_keeps_its_separator_its_mark_and_the_remarks_at_its_top(demo, tmp_path):
    path = demo / "points.csv"
    rows = list(csv.reader(path.read_text("utf-8").splitlines()))
    out = io.StringIO()
    csv.writer(out, delimiter=";", lineterminator="\r\n").writerows(rows)
    path.write_bytes(b"\xef\xbb\xbf# About; the map\r\n" + out.getvalue().encode())
    book = edited(
        written(demo, tmp_path),
        lambda book: setattr(cell_of(book["points"], "Heartbeat", "note"), "value", "a; b"),
    )
    assert run(["tables", str(demo), "--take", book, "--force"]) == 0
    text = path.read_bytes()
    assert text.startswith(b"\xef\xbb\xbf# About; the map\r\nname;table;address;")
    assert b';"a; b"\r\n' in text
    assert text.count(b"\n") == text.count(b"\r\n")
    assert run(["check", str(demo)]) == 0


def test_tables_inside_the_site_file_become_files_and_its_remarks_stay(cellar, tmp_path):
    before = load_site(cellar).site
    head = cellar.read_text("utf-8").split("matrix:\n")[0]
    (cellar.parent / "points.csv").unlink()
    book = edited(
        written(cellar, tmp_path),
        lambda book: setattr(cell_of(book["points"], "lpg", "scale"), "value", 0.5),
    )
    assert run(["tables", str(cellar), "--take", book, "--force"]) == 0
    text = cellar.read_text("utf-8")
    assert text.startswith(head)
    assert text.endswith("points: {file: points.csv}\n")
    after = load_site(cellar).site
    assert after.matrix == before.matrix
    assert [p.scale for p in after.points if p.name == "lpg"] == [0.5]
    assert [p for p in after.points if p.name != "lpg"] == [
        p for p in before.points if p.name != "lpg"
    ]


def test_all_errors_come_at_once_each_with_its_cell(demo, tmp_path, capsys):
    def change(book):
        cell_of(book["points"], "AT-101 reading", "type").value = "flaot32"
        cell_of(book["points"], "AT-301 reading", "scale").value = "0,1"
        cell_of(book["points"], "Heartbeat", "address").value = "=1+1"
        cell_of(book["crossing"], "AT-201.A2", "V1", head=3).value = "yes"

    book = edited(written(demo, tmp_path), change)
    before = (demo / "points.csv").read_bytes()
    capsys.readouterr()
    assert run(["tables", str(demo), "--take", book, "--force"]) == 2
    err = capsys.readouterr().err
    said = [line.partition(": ")[2] for line in err.splitlines()]
    assert [line.partition(": write one of")[0] for line in sorted(said)] == [
        "cell crossing!F10: 'yes' does not begin with X or L: write for example X, L, X 10s, or "
        "L 10s off 30s within 5s",
        "cell points!C111: address: the cell holds a formula: save the workbook in a spreadsheet "
        "program, or values",
        "cell points!D2: AT-101 reading: type cannot be 'flaot32': did you mean float32? write one "
        "of bit, bit in word, bit field, enumeration, int16, uint16, int32, uint32, int64, uint64, "
        "float32, float64, ...",
        "cell points!I8: scale has a decimal comma, found '0,1': write 0.1, with a point",
    ]
    assert (demo / "points.csv").read_bytes() == before


def test_a_section_that_others_lean_on_is_left_alone(cellar, tmp_path, capsys):
    text = cellar.read_text("utf-8").replace("effect: K-FAN,", "effect: K-FAN, note: &why Runs on,")
    cellar.write_text(text.replace("note: at rest on", "note: *why"), "utf-8")
    book = edited(
        written(cellar, tmp_path),
        lambda book: setattr(cell_of(book["matrix"], "any.A1", "off_delay_s"), "value", 40),
    )
    before = cellar.read_bytes()
    assert run(["tables", str(cellar), "--take", book, "--force"]) == 2
    err = capsys.readouterr().err
    assert "without changing more: an alias names an anchor that is not there" in err
    assert "by hand first" in err
    assert cellar.read_bytes() == before


def both_edited(book):
    cell_of(book["crossing"], "any.A1", "K-FAN", head=3).value = "X off 25s"
    cell_of(book["matrix"], "any.A1", "off_delay_s").value = 40


def test_two_forms_of_the_matrix_that_disagree_are_refused_unless_one_is_chosen(
    cellar, tmp_path, capsys
):
    book = edited(written(cellar, tmp_path), both_edited)
    assert run(["tables", str(cellar), "--take", book]) == 2
    err = capsys.readouterr().err
    assert "both edited" in err
    assert "cell any.A1 > K-FAN: off-delay 40 -> 25 s" in err
    assert run(["tables", str(cellar), "--take", book, "--matrix", "matrix"]) == 1
    assert "off-delay 60 -> 40 s" in capsys.readouterr().out
    assert run(["tables", str(cellar), "--take", book, "--matrix", "crossing"]) == 1
    assert "off-delay 60 -> 25 s" in capsys.readouterr().out


def test_text_that_looks_like_a_formula_stays_text(demo, tmp_path):
    path = demo / "points.csv"
    text = path.read_text("utf-8").replace("Map revision,", "'=1+1,")
    path.write_text(text.replace("Building management may move it", "'@home"), "utf-8")
    names = [point.name for point in load_site(demo / "site.yaml").site.points]
    at = names.index("=1+1")
    book = load_workbook(written(demo, tmp_path))
    cell = book["points"].cell(at + 2, 1)
    assert (cell.value, cell.data_type, cell.quotePrefix) == ("=1+1", "s", True)
    cells = [cell for row in book["points"].iter_rows() for cell in row]
    assert [cell.coordinate for cell in cells if cell.data_type == "f"] == []


def test_what_a_table_cannot_hold_is_said_and_no_file_is_left(cellar, tmp_path, capsys):
    text = cellar.read_text("utf-8")
    cellar.write_text(text.replace("name: co2,", 'name: " co2 ",'), "utf-8")
    book = tmp_path / "t.xlsx"
    assert run(["tables", str(cellar), "-o", str(book)]) == 2
    assert "a table cannot hold this as it is" in capsys.readouterr().err
    assert not book.exists()
    cellar.write_text(text.replace("name: co2,", r'name: "co2\x07",'), "utf-8")
    assert run(["tables", str(cellar), "-o", str(book)]) == 2
    assert "control character" in capsys.readouterr().err


def test_nothing_is_overwritten_and_wrong_use_is_said(cellar, tmp_path, capsys):
    book = written(cellar, tmp_path)
    for arguments, words in (
        (["-o", str(book)], "is there already"),
        (["-o", str(tmp_path / "t.csv")], "does not end in .xlsx"),
        (["--force"], "belong to --take"),
        (["--take", str(cellar)], "is no workbook"),
        (["--take", str(tmp_path / "none.xlsx")], "there is no workbook"),
        (["--take", str(book), "-o", str(book)], "give one of them"),
    ):
        assert run(["tables", str(cellar), *arguments]) == 2
        assert words in capsys.readouterr().err


def test_a_workbook_with_other_sheets_is_refused(cellar, tmp_path, capsys):
    def change(book):
        for name in ("points", "matrix", "crossing"):
            book[name].title = f"my {name}"

    book = edited(written(cellar, tmp_path), change)
    assert run(["tables", str(cellar), "--take", book]) == 2
    assert "has none of the sheets points, matrix, crossing" in capsys.readouterr().err


def test_the_sheets_help_to_edit_and_to_print(demo, tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        book = load_workbook(written(demo, tmp_path))
    assert book.sheetnames == ["points", "matrix", "crossing", "notation"]
    points, crossing = book["points"], book["crossing"]
    assert (points.freeze_panes, crossing.freeze_panes) == ("B2", "B4")
    lists = {str(one.sqref): one.formula1 for one in points.data_validations.dataValidation}
    assert lists["B2:B357"] == '"coil,discrete input,holding register,input register"'
    assert "float32" in lists["D2:D357"]
    # A list in a cell's rule may have 255 characters (ECMA-376 practice; from memory)
    assert all(len(formula) <= 257 for formula in lists.values())
    assert points["C1"].comment.text.startswith("In the notation of the site file")
    for sheet in (points, book["matrix"], crossing):
        assert sheet.page_setup.fitToWidth == 1
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert points.print_title_rows == "$1:$1"
    assert crossing.page_setup.fitToHeight == 1


def test_every_column_has_its_remark():
    assert set(CELL_REMARKS) == set(Cell.model_fields)
    assert set(POINT_REMARKS) == set(Point.model_fields)


@pytest.mark.parametrize(
    ("panel", "title"),
    [
        ({}, "# Cause and effect of GDP-7 Cellar: causes down"),
        ({"document": "C-1"}, "# Cause and effect of GDP-7 Cellar, C-1: causes down"),
        (
            {"document": "C-1", "document_revision": "B", "name": ""},
            "# Cause and effect of GDP-7, C-1 B: causes down",
        ),
    ],
)
def test_the_crossing_is_titled_with_what_the_panel_has(cellar, panel, title):
    site = load_site(cellar).site
    named = {"tag": "GDP-7", "name": "Cellar", "document": "", "document_revision": "", **panel}
    book = tables_workbook(site.model_copy(update={"panel": site.panel.model_copy(update=named)}))
    assert book["crossing"]["A1"].value.startswith(title)
