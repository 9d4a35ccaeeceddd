"""YAML as people write it: words, numbers and places, by the core schema of YAML 1.2.2."""

from enum import StrEnum
from typing import Annotated, Literal

import pytest
from pydantic import Field

from gaswitness_sitefile.document import read_document
from gaswitness_sitefile.errors import GaswitnessError, SiteFileError
from gaswitness_sitefile.model import Record, Seconds
from gaswitness_sitefile.yaml_text import parse_yaml


@pytest.mark.parametrize(
    ("word", "value"),
    [("NO", "NO"), ("no", "no"), ("on", "on"), ("yes", "yes"), ("y", "y"), ("010", 10),
     ("0o10", 8), ("0x6B", 107), ("-17", -17), ("+3", 3), ("1_000", "1_000"), ("12:30", "12:30"),
     ("1e3", 1000.0), (".5", 0.5), ("5.", 5.0), ("2026-03-01", "2026-03-01"), ("true", True),
     ("False", False), ("~", None), ("null", None), ("'5'", "5"), ('"true"', "true"),
     ("0b1", "0b1"), ("=", "="), ("0,5", "0,5")],
)  # fmt: skip
def test_words_are_read_by_the_core_schema(word, value):
    """YAML 1.2.2 clause 10.3.2. YAML 1.1 made `NO` (nitrogen monoxide!) a truth value."""
    found = parse_yaml(f"gas: {word}\n", "f").data["gas"]

    assert found == value
    assert type(found) is type(value)


def test_a_yaml_line_of_1_1_changes_nothing():
    assert parse_yaml("%YAML 1.1\n---\ngas: NO\nn: 010\n", "f").data == {"gas": "NO", "n": 10}


def test_a_number_too_long_to_be_one_stays_text():
    assert parse_yaml(f"n: {'9' * 5000}\n", "f").data == {"n": "9" * 5000}


def test_places_are_those_of_keys_and_items(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text("one:\n  - {x: 1}\n  -   y: 2\n      z: [3, 4]\n", encoding="utf-8")

    document = read_document(path, "site file")

    places = {
        loc: (document.place(loc).line, document.place(loc).column)
        for loc in [("one",), ("one", 0), ("one", 0, "x"), ("one", 1, "z"), ("one", 1, "z", 1)]
    }
    assert places == {
        ("one",): (1, 1),
        ("one", 0): (2, 5),
        ("one", 0, "x"): (2, 6),
        ("one", 1, "z"): (4, 7),
        ("one", 1, "z", 1): (4, 14),
    }


def test_a_place_that_is_not_there_is_that_of_its_parent(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text("one:\n  two: 2\n", encoding="utf-8")

    place = read_document(path, "site file").place(("one", "two", "three", 4))

    assert str(place) == f"{path}:2:3"


def test_merged_keys_are_read_and_placed_where_they_are_written():
    parsed = parse_yaml("a: &a\n  x: 1\n  y: 2\nb:\n  <<: *a\n  y: 3\n", "f")

    assert parsed.data["b"] == {"x": 1, "y": 3}
    assert parsed.marks["b", "x"] == (2, 3)
    assert parsed.marks["b", "y"] == (6, 3)


def test_the_first_of_several_merged_groups_wins():
    """As the merge key's own draft (yaml.org/type/merge) says."""
    parsed = parse_yaml("a: &a {x: 1}\nb: &b {x: 2, z: 5}\nc:\n  <<: [*a, *b]\n", "f")

    assert parsed.data["c"] == {"x": 1, "z": 5}


def test_numbers_not_written_plainly_keep_their_text():
    parsed = parse_yaml("a: 0x006B\nb: 00001\nc: 12\n", "f")

    assert dict(parsed.written) == {("a",): "0x006B", ("b",): "00001"}


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_line_ends_of_any_system_count_alike(tmp_path, ends):
    path = tmp_path / "a.yaml"
    path.write_bytes(ends.join(["\ufeffa: 1", "b: 2", "c: 3", ""]).encode())

    assert read_document(path, "site file").place(("c",)).line == 3


def test_all_repeated_keys_are_said():
    with pytest.raises(SiteFileError) as caught:
        parse_yaml("a: 1\na: 2\nb: {c: 1, c: 2}\n", "f")

    assert [str(problem) for problem in caught.value.problems] == [
        "f:2:1: a stands twice, first in line 1: keep one of the two",
        "f:3:11: c stands twice, first in line 3: keep one of the two",
    ]


def test_a_folder_and_a_missing_file_say_so(tmp_path):
    (tmp_path / "harbour.yaml").write_text("a: 1\n", encoding="utf-8")

    with pytest.raises(SiteFileError, match="is a folder, not a script"):
        read_document(tmp_path, "script")
    with pytest.raises(GaswitnessError, match=r"no script .*did you mean harbour\.yaml\?"):
        read_document(tmp_path / "harbor.yaml", "script")
    with pytest.raises(SiteFileError, match="no folder"):
        read_document(tmp_path / "x" / "y.yaml", "script")


def test_a_name_that_cannot_be_is_refused(tmp_path):
    with pytest.raises(SiteFileError):
        read_document(tmp_path / ("x" * 5000), "script")
    with pytest.raises(SiteFileError, match="cannot be read"):
        read_document(tmp_path / "a\0b", "script")


class Colour(StrEnum):
    RED = "red"
    GREEN = "green"


class Wait(Record):
    kind: Literal["wait"]
    for_s: Seconds


class Show(Record):
    kind: Literal["show"]
    colour: Colour


class Play(Record):
    title: str
    steps: tuple[Annotated[Wait | Show, Field(discriminator="kind")], ...]


def validated(tmp_path, text):
    path = tmp_path / "play.yaml"
    path.write_text(text, encoding="utf-8")
    return read_document(path, "script").validated(Play)


def test_a_document_becomes_a_record_of_any_model(tmp_path):
    play = validated(tmp_path, "title: t\nsteps:\n  - {kind: wait, for_s: 3}\n")

    assert play == Play(title="t", steps=(Wait(kind="wait", for_s=3),))


def test_problems_in_records_of_several_kinds_are_placed(tmp_path):
    text = """\
titel: t
steps:
  - {kind: wait, for_s: -1}
  - {kind: show, color: red}
  - {kind: shout}
  - kind: show
    colour: gren
"""
    with pytest.raises(SiteFileError) as caught:
        validated(tmp_path, text)

    said = [
        str(problem).removeprefix(f"{tmp_path / 'play.yaml'}:") for problem in caught.value.problems
    ]
    assert said == [
        "1:1: title is missing: write 'title: TEXT'",
        "1:1: titel is not a known key: did you mean title? known here are title, steps",
        "3:18: for_s must be at least 0, found -1: write a number at least 0",
        "4:5: colour is missing: write 'colour: red or green'",
        "4:18: color is not a known key: did you mean colour? known here are kind, colour",
        "5:5: item 3 of steps is not of a known kind: write one of wait, show",
        "7:5: colour cannot be 'gren': did you mean green? write one of red, green",
    ]
