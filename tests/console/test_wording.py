"""Words and numbers for people: nothing shown may claim more than was measured."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness.wording import duration_words, response_words, shown


@pytest.mark.parametrize(
    ("interval", "words"),
    [
        ((1.8, 2.4), "2.1 s ± 0.3"),
        ((2.0, 2.0), "2.000 s ± 0.000"),
        ((0.512, 0.538), "0.525 s ± 0.013"),
        ((10.0, 14.0), "12 s ± 2"),
        ((10.0, 12.6), "11.3 s ± 1.3"),
        ((0.0, 60.0), "30 s ± 30"),
        ((-0.25, 0.25), "0.0 s ± 0.3"),
        ((1.0, float("inf")), ""),
        (None, ""),
    ],
)
def test_responses_read_as_value_and_uncertainty(
    interval: tuple[float, float] | None, words: str
) -> None:
    assert response_words(interval) == words


@given(
    low=st.floats(-10, 1e5),
    width=st.one_of(st.floats(0, 1e4), st.floats(0, 0.01)),
)
def test_what_is_shown_covers_what_was_measured(low: float, width: float) -> None:
    value, _, half = response_words((low, low + width)).replace(" s", "").partition(" ± ")
    assert float(value) - float(half) <= low + 1e-6
    assert float(value) + float(half) >= low + width - 1e-6
    assert float(half) <= 3 * (width / 2) + 0.0011


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (59.6, "1 min 0 s"), (725, "12 min 5 s"), (28920, "8 h 2 min")],
)
def test_durations_read_as_people_say_them(seconds: float, words: str) -> None:
    assert duration_words(seconds) == words


def test_control_characters_become_visible() -> None:
    assert shown("a\x1b[31mred\x00\x9bé\u202e") == "a\\x1b[31mred\\x00\\x9bé\\u202e"
    assert shown("two\nlines\tand a tab") == "two\nlines\tand a tab"
