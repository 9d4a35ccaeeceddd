"""When two workings-out of a verdict say the same: seconds of a survey aside, to the letter."""

from dataclasses import replace

import pytest

from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_scenarios.agreement import Difference, agree, differences

TEXT = "6 changes in 6.02 s, 13 looks"
SURVEYED = Verdict(
    "link/heartbeat",
    Kind.LINK,
    Outcome.PROVEN,
    "the heartbeat changes",
    "1 of 1 as expected",
    because=f"beat: {TEXT}",
    aspects=(Aspect("beat", Outcome.PROVEN, "changes", TEXT, at_s=12.5),),
)
JUDGED = replace(SURVEYED, id="flag/AT-1.A1", kind=Kind.FLAG)


def with_seen(verdict, seen, at_s=12.5):
    return replace(verdict, aspects=(replace(verdict.aspects[0], seen=seen, at_s=at_s),))


@pytest.mark.parametrize(
    ("seen", "at_s", "same"),
    [
        (TEXT, 12.5, True),
        ("6 changes in 6.03 s, 13 looks", 12.5, True),
        ("6 changes in 6 s, 13 looks", 12.52, True),
        ("6 changes in 6.5 s, 13 looks", 12.5, False),
        ("5 changes in 6.02 s, 13 looks", 12.5, False),
        ("6 changes in 6.02 s, 12 looks", 12.5, False),
        ("6 changes in 6.02 s", 12.5, False),
        (TEXT, 13.5, False),
        (TEXT, None, False),
    ],
)
def test_seconds_of_a_survey_may_differ_a_little(seen, at_s, same):
    assert agree(SURVEYED, with_seen(SURVEYED, seen, at_s)) is same


def test_what_the_judge_says_may_not_differ_at_all():
    assert agree(JUDGED, JUDGED)
    assert not agree(JUDGED, with_seen(JUDGED, "6 changes in 6.03 s, 13 looks"))
    assert not agree(JUDGED, with_seen(JUDGED, TEXT, 12.500001))


def test_times_of_replies_are_told_and_not_held():
    text = "9 replies to 9 requests, in {} / 0.02 / 0.03 s (least, median, most)"
    one, other = (replace(SURVEYED, seen=text.format(least)) for least in ("0.01", "0.00001"))
    assert agree(one, other)
    assert not agree(one, replace(other, seen=other.seen.replace("9 replies", "8 replies")))


def test_each_difference_is_named_once():
    failed = replace(JUDGED, outcome=Outcome.FAILED)
    side = replace(
        JUDGED, id="c", aspects=(replace(JUDGED.aspects[0], outcome=Outcome.INCONCLUSIVE),)
    )
    then = [JUDGED, replace(JUDGED, id="b"), replace(JUDGED, id="c"), SURVEYED, SURVEYED]
    now = [failed, side, SURVEYED, replace(JUDGED, id="d")]
    assert differences(then, now) == (
        Difference("flag/AT-1.A1", "proven", "failed"),
        Difference("b", "proven", "no such verdict"),
        Difference("c", "beat proven", "beat inconclusive"),
        Difference("link/heartbeat", "twice in the record", "once"),
        Difference("d", "not in the record", "proven"),
    )


def test_words_that_differ_are_shown():
    now = replace(JUDGED, because="for another reason")
    assert differences([JUDGED], [now]) == (
        Difference("flag/AT-1.A1", repr(JUDGED.because), "'for another reason'"),
    )
