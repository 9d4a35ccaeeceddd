"""The notation of causes: what it reads, how it writes, what it refuses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_sitefile.matrix import AllOf, AnyOf, Cell, Fact, Not, Vote, facts_of, parse_cause

A1, FAULT, BUTTON = Fact("AT-1", "A1"), Fact("panel", "fault"), Fact("PB-1", "active")


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("AT-1.A1", A1),
        ("NOT AT-1.A1", Not(A1)),
        ("not not AT-1.A1", Not(Not(A1))),
        ("AT-1.A1 AND panel.fault", AllOf((A1, FAULT))),
        ("AT-1.A1 or panel.fault and PB-1.active", AnyOf((A1, AllOf((FAULT, BUTTON))))),
        ("(AT-1.A1 OR panel.fault) AND PB-1.active", AllOf((AnyOf((A1, FAULT)), BUTTON))),
        ("NOT AT-1.A1 AND PB-1.active", AllOf((Not(A1), BUTTON))),
        ("NOT (AT-1.A1 AND PB-1.active)", Not(AllOf((A1, BUTTON)))),
        ("2oo3(AT-1.A1, panel.fault, PB-1.active)", Vote(2, (A1, FAULT, BUTTON))),
        ("1oo2( AT-1.A1 AND PB-1.active ,panel.fault )", Vote(1, (AllOf((A1, BUTTON)), FAULT))),
        ("2oo2(1oo1(AT-1.A1), PB-1.active)", Vote(2, (Vote(1, (A1,)), BUTTON))),
    ],
)
def test_causes_are_read_as_the_trade_says_them(text, cause):
    assert parse_cause(text) == cause


@pytest.mark.parametrize(
    "text",
    ["", "  ", "AND", "AT-1", "AT-1.", ".A1", "AT-1.A1.x", "AT-1.A1 PB-1.active", "(AT-1.A1",
     "AT-1.A1)", "2oo3(AT-1.A1)", "0oo1(AT-1.A1)", "2oo1(AT-1.A1)", "AT-1.A1,", "NOT", "2oo2",
     "AT-1.A1 && PB-1.active", "1oo2(AT-1.A1,)"],
)  # fmt: skip
def test_what_is_no_cause_is_refused_with_a_remedy(text):
    with pytest.raises(ValueError, match=r": write "):
        parse_cause(text)


@pytest.mark.parametrize("deep", [60, 3000, 100_000])
@pytest.mark.parametrize("opening", ["NOT ", "(", "1oo1("])
def test_a_cause_that_nests_too_deep_is_refused(opening, deep):
    with pytest.raises(ValueError, match="nests deeper"):
        parse_cause(opening * deep + "AT-1.A1")


FACTS = st.sampled_from([A1, FAULT, BUTTON, Fact("any", "A2")])
CAUSES = st.recursive(
    FACTS,
    lambda inner: st.one_of(
        inner.map(Not),
        st.lists(inner, min_size=2, max_size=3).map(lambda terms: AllOf(tuple(terms))),
        st.lists(inner, min_size=2, max_size=3).map(lambda terms: AnyOf(tuple(terms))),
        st.lists(inner, min_size=1, max_size=3).map(lambda terms: Vote(1, tuple(terms))),
    ),
    max_leaves=8,
)


def holds(cause, true):
    """The value of a cause, told anew here so that no code of the product is asked."""
    match cause:
        case Fact():
            return str(cause) in true
        case Not(term):
            return not holds(term, true)
        case AllOf(terms):
            return all(holds(term, true) for term in terms)
        case AnyOf(terms):
            return any(holds(term, true) for term in terms)
        case Vote(need, terms):
            return sum(holds(term, true) for term in terms) >= need


@given(cause=CAUSES, true=st.sets(st.sampled_from(["AT-1.A1", "panel.fault", "PB-1.active"])))
def test_a_cause_written_and_read_again_means_the_same(cause, true):
    again = parse_cause(str(cause))

    assert holds(again, true) == holds(cause, true)
    assert str(parse_cause(str(again))) == str(again)


@given(cause=CAUSES)
def test_facts_are_listed_left_to_right(cause):
    text = str(cause)
    places = []
    start = 0
    for fact in facts_of(cause):
        start = text.index(str(fact), start)
        places.append(start)
        start += len(str(fact))

    assert places == sorted(places)


def test_a_cell_is_named_by_cause_and_effect():
    cell = Cell(cause="at-1.A1 and  PB-1.active", effect="K1", response_s=5, on_delay_s=10)

    assert cell.id == "at-1.A1 AND PB-1.active > K1"
    assert cell.early_allowance_s == 1.0
