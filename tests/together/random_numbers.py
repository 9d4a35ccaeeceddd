"""Which machines made at random are rehearsed: a few, or those that the environment asks for."""

import os


def asked_for(variable, few):
    """The numbers of the machines, in parts, so that many of them are many tests."""
    first, _, end = os.environ.get(variable, "").partition("..")
    numbers = range(int(first), int(end)) if end else few
    size = 50 if end else 10
    return [numbers[at : at + size] for at in range(0, len(numbers), size)]
