"""A good panel is never failed for its pulses, tests, calibrations or first-up: machines at random.

GASWITNESS_RANDOM_PANELS=1000..4000 has the machines of these numbers rehearsed instead of the few.
"""

from collections import Counter
from functools import lru_cache

import pytest
from memory_run import rehearsed
from random_functions import with_functions
from random_numbers import asked_for

FEW = range(40)
NUMBERS = asked_for("GASWITNESS_RANDOM_PANELS", FEW)
ONCE_FAILED = {
    94: "an output forced with the power off",
    234: "an output forced in the instant in which the power returned",
    312: "a test ended before it was sure to have begun",
}


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


@pytest.mark.parametrize("numbers", NUMBERS, ids=lambda numbers: f"{numbers[0]}")
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
