"""An output that no point shows: what looks prove of it, and which looks are asked for."""

import pytest

from gaswitness_probe.applied import Looked

CELL = "cell/DI-1.active > K1"
TWICE = (
    "one look cannot tell when it moved: a person has to find K1 at rest just before DI-1.active "
    "comes, and acting within 5 s of it"
)


@pytest.fixture
def looked(by_hand):
    """DI-1 comes between 14.0 and 15.1 s, goes between 44.0 and 45.1 s. K1 has 5 s to follow."""

    def look(*looks, **cell):
        cells = ({"cause": "DI-1.active", "response_s": 5, **cell},)
        hand = by_hand("DI-1.active", cells=cells)
        hand.saw("DI-1.active", "0" * 15 + "1" * 30 + "0" * 30)
        hand.looked = [Looked("K1.active", *one) for one in looks]
        return hand[CELL]

    return look


def side(verdict, name):
    return next(one for one in verdict.aspects if one.name == name)


def test_two_looks_around_the_coming_in_time_prove_it(looked):
    verdict = looked((False, 12.0, 13.5), (True, 17.0, 18.5))
    assert (verdict.outcome, verdict.proof) == ("proven", "witnessed")
    assert verdict.response_s == pytest.approx((0.0, 4.5))


def test_a_single_look_proves_nothing_and_two_are_asked_for(looked):
    """Right behind the cause or long after it: the output may have acted before."""
    for looks in ([(True, 17.0, 18.5)], [(True, 36.0, 40.0)], [(True, 36, 40), (False, 60, 61)]):
        verdict = looked(*looks)
        assert verdict.outcome == "inconclusive"
        assert verdict.because == (
            f"DI-1.active came by 15.1 s, and nobody saw K1 at rest before that; {TWICE}"
        )


def test_a_look_at_rest_alone_asks_for_the_one_after(looked):
    verdict = looked((False, 12.0, 13.5))
    assert verdict.because == (
        f"DI-1.active came by 15.1 s, and nobody saw K1 acting after DI-1.active had come; {TWICE}"
    )


def test_a_second_look_that_comes_late_asks_for_an_earlier_one_and_for_no_polls(looked):
    verdict = looked((False, 12.0, 13.5), (True, 36.0, 40.0))
    assert verdict.outcome == "inconclusive"
    assert verdict.because.endswith(f"the interval straddles the limit; {TWICE}")


def test_with_a_delay_the_first_look_comes_within_it(looked):
    verdict = looked((False, 12.0, 13.5), (True, 36.0, 40.0), on_delay_s=10)
    assert verdict.because.endswith(
        "a person has to find K1 still at rest no sooner than 9 s after DI-1.active comes, and "
        "acting within 15 s of it"
    )
    assert looked((False, 24.2, 25.0), (True, 28.0, 28.9), on_delay_s=10).outcome == "proven"


def test_a_release_asks_for_looks_too(looked):
    verdict = looked((False, 12.0, 13.5), (True, 17.0, 18.5), (False, 60.0, 61.0))
    assert side(verdict, "releases").because.endswith(
        "a person has to find K1 acting just before DI-1.active goes off, and at rest within 5 s "
        "of it"
    )


def test_a_no_once_the_time_is_over_fails_it(looked):
    assert looked((False, 12.0, 13.5), (False, 36.0, 40.0)).outcome == "failed"
