"""When two workings-out of a verdict say the same: to the letter, how long replies took aside."""

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


@pytest.mark.parametrize("verdict", [SURVEYED, JUDGED])
@pytest.mark.parametrize(
    "change",
    [{"seen": "6 changes in 6.03 s, 13 looks"}, {"at_s": 12.500001}, {"outcome": Outcome.FAILED}],
)
def test_no_side_of_a_verdict_may_differ(verdict, change):
    assert agree(verdict, replace(verdict))
    assert not agree(verdict, replace(verdict, aspects=(replace(verdict.aspects[0], **change),)))


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
