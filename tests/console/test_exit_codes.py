"""Exit codes of a run, as README lists them."""

import pytest

from gaswitness.exit_codes import exit_code
from gaswitness_probe.verdict import Outcome

PROVEN, FAILED, OPEN, NOT_RUN = Outcome


@pytest.mark.parametrize(
    ("outcomes", "code"),
    [
        ([PROVEN, PROVEN], 0),
        ([PROVEN, FAILED, OPEN], 1),
        ([PROVEN, OPEN], 3),
        ([PROVEN, NOT_RUN], 3),
        ([NOT_RUN, FAILED], 1),
        ([], 3),
    ],
)
def test_the_worst_outcome_decides(outcomes: list[Outcome], code: int) -> None:
    assert exit_code(outcomes) == code
