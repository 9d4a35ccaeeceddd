"""Problems in words: places, order, near matches."""

import pytest

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem, an, near_match, one_of


def test_a_problem_reads_as_editors_and_people_want_it():
    place = Place("site.yaml", 12, 3)

    assert str(Problem(place, "gas is missing", "write gas")) == (
        "site.yaml:12:3: gas is missing: write gas"
    )


def test_a_cell_of_a_workbook_is_named_too():
    place = Place("map.xlsx", 7, 3, "Points!C7")

    assert str(Problem(place, "no", "yes")) == "map.xlsx:7:3: cell Points!C7: no: yes"


def test_problems_come_in_reading_order_without_repeats():
    def at(file, line, column):
        return Problem(Place(file, line, column), "x", "y")

    error = SiteFileError(
        [at("b", 9, 1), at("a", 5, 1), at("b", 2, 7), at("b", 2, 3), at("b", 9, 1)]
    )

    assert [str(p.place) for p in error.problems] == ["b:2:3", "b:2:7", "b:9:1", "a:5:1"]
    assert str(error).splitlines()[0] == "b:2:3: x: y"


@pytest.mark.parametrize(
    ("word", "known", "found"),
    [
        ("setpont", ["setpoint", "hysteresis"], "setpoint"),
        ("SETPOINT", ["setpoint", "hysteresis"], "setpoint"),
        ("AT-9", ["AT-1", "AT-2"], None),  # as near to one as to the other
        ("AT-2O", ["AT-1", "AT-20"], "AT-20"),
        ("x", ["setpoint"], None),
        ("x", [], None),
    ],
)
def test_a_near_match_is_offered_only_when_it_is_the_one(word, known, found):
    assert near_match(word, known) == found


def test_a_long_list_of_known_words_is_cut():
    words = [f"K{n}" for n in range(40)]

    assert one_of("nothing", words, most=3) == "write one of K0, K1, K2, ..."
    assert one_of("nothing", ["only", "only"]) == "write only"
    assert one_of("nothing", []) == "none are known here"


def test_articles_follow_the_sound():
    assert [an(word) for word in ("input register", "uint16", "coil", "enumeration")] == [
        "an input register",
        "a uint16",
        "a coil",
        "an enumeration",
    ]
