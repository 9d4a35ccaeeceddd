"""Canonical JSON against Python's own json and RFC 8785's idea of it."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.evidence_json import canonical, canonical_exchange

instants = st.floats(allow_nan=False, allow_infinity=False)


def test_keys_are_sorted_and_blanks_left_out() -> None:
    assert canonical({"b": [1, 2.5], "a": {"d": None, "c": True}}) == (
        b'{"a":{"c":true,"d":null},"b":[1,2.5]}'
    )


def test_text_stands_as_itself() -> None:
    assert canonical({"text": "5 °C\n"}) == b'{"text":"5 \xc2\xb0C\\n"}'


def test_numbers_that_json_lacks_become_texts() -> None:
    found = canonical({"points": {"a": float("nan"), "b": float("inf"), "c": [float("-inf")]}})
    assert found == b'{"points":{"a":"NaN","b":"Infinity","c":["-Infinity"]}}'


def test_half_a_surrogate_pair_is_kept_as_an_escape() -> None:
    found = canonical({"text": "\udce4"})
    assert found == b'{"text":"\\udce4"}'
    assert json.loads(found) == {"text": "\udce4"}


def test_what_has_no_json_is_refused() -> None:
    with pytest.raises(TypeError):
        canonical({"raw": b"\x00"})


@given(
    sent_s=instants,
    received_s=instants,
    request=st.binary(max_size=20),
    response=st.binary(max_size=260),
    problem=st.none() | st.text(max_size=40),
)
def test_the_short_way_for_exchanges_is_canonical(
    sent_s: float, received_s: float, request: bytes, response: bytes, problem: str | None
) -> None:
    assert canonical_exchange(sent_s, received_s, request, response, problem) == canonical(
        {
            "sent_s": sent_s,
            "received_s": received_s,
            "request": request.hex(),
            "response": response.hex(),
            "problem": problem,
        }
    )
