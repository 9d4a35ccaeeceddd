"""What the validator finds, in words of the trade: corners that the broken site files leave out."""

import pytest
from pydantic import Field

from gaswitness_sitefile.complaints import checked, decimal_comma, shown
from gaswitness_sitefile.model import Record, Whole
from gaswitness_sitefile.problems import Place


@pytest.mark.parametrize(
    ("text", "comma"),
    [("0,5", True), (" -12,25 ", True), ("+1,0", True), ("0.5", False), ("1,000,000", False),
     ("a,5", False), ("5,a", False), (",5", False), ("5,", False), ("", False)],
)  # fmt: skip
def test_a_decimal_comma_is_told_from_other_commas(text, comma):
    assert decimal_comma(text) is comma


@pytest.mark.parametrize(
    ("value", "text"),
    [(True, "true"), (None, "nothing"), ({"a": 1}, "a group of keys"), ([1, 2], "a list of 2"),
     ("word", "'word'"), (2.5, "2.5"), ("x" * 99, "'" + "x" * 59 + "...")],
)  # fmt: skip
def test_values_are_shown_as_the_file_has_them(value, text):
    assert shown(value) == text


class Plain(Record):
    first: dict[int, str] = Field(default_factory=dict)
    second: Whole | list[Whole] = 0
    third: str = Field(default="", max_length=3)
    fourth: list["Plain"] = Field(default_factory=list)


def said(data):
    record, problems = checked(Plain, data, lambda loc: Place("f", 1 + len(loc), 1))
    assert (record is None) == bool(problems)
    return [str(problem) for problem in problems]


def test_good_data_become_the_record():
    record, problems = checked(Plain, {"second": [1, 2]}, lambda loc: Place("f", 1, 1))

    assert (record, problems) == (Plain(second=[1, 2]), [])


def test_a_value_that_fits_none_of_two_kinds_is_said_once():
    assert said({"second": "x"}) == [
        "f:2:1: second must be a whole number, found 'x': write a whole number, without a unit"
    ]
    assert said({"second": [1, "x"]}) == [
        "f:3:1: item 2 of second must be a whole number, found 'x': "
        "write a whole number, without a unit"
    ]


def test_text_too_long_says_how_long_it_may_be():
    assert said({"third": "abcd"}) == ["f:2:1: third is too long, found 'abcd': write at most 3"]


def test_keys_that_should_be_numbers_say_so():
    assert said({"first": {"x": "a"}}) == [
        "f:3:1: a key of first must be a whole number, found 'x': "
        "write a whole number, without a unit"
    ]


def test_data_without_end_are_refused():
    deep = {}
    for _ in range(5000):
        deep = {"fourth": [deep]}

    record, problems = checked(Plain, deep, lambda loc: Place("f", 1, 1))

    assert record is None
    assert problems


def test_nothing_of_the_validator_shows():
    text = "\n".join(said({"first": 1, "second": {}, "third": [], "fourth": "x", "fifth": 2, 3: 4}))

    assert len(text.splitlines()) == 6
    assert not any(word in text for word in ("Input", "pydantic", "dict", "str", "https", "type="))
