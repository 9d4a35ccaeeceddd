"""A good panel is never failed for its pulses, tests, calibrations or first-up: machines at random.

GASWITNESS_RANDOM_PANELS=1000..4000 has the machines of these numbers rehearsed instead of the few.
"""

import os
from collections import Counter
from functools import lru_cache

import pytest
from memory_run import rehearsed
from random_functions import with_functions

FEW = range(40)
ONCE_FAILED = {
    94: "an output forced with the power off",
    234: "an output forced in the instant in which the power returned",
    312: "a test ended before it was sure to have begun",
}


def asked_for():
    """The numbers of the machines, in parts, so that many of them are many tests."""
    first, _, end = os.environ.get("GASWITNESS_RANDOM_PANELS", "").partition("..")
    numbers = range(int(first), int(end)) if end else FEW
    size = 50 if end else 10
    return [numbers[at : at + size] for at in range(0, len(numbers), size)]


@lru_cache(maxsize=100)
def verdicts_of(number):
    """None where the panel was in some state for too short a time to be seen by anyone."""
    run = rehearsed(with_functions(number))
    return None if run is None else run.verdicts()


def failures(number):
    return [
        f"{verdict.id}: {aspect.because}"
        for verdict in verdicts_of(number) or ()
        for aspect in verdict.aspects
        if aspect.outcome.value == "failed"
    ]


@pytest.mark.parametrize("numbers", asked_for(), ids=lambda numbers: f"{numbers[0]}")
def test_no_panel_and_script_at_random_fails_a_good_panel(numbers):
    found = {number: failures(number) for number in numbers}
    assert {number: words for number, words in found.items() if words} == {}


@pytest.mark.parametrize("number", ONCE_FAILED, ids=ONCE_FAILED.values())
def test_a_good_panel_once_failed_is_failed_no_more(number):
    assert failures(number) == []


def test_random_machines_prove_something():
    """They would fail nothing, too, if nothing could be seen of them."""
    proven = Counter(
        verdict.id.rpartition(".")[2] if verdict.kind.value == "flag" else aspect.name
        for number in FEW
        for verdict in verdicts_of(number) or ()
        for aspect in verdict.aspects
        if aspect.outcome.value == "proven"
    )
    least = {"test": 40, "calibration": 30, "first_up": 15, "forced": 30}
    assert proven >= Counter({**least, "forced on": 10, "forced off": 10})
