"""What a run could not have seen: the paragraph of the summary, and the key of verdicts.json."""

import io
import json

import jsonschema
import pytest
from rich.console import Console

from gaswitness.summary import print_summary
from gaswitness.unseen_words import unseen_headline, unseen_kinds, unseen_tail
from gaswitness.verdicts_json import verdicts_json, verdicts_schema
from gaswitness_probe.shown_defects import NotShown, ShownDefects


@pytest.fixture
def found():
    below = "its reading was never settled below 0"
    drift = "bring it below zero"
    return ShownDefects(
        shown=tuple(("bit inverted", f"AT-10{n} A1") for n in range(1, 8)),
        not_shown=(
            NotShown("words torn", "AT-101 reading", "one sample is no proof", "read it often"),
            NotShown("negative readings shown as 0", "AT-101 reading", below, drift),
            NotShown("negative readings shown as 0", "AT-102 reading", below, drift),
        ),
        alike=(NotShown("signed in place of unsigned", "AT-501 reading", "same bits", ""),),
    )


def test_the_headline_counts_what_can_be_told_from_a_good_panel(found):
    words = unseen_headline(found)
    assert "Of 10 single defects" in words
    assert "7 would have been failed: 70.0 %" in words
    assert words.endswith("3 would not:")


def test_all_shown_is_said_so():
    words = unseen_headline(ShownDefects((("bit inverted", "x"),), (), ()))
    assert words.endswith("1 would have been failed: all.")
    assert unseen_tail(ShownDefects((("bit inverted", "x"),), (), ())) == ""


def test_kinds_come_once_the_most_first_with_a_place_and_a_remedy(found):
    assert list(unseen_kinds(found)) == [
        "negative readings shown as 0, 2 places, first AT-101 reading: its reading was never "
        "settled below 0. To show it, bring it below zero.",
        "words torn, AT-101 reading: one sample is no proof. To show it, read it often.",
    ]


def test_many_kinds_are_counted_not_listed(found):
    many = tuple(NotShown(f"kind {n}", "x", "so", "do") for n in range(9))
    assert list(unseen_kinds(ShownDefects((), many, ())))[-1] == "and 3 more, of 3 other kinds"
    assert len(list(unseen_kinds(ShownDefects((), many, ())))) == 7
    # kind 6 has two places and comes among the first; one kind is left over
    again = (*many[:7], NotShown("kind 6", "y", "so", "do"))
    told = list(unseen_kinds(ShownDefects((), again, ())))
    assert told[0].startswith("kind 6, 2 places, first x")
    assert told[-1] == "and 1 more, of 1 other kind"


def test_what_nothing_tells_is_said_apart(found):
    assert unseen_tail(found) == (
        "All of them are in verdicts.json. 1 more nothing can tell from a good panel, such as "
        "signed in place of unsigned, AT-501 reading: same bits."
    )


def test_the_summary_has_it_and_a_survey_has_not(found, verdicts, about, site):
    def printed(map_defects):
        to = io.StringIO()
        print_summary(Console(file=to, width=80), verdicts, about, site, map_defects)
        return to.getvalue()

    assert "What this run could not have seen\n  Of 10 single defects" in printed(found)
    assert "could not have seen" not in printed(None)


def test_verdicts_json_lists_every_one_and_keeps_to_its_schema(found, verdicts, about):
    document = json.loads(verdicts_json(verdicts, about, found))
    jsonschema.Draft202012Validator(verdicts_schema()).validate(document)
    assert document["map_defects"]["shown"] == 7
    assert document["map_defects"]["share"] == 0.7
    assert [one["place"] for one in document["map_defects"]["not_shown"]] == [
        "AT-101 reading",
        "AT-101 reading",
        "AT-102 reading",
    ]
    assert document["map_defects"]["alike"][0]["because"] == "same bits"
    assert json.loads(verdicts_json(verdicts, about))["map_defects"] is None
