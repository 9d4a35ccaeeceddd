"""A good panel is never failed: cases that once were, and panels and scripts at random.

GASWITNESS_RANDOM_PANELS=1000..4000 has the machines of these numbers rehearsed instead of the few.
"""

from collections import Counter
from functools import lru_cache

import pytest
from good_panel_cases import CASES
from memory_run import rehearsed
from random_machine import machine
from random_numbers import asked_for

FEW = range(60)
NUMBERS = asked_for("GASWITNESS_RANDOM_PANELS", FEW)


@lru_cache(maxsize=100)
def verdicts_of(number):
    """None where the panel was in some state for too short a time to be seen by anyone."""
    run = rehearsed(machine(number))
    return None if run is None else run.verdicts()


def failures(verdicts):
    return [
        f"{verdict.id}: {aspect.because}"
        for verdict in verdicts
        for aspect in verdict.aspects
        if aspect.outcome.value == "failed"
    ]


@pytest.mark.parametrize("name", CASES)
def test_a_good_panel_once_failed_is_failed_no_more(name):
    run = rehearsed(CASES[name])
    assert run is not None
    assert failures(run.verdicts()) == []


@pytest.mark.parametrize("numbers", NUMBERS, ids=lambda numbers: f"{numbers[0]}")
def test_no_panel_and_script_at_random_fails_a_good_panel(numbers):
    found = {number: failures(verdicts_of(number) or ()) for number in numbers}
    assert {number: words for number, words in found.items() if words} == {}


def test_random_machines_prove_something():
    """They would fail nothing, too, if nothing could be seen of them."""
    verdicts = [one for number in FEW for one in verdicts_of(number) or ()]
    proven = Counter(one.kind.value for one in verdicts if one.outcome.value == "proven")
    assert proven >= Counter(cell=4, level=6, flag=80, output=50, reading=30)
