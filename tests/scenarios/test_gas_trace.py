import pytest

from gaswitness_scenarios.gas_profile import Recorded
from gaswitness_scenarios.gas_trace import read_trace
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place

ASKED = Place("script.yaml", 7, 9)


def read(tmp_path, text, name="leak.csv"):
    (tmp_path / name).write_bytes(text.encode())
    return read_trace(tmp_path / name, name, ASKED)


@pytest.mark.parametrize(
    "text",
    [
        "time_s,level\n0,1.5\n10,20\n",
        "level,time_s\r\n1.5,0\r\n20,10\r\n",
        "\ufefftime_s;level\n0;1,5\n10;20,0\n",
        "time_s,level\n\n0, 1.5\n10,20",
    ],
)
def test_trace_reads_from_any_usual_csv(tmp_path, text):
    recorded, source = read(tmp_path, text)
    assert recorded == Recorded("leak.csv", (0.0, 10.0), (1.5, 20.0))
    assert source.content == text.encode()


def test_every_bad_row_is_named_with_its_own_file_and_line(tmp_path):
    text = "time_s,level\n0,1\n10,much\n5,3\n5,4\n-1,2\n20,\nnan,1\n"
    with pytest.raises(SiteFileError) as raised:
        read(tmp_path, text)
    file = tmp_path / "leak.csv"
    assert str(raised.value).splitlines() == [
        f"{file}:3:2: level 'much' is not a number: write a number",
        f"{file}:5:1: time_s 5 does not come after the row above: "
        "write times that rise from 0 or later",
        f"{file}:6:1: time_s -1 does not come after the row above: "
        "write times that rise from 0 or later",
        f"{file}:7:2: level is missing: write a number",
        f"{file}:8:1: time_s 'nan' is not a number: write a number",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time_s,level\n", "the trace has no rows"),
        ("", "the trace has no rows"),
        ("time,level\n0,1\n", "column 'time' is not known: did you mean time_s?"),
        ("time_s\n0\n", "the column level is missing"),
    ],
)
def test_trace_without_its_columns_or_rows_is_refused(tmp_path, text, said):
    with pytest.raises(SiteFileError, match=said.replace("?", r"\?")):
        read(tmp_path, text)


def test_missing_trace_is_blamed_on_the_place_that_asks_for_it(tmp_path):
    with pytest.raises(SiteFileError, match=r"script\.yaml:7:9: there is no recorded trace"):
        read_trace(tmp_path / "none.csv", "none.csv", ASKED)
