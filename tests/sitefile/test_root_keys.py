"""A section of a site file replaced by the name of its table; every other byte stays."""

import pytest

from gaswitness_sitefile.document import read_document
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.root_keys import with_table_file

SITE = """\
# about the site
panel: {tag: P}   # whose
points:           # inline
  - {name: a}
  # between
- {name: "b: points:"}

# about the matrix
matrix:
  - {cause: x,
effect: y}

# about the end
map: {notation: pdu}
"""


def replaced(tmp_path, text, name, file="t.csv"):
    path = tmp_path / "site.yaml"
    path.write_bytes(text.encode())
    document = read_document(path, "site file")
    return with_table_file(document, document.text, name, file)


def test_only_the_lines_of_the_section_change(tmp_path):
    text = SITE.replace('- {name: "b', '  - {name: "b').replace("\neffect", " effect")
    assert replaced(tmp_path, text, "points") == (
        "# about the site\n"
        "panel: {tag: P}   # whose\n"
        "points: {file: t.csv}\n"
        "\n"
        "# about the matrix\n"
        "matrix:\n"
        "  - {cause: x, effect: y}\n"
        "\n"
        "# about the end\n"
        "map: {notation: pdu}\n"
    )


def test_items_that_are_not_indented_belong_to_their_section(tmp_path):
    text = "points:\n- {name: a}\n- name: b\n  unit: ppm\nmap: {}\n"
    assert replaced(tmp_path, text, "points") == "points: {file: t.csv}\nmap: {}\n"


def test_the_last_section_and_one_that_is_missing(tmp_path):
    assert replaced(tmp_path, "map: {}\nmatrix:\n  - {}\n", "matrix") == (
        "map: {}\nmatrix: {file: t.csv}\n"
    )
    assert replaced(tmp_path, "map: {}", "matrix") == "map: {}\nmatrix: {file: t.csv}\n"


def test_a_name_with_signs_is_quoted(tmp_path):
    assert replaced(tmp_path, "points: []\n", "points", "my points.csv") == (
        'points: {file: "my points.csv"}\n'
    )


def test_a_root_in_braces_is_refused_with_the_place(tmp_path):
    with pytest.raises(SiteFileError) as caught:
        replaced(tmp_path, "{map: {}, points: []}\n", "points")
    (problem,) = caught.value.problems
    assert "does not begin a line" in problem.what
    assert "points: ..." in problem.remedy
