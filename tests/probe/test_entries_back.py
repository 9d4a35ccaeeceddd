"""Bodies of entries back to what was written: a round trip for everything that may stand there."""

import json
from dataclasses import fields
from types import UnionType
from typing import get_args, get_origin, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.applied import Action, Applied, Expectation, Looked
from gaswitness_probe.entries_back import (
    applied_of,
    expectation_of_body,
    facts_of,
    kept_file_of,
    looked_of,
)
from gaswitness_probe.evidence_entries import (
    ClockFacts,
    KeptFile,
    RunFacts,
    applied_body,
    expected_body,
    looked_body,
    run_body,
)
from gaswitness_probe.evidence_file import EvidenceError
from gaswitness_probe.evidence_json import canonical

# SHA-256 of "abc": FIPS 180-2 appendix B.1.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

instants = st.floats(allow_nan=False, allow_infinity=False)
numbers = st.floats(allow_nan=False)
tags = st.text(st.characters(codec="utf-8"), max_size=8).filter(
    lambda tag: tag not in ("NaN", "Infinity", "-Infinity")
)


def stored(body):
    """As it comes out of the file."""
    return json.loads(canonical(body))


def values_of(hint):
    if hint is bool:
        return st.booleans()
    if hint is float:
        return numbers
    if hint is str:
        return tags
    if hint is type(None):
        return st.none()
    if isinstance(hint, UnionType):
        return st.one_of([values_of(one) for one in get_args(hint)])
    assert get_origin(hint) is not None, hint
    return st.sampled_from(get_args(hint))


def actions_of(kind):
    hints = get_type_hints(kind)
    return st.builds(kind, **{one.name: values_of(hints[one.name]) for one in fields(kind)})


actions = st.one_of([actions_of(kind) for kind in get_args(Action)])


@given(st.builds(Applied, instants, instants, actions))
def test_every_action_comes_back(applied):
    assert applied_of(stored(applied_body(applied))) == applied


@given(st.builds(Looked, tags, st.booleans(), instants, instants))
def test_a_look_comes_back(looked):
    assert looked_of(stored(looked_body(looked))) == looked


@given(
    st.builds(
        Expectation,
        id=tags,
        fact=tags,
        from_s=instants,
        within_s=numbers,
        value=st.none() | st.booleans(),
        between=st.none() | st.tuples(numbers, numbers),
        for_s=numbers,
        since_s=st.none() | instants,
    )
)
def test_an_expectation_comes_back(expectation):
    assert expectation_of_body(stored(expected_body(expectation))) == expectation


def test_the_facts_of_a_run_come_back():
    facts = RunFacts(
        command="rehearse",
        software="gaswitness 0.1.0",
        python="3.11",
        platform="Linux",
        site_file="site.yaml",
        site_sha256=ABC,
        site_files=(KeptFile("site.yaml", "5 °C\r\n".encode()), KeptFile("p.xlsx", b"PK\xff\0")),
        scripts=(KeptFile("a.yaml", b"abc"),),
        link="memory",
        seed=3,
        clock=ClockFacts(kind="virtual", resolution_s=0.0, utc_anchor="none"),
        options={"issue": "2"},
    )
    assert facts_of(stored(run_body(facts))) == facts


def test_a_kept_file_is_held_to_its_digest():
    assert kept_file_of({"name": "a", "sha256": ABC, "text": "abc"}).content == b"abc"
    with pytest.raises(EvidenceError, match="kept file a is not the one"):
        kept_file_of({"name": "a", "sha256": ABC, "text": "abd"})
