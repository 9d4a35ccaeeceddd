"""The matrix as drawn: its notation in and out, what it refuses, and that nothing is lost."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from gaswitness_sitefile.crossing import crossing_of, crossing_records, is_crossing, seconds_text
from gaswitness_sitefile.differences import differences
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.load import TableFile, load_site
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.rows import Rows, csv_text
from gaswitness_sitefile.tables import read_table


def drawn(cells, effects=()):
    """The cells as CSV in the form of the drawing."""
    found = crossing_of(cells, effects)
    empty = (None,) * (len(found.effects) - 1)
    rows = [(c, *(found.marks.get((c, e)) for e in found.effects)) for c in found.causes]
    notes = [(f"note {number}", text, *empty) for number, text in enumerate(found.notes, 1)]
    return csv_text(Rows((found.corner, *found.effects), (*rows, *notes)))


def read(folder, text):
    path = folder / "drawn.csv"
    path.write_text(text, encoding="utf-8", newline="")
    table = read_table(path, name="drawn.csv")
    assert is_crossing(table)
    return crossing_records(table)


# A mark, and what it says; the general response time is 4 s. The notation is our own.
MARKS = {
    "X": {"latching": False},
    "x": {"latching": False},
    "L": {"latching": True},
    "X 10s": {"latching": False, "on_delay_s": 10.0},
    "L 10 s": {"latching": True, "on_delay_s": 10.0},
    "X on 1.5min": {"latching": False, "on_delay_s": 90.0},
    "X off 0.5h": {"latching": False, "off_delay_s": 1800.0},
    "X\noff 30s\nwithin 2s": {"latching": False, "off_delay_s": 30.0, "response_s": 2.0},
    "X 10s, early 2s; within 0.1s": {
        "latching": False,
        "on_delay_s": 10.0,
        "early_s": 2.0,
        "response_s": 0.1,
    },
    "X note 1": {"latching": False, "note": "to K1, at once"},
}


@pytest.mark.parametrize("mark", MARKS)
def test_a_mark_says(mark, tmp_path):
    text = f'"cause \\ effect, within 4s",K1\nAT-1.A1,"{mark}"\nnote 1,"to K1, at once"\n'
    records, problems = read(tmp_path, text)
    assert problems == []
    assert [record.data for record in records] == [
        {"cause": "AT-1.A1", "effect": "K1", "response_s": 4.0} | MARKS[mark]
    ]


@pytest.mark.parametrize("empty", ["", "-", ".", "  "])
def test_an_empty_crossing_is_no_cell(empty, tmp_path):
    text = f"cause / effect within 4s,K1,K2\nAT-1.A1,{empty},X\n"
    records, problems = read(tmp_path, text)
    assert problems == []
    assert [record.data["effect"] for record in records] == ["K2"]


# A mark that is refused: words of the complaint, words of the remedy.
REFUSED = {
    "Y": ("does not begin with X or L", "write for example X"),
    "10s": ("does not begin with X or L", "X 10s"),
    "10": ("does not begin with X or L", "X 10s"),
    "XX": ("does not begin with X or L", "write for example X"),
    "X 10": ("'10' has no unit", "write s, min or h"),
    "X 10 fortnights": ("has no unit of time", "s, min or h"),
    "X after 10s": ("'after' is no word", "off 30s"),
    "X soon": ("'soon' is no part", "X 10s"),
    '"X 0,5s"': ("decimal comma", "write 0.5s"),
    "X 10s on 5s": ("a second time", "keep one"),
    "X note 2": ("there is no row 'note 2'", "add one below the causes"),
}


@pytest.mark.parametrize("mark", REFUSED)
def test_a_mark_that_is_refused_says_where_and_how(mark, tmp_path):
    text = f'"cause \\ effect, within 4s",K0,K1\n#,,\nAT-1.A1,,{mark}\nnote 1,text\n'
    records, problems = read(tmp_path, text)
    assert records == []
    (problem,) = problems
    assert (problem.place.line, problem.place.column) == (3, 3)
    assert REFUSED[mark][0] in problem.what
    assert REFUSED[mark][1] in problem.remedy


def test_all_errors_come_at_once_with_their_cells(cellar_folder):
    (cellar_folder / "matrix.csv").write_text(
        "cause \\ effect,K-FAN,K-HOON,# why\n"
        "any.A1,X,,a remark counts for nothing\n"  # no response time anywhere
        "AT-9.A1,X within 5s,X within 5s,\n"
        "AT-1.,X within 5s,X within 5s,\n"
        ",X within 5s,,\n",
        encoding="utf-8",
    )
    with pytest.raises(SiteFileError) as caught:
        load_site(cellar_folder / "cellar-tables.yaml")
    found = [(p.place.line, p.place.column, p.what) for p in caught.value.problems]
    assert [(line, column) for line, column, _ in found] == [(1, 3), (2, 2), (3, 1), (4, 1), (5, 2)]
    for (_, _, what), words in zip(
        found,
        ("'K-HOON' is no known output", "no response time", "'AT-9'", "'AT-1.'", "without a cause"),
        strict=True,
    ):
        assert words in what


def test_a_corner_that_says_more_than_a_response_is_refused(tmp_path):
    _, problems = read(tmp_path, '"cause \\ effect, off 4s",K1\nAT-1.A1,X within 2s\n')
    assert ["more than a response time" in problem.what for problem in problems] == [True]


def test_a_list_without_its_column_effect_is_no_drawing(cellar_folder):
    path = cellar_folder / "matrix.csv"
    path.write_text(path.read_text("utf-8").replace("effect", "efect"), "utf-8")
    with pytest.raises(SiteFileError) as caught:
        load_site(cellar_folder / "cellar-tables.yaml")
    assert any("did you mean effect?" in problem.remedy for problem in caught.value.problems)


def test_the_cellar_drawn_is_the_same_matrix(cellar_folder):
    before = load_site(cellar_folder / "cellar.yaml").site
    text = drawn(before.matrix, [output.tag for output in before.outputs])
    path = cellar_folder / "drawn.csv"
    path.write_text(text, "utf-8")
    after = load_site(cellar_folder / "cellar.yaml", {"matrix": TableFile(path)})
    assert differences(before, after.site) == ()
    assert text.splitlines()[0] == '"cause \\ effect, within 5s",K-FAN,K-HORN,K-LAMP,K-FAULT'
    # a cell of the drawing is a place
    index = next(at for at, cell in enumerate(after.site.matrix) if cell.effect == "K-FAULT")
    place = after.place_of(("matrix", index, "on_delay_s"))
    assert (place.file, place.line, place.column) == (str(path), 5, 5)


def test_times_are_written_without_an_exponent():
    assert [seconds_text(t) for t in (10.0, 0.5, 1e-7, 1e16)] == [
        "10s",
        "0.5s",
        "0.0000001s",
        "10000000000000000s",
    ]


def test_the_corner_says_the_response_of_most_cells():
    cells = [
        Cell(cause=f"A-{at}.A1", effect="K1", response_s=allowed)
        for at, allowed in enumerate((5.0, 4.0, 4.0))
    ]
    found = crossing_of(cells, ())
    assert found.corner == "cause \\ effect, within 4s"
    assert list(found.marks.values()) == ["X within 5s", "X", "X"]


def test_a_cause_that_cannot_be_taken_is_said_once(cellar_folder):
    book = Workbook()
    sheet = book.active
    sheet.append(["cause \\ effect, within 5s", "K-FAN"])
    sheet.append(["=A1", "X"])
    book.save(cellar_folder / "drawn.xlsx")
    table = TableFile(cellar_folder / "drawn.xlsx", sheet.title)
    with pytest.raises(SiteFileError) as caught:
        load_site(cellar_folder / "cellar.yaml", {"matrix": table})
    assert [problem.place.cell for problem in caught.value.problems] == ["Sheet!A2"]


times = st.floats(0, 1e7).map(lambda x: x + 0.0)
# What a spreadsheet shows for a broken formula cannot be a text of a table: it is refused there.
SPREADSHEET_ERRORS = ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!")
texts = st.text(st.characters(exclude_categories=("C", "Z")), max_size=20).filter(
    lambda text: text not in SPREADSHEET_ERRORS
)


@st.composite
def cells(draw):
    on = draw(st.one_of(st.just(0.0), times))
    return Cell(
        cause=draw(st.sampled_from(("AT-1.A1", "any.A2", "NOT (DI-1.active OR DI-2.active)"))),
        effect=draw(st.sampled_from(("K1", "K2", "V-1/A"))),
        on_delay_s=on,
        off_delay_s=draw(st.one_of(st.just(0.0), times)),
        latching=draw(st.booleans()),
        response_s=draw(st.one_of(st.sampled_from((2.0, 4.0)), times.filter(bool))),
        early_s=draw(st.one_of(st.none(), st.floats(0, 1).map(lambda share: share * on))),
        note=draw(texts),
    )


@given(drawing=st.lists(cells(), min_size=1, unique_by=lambda cell: cell.id))
def test_no_cell_changes_on_its_way_through_the_drawing(tmp_path_factory, drawing):
    folder = tmp_path_factory.mktemp("drawn")
    records, problems = read(folder, drawn(drawing))
    assert problems == []
    back = [Cell.model_validate(record.data) for record in records]
    assert sorted(back, key=lambda c: c.id) == sorted(drawing, key=lambda c: c.id)


@given(
    corner=st.text(st.characters(exclude_categories=("C",)), max_size=12),
    mark=st.one_of(
        st.text(st.characters(exclude_categories=("C",)), max_size=12),
        st.text("XLonffwithearlynote 0123456789.,;smh", max_size=16).map("X ".__add__),
    ),
)
def test_whatever_stands_there_is_read_or_refused_in_words(tmp_path_factory, corner, mark):
    drawing = Rows((f"cause \\ effect {corner}", "K1"), (("A-1.A1", mark), ("note 1", "why")))
    records, problems = read(tmp_path_factory.mktemp("any"), csv_text(drawing))
    assert len(records) + len(problems) <= 2
    assert all(problem.what and problem.remedy for problem in problems)


def test_the_notation_says_all_that_a_cell_holds():
    """A field added to the model must get its mark, or the drawing would lose it."""
    assert set(Cell.model_fields) == {
        "cause",
        "effect",
        "on_delay_s",
        "off_delay_s",
        "latching",
        "response_s",
        "early_s",
        "note",
    }
