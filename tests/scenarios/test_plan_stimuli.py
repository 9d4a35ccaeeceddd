"""How causes are made, and by what alone they turn."""

import pytest

from gaswitness_scenarios.plan_stimuli import (
    OWN_FAULT,
    expanded,
    holds,
    turns,
    vote_turns,
    ways,
)
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.matrix import Fact, parse_cause


def written(found):
    """Turns as (fact, what stands beside it, whether the cause comes)."""
    return [(str(turn.fact), [str(fact) for fact in turn.standing], turn.on) for turn in found]


def turns_of(text):
    return written(turns(parse_cause(text)))


def test_a_fact_turns_itself():
    assert turns_of("AT-1.A1") == [("AT-1.A1", [], True)]


def test_each_of_an_or_turns_it_with_the_others_off():
    assert turns_of("X-1.A1 OR DI-1.active") == [
        ("X-1.A1", [], True),
        ("DI-1.active", [], True),
    ]


def test_each_of_an_and_turns_it_beside_the_others():
    assert turns_of("X-1.A1 AND DI-1.active") == [
        ("X-1.A1", ["DI-1.active"], True),
        ("DI-1.active", ["X-1.A1"], True),
    ]


def test_what_stands_under_a_not_turns_it_off():
    assert turns_of("X-1.A2 AND NOT DI-2.active") == [
        ("X-1.A2", [], True),
        ("DI-2.active", ["X-1.A2"], False),
    ]


def test_every_pair_of_two_of_three_and_each_member_once():
    found = turns_of("2oo3(A-1.A2, B-1.A2, C-1.A2)")
    pairs = {frozenset((fact, *standing)) for fact, standing, _ in found}
    assert pairs == {
        frozenset({"A-1.A2", "B-1.A2"}),
        frozenset({"A-1.A2", "C-1.A2"}),
        frozenset({"B-1.A2", "C-1.A2"}),
    }
    assert {fact for fact, _, _ in found} == {"A-1.A2", "B-1.A2", "C-1.A2"}
    assert all(len(standing) == 1 and on for _, standing, on in found)


@pytest.mark.parametrize(
    ("need", "of", "combinations"),
    [(1, 2, 2), (2, 2, 1), (2, 3, 3), (2, 4, 6), (3, 4, 4), (3, 6, 20)],
)
def test_a_small_vote_shows_every_combination(need, of, combinations):
    """Binomial coefficients, by hand."""
    found = list(vote_turns(need, of))
    assert len({frozenset((member, *others)) for member, others in found}) == combinations
    assert {member for member, _ in found} == set(range(of))
    assert all(len(others) == need - 1 and member not in others for member, others in found)


def test_a_vote_of_many_has_each_member_turn_it_once():
    found = list(vote_turns(2, 8))
    assert [member for member, _ in found] == list(range(8))
    assert all(len(others) == 1 for _, others in found)


def test_a_contradiction_never_turns():
    assert turns_of("X-1.A1 AND NOT X-1.A1") == []


@pytest.mark.parametrize(
    "text",
    [
        "X-1.A1 OR (X-2.A1 AND NOT DI-1.active)",
        "2oo3(X-1.A1, X-2.A1, X-3.A1 AND DI-1.active)",
        "NOT (X-1.A1 OR DI-1.active)",
        "NOT 2oo3(X-1.A1, X-2.A1, X-3.A1)",
        "(X-1.A1 OR X-2.A1) AND (DI-1.active OR DI-2.active)",
    ],
)
def test_every_turn_turns_and_every_way_makes(text):
    cause = parse_cause(text)
    found = list(turns(cause))
    assert found
    for turn in found:
        standing = frozenset(turn.standing)
        assert holds(cause, standing | {turn.fact}) is turn.on
        assert holds(cause, standing) is not turn.on
    for to in (True, False):
        made = list(ways(cause, to=to))
        assert made
        for setting in made:
            assert holds(cause, dict(setting)) is to


def test_the_way_with_the_fewest_sources_comes_first():
    cause = parse_cause("(X-1.A1 AND X-2.A1) OR DI-1.active")
    assert dict(next(iter(ways(cause, to=True))))[Fact("DI-1", "active")] is True
    standing = [fact for fact, stands in next(iter(ways(cause, to=True))) if stands]
    assert standing == [Fact("DI-1", "active")]


def test_sums_become_what_a_tester_can_make(demo):
    any_a3 = expanded(demo, parse_cause("any.A3"))
    assert any_a3 == Fact("AT-601", "A3")
    faults = written(turns(expanded(demo, parse_cause("panel.fault"))))
    assert (str(OWN_FAULT), [], True) in faults
    assert ("AT-104.fault", [], True) in faults
    assert len(faults) == 12


@pytest.fixture(scope="module")
def demo():
    from gaswitness_scenarios.library import demo_site_path

    return load_site(demo_site_path()).site
