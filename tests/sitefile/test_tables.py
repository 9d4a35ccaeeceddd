"""Tables beside the site file: CSV in its dialects, workbooks, and what is wrong in their cells."""

import datetime

import pytest
from openpyxl import Workbook, load_workbook

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.tables import read_table

TABLES = ("channels", "inputs", "outputs", "matrix", "points")


def problems_of(path):
    with pytest.raises(SiteFileError) as caught:
        load_site(path)
    return caught.value.problems


def in_workbook(folder):
    """The cellar's tables as sheets of one workbook, numbers as numbers; the site file for it."""
    book = Workbook()
    book.remove(book.active)
    text = (folder / "cellar-tables.yaml").read_text(encoding="utf-8")
    for name in TABLES:
        sheet = book.create_sheet(name.title())
        table = read_table(folder / f"{name}.csv", name=f"{name}.csv")
        sheet.append(list(table.columns))
        for row in table.rows:
            sheet.append([as_cell(name, row.cells.get(column)) for column in table.columns])
        asked = f"{{file: cellar.xlsx, sheet: {name.title()}}}"
        text = text.replace(f"{{file: {name}.csv}}", asked)
    book.save(folder / "cellar.xlsx")
    path = folder / "cellar-workbook.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def as_cell(table, text):
    try:
        return float(text) if "." in text else int(text)
    except (TypeError, ValueError):
        return text


def test_inline_csv_and_workbook_are_one_site(cellar_folder):
    inline = load_site(cellar_folder / "cellar.yaml")
    by_csv = load_site(cellar_folder / "cellar-tables.yaml")
    by_workbook = load_site(in_workbook(cellar_folder))

    assert by_csv.site == inline.site
    assert by_workbook.site == inline.site


def test_a_table_with_a_byte_order_mark_reads_the_same(cellar_folder):
    path = cellar_folder / "points.csv"
    text = path.read_text(encoding="utf-8").replace("\n", "\r\n")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())

    loaded = load_site(cellar_folder / "cellar-tables.yaml")

    assert len(loaded.site.points) == 17


def test_a_cell_of_a_table_is_a_place(cellar_folder):
    loaded = load_site(cellar_folder / "cellar-tables.yaml")

    place = loaded.place_of(("points", 2, "address"))
    assert (place.file.endswith("points.csv"), place.line, place.column) == (True, 4, 3)
    level = loaded.place_of(("channels", 2, "levels", "A2", "setpoint"))
    assert (level.line, level.column) == (6, 13)


# what is broken: (table, text there, text instead, line, column, words)
CELLS = {
    "a decimal comma": ("channels.csv", ";5.5;", ";5,5;", 3, 8, ["decimal comma", "write 5.5"]),
    "a word for a number": ("points.csv", ",0.01,", ",tiny,", 2, 9, ["scale must be a number"]),
    "a word for yes": ("outputs.csv", "\tyes", "\tsure", 3, 3, ["must be yes or no", "'sure'"]),
    "a misspelt table": ("points.csv", "stop,discrete input", "stop,discreet input", 18, 2,
                         ["did you mean discrete input?"]),
    "a misspelt column": ("points.csv", ",address,", ",adress,", 1, 3,
                          ["adress is not a known column", "did you mean address?",
                           "column address is missing"]),
    "a column twice": ("inputs.csv", "tag,name,kind", "tag,name,name", 1, 3, ["stands twice"]),
    "codes that cannot be read": ("points.csv", "2=A2", "2:A2", 5, 14, ["'2:A2'", "0=normal"]),
    "a code twice": ("points.csv", "2=A2", "1=A2", 5, 14, ["has 1 twice"]),
    "a needed cell empty": ("matrix.csv", ",K-FAN,,,60,5", ",K-FAN,,,60,", 2, 6,
                            ["response_s is missing"]),
    "a tag nobody has": ("matrix.csv", "PB-1.active,", "PB-2.active,", 4, 1, ["'PB-2'"]),
    "a value beyond the columns": ("inputs.csv", ",stop button", ",stop button,x", 2, 4,
                                   ["column without a name", "quotes"]),
    "a quote left open": ("matrix.csv", 'AT-3.A2)"', "AT-3.A2)", 3, 1, ["cannot be read"]),
    "one end of a range": ("channels.csv", ";0;5;", ";0;;", 3, 6, ["item 2 of range is missing"]),
    "a reference of another table": ("points.csv", "30007", "40007", 6, 3, ["holding register"]),
    "a level without setpoint": ("channels.csv", "20;;2;40;;2", "20;;2;;;2", 6, 13,
                                 ["setpoint is missing"]),
}  # fmt: skip


@pytest.mark.parametrize("what", CELLS)
def test_a_broken_cell_says_where_and_how(what, cellar_folder):
    table, old, new, line, column, words = CELLS[what]
    path = cellar_folder / table
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")

    problems = problems_of(cellar_folder / "cellar-tables.yaml")

    places = [problem.place for problem in problems if problem.place.file.endswith(table)]
    assert (line, column) in [(place.line, place.column) for place in places]
    said = "\n".join(str(problem) for problem in problems)
    assert all(word in said for word in words), said


def test_a_missing_column_is_said_once(cellar_folder):
    path = cellar_folder / "outputs.csv"
    rows = [line.split("\t") for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("\n".join("\t".join([r[0], *r[2:]]) for r in rows), encoding="utf-8")

    problems = problems_of(cellar_folder / "cellar-tables.yaml")

    assert [problem.what for problem in problems] == ["the column kind is missing"]


def test_errors_of_site_file_and_tables_come_together(cellar_folder):
    for name, old, new in (
        ("cellar-tables.yaml", "tag: GDP-7", "tag: GDP 7"),
        ("points.csv", "0.01", "0,01"),
        ("outputs.csv", "sounder", "souner"),
    ):
        path = cellar_folder / name
        path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    problems = problems_of(cellar_folder / "cellar-tables.yaml")

    files = {problem.place.file.rpartition("/")[2] for problem in problems}
    assert files == {"cellar-tables.yaml", "points.csv", "outputs.csv"}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\n;;\n# remark\n", "is empty"),
        (b"tag,name\nPB-1,\xff\n", "not UTF-8"),
        (b"tag,name\nPB-1,\0\n", "binary"),
    ],
)
def test_a_table_that_is_no_table_says_so(cellar_folder, content, words):
    (cellar_folder / "inputs.csv").write_bytes(content)

    problems = problems_of(cellar_folder / "cellar-tables.yaml")

    assert any(words in p.what and p.place.file.endswith("inputs.csv") for p in problems)


def changed_sheet(folder, change):
    path = in_workbook(folder)
    book = load_workbook(folder / "cellar.xlsx")
    change(book)
    book.save(folder / "cellar.xlsx")
    return path


# what is broken: (change of the workbook, the cell named, words)
SHEETS = {
    "a formula never worked out": (
        lambda book: book["Points"].__setitem__("I2", "=1/100"), "Points!I2", ["formula", "save"]),
    "a date": (
        lambda book: book["Points"].__setitem__("C4", datetime.date(2026, 5, 3)), "Points!C4",
        ["date", "format the cell as text"]),
    "merged cells": (
        lambda book: book["Points"].merge_cells("B8:B9"), "Points!B8:B9", ["merged", "unmerge"]),
    "a spreadsheet's error": (
        lambda book: book["Matrix"].__setitem__("F3", "#REF!"), "Matrix!F3", ["#REF!"]),
    "a wrong word": (
        lambda book: book["Points"].__setitem__("D7", "bitt field"), "Points!D7",
        ["did you mean bit field?"]),
    "a wrong number": (
        lambda book: book["Channels"].__setitem__("H2", "5,5"), "Channels!H2", ["decimal comma"]),
    "an address with a half": (
        lambda book: book["Points"].__setitem__("C4", 30005.5), "Points!C4", ["whole number"]),
}  # fmt: skip


@pytest.mark.parametrize("what", SHEETS)
def test_a_broken_cell_of_a_workbook_is_named(what, cellar_folder):
    change, cell, words = SHEETS[what]

    problems = problems_of(changed_sheet(cellar_folder, change))

    first = problems[0]
    assert first.place.cell == cell
    assert first.place.file.endswith("cellar.xlsx")
    assert f"cell {cell}: " in str(first)
    assert all(word in str(first) for word in words), str(first)


def test_the_row_and_column_of_a_workbook_cell_are_counted(cellar_folder):
    path = changed_sheet(cellar_folder, lambda book: book["Points"].__setitem__("D7", "nothing"))

    place = problems_of(path)[0].place

    assert (place.line, place.column) == (7, 4)


def test_a_wrong_sheet_names_those_there_are(cellar_folder):
    path = in_workbook(cellar_folder)
    text = path.read_text(encoding="utf-8").replace("sheet: Points", "sheet: Point")
    path.write_text(text, encoding="utf-8")

    problem = problems_of(path)[0]

    assert problem.place.line == 17
    assert "no sheet 'Point'" in problem.what
    assert "did you mean Points?" in problem.remedy
    assert "Channels, Inputs, Outputs, Matrix, Points" in problem.remedy


def test_a_workbook_of_many_sheets_wants_one_named(cellar_folder):
    path = in_workbook(cellar_folder)
    text = path.read_text(encoding="utf-8").replace(", sheet: Points", "")
    path.write_text(text, encoding="utf-8")

    problem = problems_of(path)[0]

    assert "has 5 sheets, and none is named" in problem.what
    assert "one of Channels, Inputs, Outputs, Matrix, Points" in problem.remedy


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04broken", b"tag,name\nPB-1,x\n"])
def test_a_workbook_that_is_none_says_so(cellar_folder, content):
    path = in_workbook(cellar_folder)
    (cellar_folder / "cellar.xlsx").write_bytes(content)

    assert all("not a workbook" in problem.what for problem in problems_of(path))


def test_a_damaged_workbook_says_so(cellar_folder):
    path = in_workbook(cellar_folder)
    whole = (cellar_folder / "cellar.xlsx").read_bytes()
    (cellar_folder / "cellar.xlsx").write_bytes(whole[: len(whole) // 2])

    assert "not a workbook" in problems_of(path)[0].what


def test_a_formula_with_its_value_saved_is_read(cellar_folder, tmp_path):
    path = in_workbook(cellar_folder)
    book = load_workbook(cellar_folder / "cellar.xlsx")
    book["Points"]["I2"] = "=1/100"
    book.save(cellar_folder / "cellar.xlsx")
    _save_value(cellar_folder / "cellar.xlsx", "0.01")

    assert load_site(path).site.points[0].scale == 0.01


def _save_value(path, value):
    """Write the value of the only formula into the file, as a spreadsheet program does."""
    import zipfile

    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name, content in parts.items():
        text = content.replace(b"<f>1/100</f><v />", f"<f>1/100</f><v>{value}</v>".encode())
        text = text.replace(b"<f>1/100</f><v></v>", f"<f>1/100</f><v>{value}</v>".encode())
        parts[name] = text
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def test_a_separator_within_quotes_is_none(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text('"a; b; c",kind\nK1,fan\n', encoding="utf-8")

    assert list(read_table(path, name="t.csv").columns) == ["a; b; c", "kind"]


def test_blank_names_and_remarks_are_skipped(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("# about\n\ntag ; kind\n;\n# more;x\nK1;fan\n", encoding="utf-8")

    table = read_table(path, name="t.csv")

    assert list(table.columns) == ["tag", "kind"]
    assert [dict(row.cells) for row in table.rows] == [{"tag": "K1", "kind": "fan"}]
    assert table.rows[0].place.line == 6


def test_a_row_after_a_cell_of_two_lines_keeps_its_line(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text('tag,note\nK1,"two\nlines"\nK2,x\n', encoding="utf-8")

    table = read_table(path, name="t.csv")

    assert [row.place.line for row in table.rows] == [2, 4]
