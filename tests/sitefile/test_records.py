"""Files of records and queues in the map."""

import pytest
from pydantic import ValidationError

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import MapRules


def test_files_and_queues_are_read():
    rules = MapRules.model_validate(
        {
            "files": [{"number": 4, "records": 3, "values": [1, 65535]}],
            "queues": [{"pointer": 1246, "values": [440, 4740]}],
        }
    )
    assert rules.files[0].values == (1, 65535)
    assert not rules.files[0].writable
    assert rules.queues[0].pointer == 1246


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"files": [{"number": 4, "records": 1, "values": [1, 2]}]}, "2 values for 1 records"),
        ({"files": [{"number": 4, "records": 1}] * 2}, "file 4 stands twice"),
        ({"queues": [{"pointer": 4}] * 2}, "two queues have the pointer 4"),
        ({"files": [{"number": 0, "records": 1}]}, "greater than or equal to 1"),
        ({"files": [{"number": 1, "records": 10001}]}, "less than or equal to 10000"),
        ({"queues": [{"pointer": 1, "values": [65536]}]}, "less than or equal to 65535"),
    ],
)
def test_what_cannot_be_is_refused(parts, words):
    with pytest.raises(ValidationError, match=words):
        MapRules.model_validate(parts)


def test_a_wrong_file_is_told_with_its_line(good, tmp_path):
    text = (good / "cellar.yaml").read_text("utf-8")
    wrong = "map:\n  files:\n    - {number: 4, records: 1, values: [1, 2]}\n"
    flow = next(line for line in text.splitlines() if line.startswith("map: {"))
    path = tmp_path / "cellar.yaml"
    path.write_text(text.replace(flow, wrong + "  notation: reference", 1), "utf-8")
    line = 1 + path.read_text("utf-8").split("number: 4")[0].count("\n")
    with pytest.raises(SiteFileError) as caught:
        load_site(path)
    assert f"cellar.yaml:{line}:" in str(caught.value)
    assert "file 4 has 2 values for 1 records: write more records" in str(caught.value)
