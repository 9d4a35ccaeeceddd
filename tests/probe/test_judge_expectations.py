"""A tester's own expectations, judged on hand-made histories of one reading and one flag."""

import pytest

from gaswitness_probe.applied import Expectation
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.judge import judge
from gaswitness_probe.verdict import Outcome
from gaswitness_sitefile.site import Site

SITE = Site.model_validate(
    {
        "gaswitness_site": 1,
        "panel": {"tag": "P-1"},
        "timing": {"refresh_s": 0.0, "shortest_dwell_s": 3.0},
        "channels": [{"tag": "AT-1", "gas": "CO", "unit": "ppm", "range": [0, 100]}],
        "outputs": [{"tag": "K1", "kind": "relay"}],
        "points": [
            {
                "name": "reading",
                "table": "input register",
                "address": 0,
                "type": "int16",
                "shows": "AT-1.reading",
                "unit": "ppm",
            },
            {"name": "relay", "table": "coil", "address": 0, "type": "bit", "shows": "K1.active"},
        ],
    }
)


def history(name, *samples, step_s=1.0):
    """Samples at 0, 1, 2 ... s, each a run of its own unless it equals the one before."""
    runs = []
    for index, value in enumerate(samples):
        seen = Seen(index * step_s, index * step_s + 0.1)
        if runs and runs[-1].value == value and step_s < 2.9:
            runs[-1] = Run(value, runs[-1].raw, runs[-1].first, seen, runs[-1].count + 1)
        else:
            runs.append(Run(value, (int(value),), seen, seen))
    return {name: PointHistory(name, runs)}


def outcome(histories, **expected):
    one = Expectation(id="x", **expected)
    verdicts = judge(SITE, histories, [], expectations=[one], span=(0.0, 20.0))
    return next(v.outcome for v in verdicts if v.id == "expectation/x")


FACT = {"fact": "K1.active", "from_s": 2.0}


@pytest.mark.parametrize(
    ("samples", "expected", "wanted"),
    [
        ((0, 0, 0, 1, 1, 1, 1), {"value": True, "within_s": 3.0}, Outcome.PROVEN),
        ((0, 0, 0, 0, 0, 0, 0), {"value": True, "within_s": 3.0}, Outcome.FAILED),
        ((1, 1, 1, 1, 1, 1, 1), {"value": False, "within_s": 3.0}, Outcome.FAILED),
        ((0, 0, 0, 1, 1, 0, 0), {"value": True, "within_s": 3.0, "for_s": 4.0}, Outcome.FAILED),
        ((0, 0, 0, 1, 1, 1, 1), {"value": True, "within_s": 3.0, "for_s": 2.0}, Outcome.PROVEN),
        ((0, 0, 0, 1, 1, 1, 0), {"value": True, "within_s": 3.0, "for_s": 3.0},
         Outcome.INCONCLUSIVE),
        ((0, 0, 0, 0, 1, 1, 1), {"value": True, "within_s": 1.5}, Outcome.INCONCLUSIVE),
    ],
)  # fmt: skip
def test_flag_expectations(samples, expected, wanted):
    assert outcome(history("relay", *map(bool, samples)), **FACT, **expected) is wanted


def test_reading_within_bounds_is_proven_and_outside_failed():
    seen = history("reading", 0, 10, 20, 30, 30, 30, 30)
    near = {"fact": "AT-1.reading", "from_s": 2.0, "within_s": 2.0}
    assert outcome(seen, **near, between=(29, 31), for_s=2.0) is Outcome.PROVEN
    assert outcome(seen, **near, between=(40, 50)) is Outcome.FAILED


def test_a_stay_may_cross_from_known_to_unknown():
    """Seen in bounds, then not seen for a while, then out: it may have stayed long enough."""
    seen = history("reading", 30, 30, 30, 90, step_s=4.0)
    near = {"fact": "AT-1.reading", "from_s": 7.0, "within_s": 1.0}
    assert outcome(seen, **near, between=(29, 31), for_s=3.0) is Outcome.INCONCLUSIVE


def test_what_may_have_been_done_earlier_is_not_failed_for_being_over():
    # Off for 6 s from 2 s on, as it must be; the person said only at 9 s that it was done.
    seen = [True] * 2 + [False] * 6 + [True] * 6
    asked = {"value": False, "from_s": 9.0, "within_s": 1.0, "for_s": 4.0}
    relay = history("relay", *seen)
    assert outcome(relay, fact="K1.active", **asked) is Outcome.FAILED
    assert outcome(relay, fact="K1.active", **asked, since_s=2.0) is Outcome.INCONCLUSIVE
    assert outcome(relay, fact="K1.active", **asked, since_s=6.0) is Outcome.FAILED


def test_what_nothing_shows_is_not_run():
    assert outcome({}, **FACT, value=True, within_s=1.0) is Outcome.NOT_RUN


def test_what_a_reading_was_instead_is_said_from_the_lowest_to_the_highest():
    seen = history("reading", 0, 10, 20, 30, 25, 25, 25)
    one = Expectation(id="x", fact="AT-1.reading", from_s=1.5, within_s=2.0, between=(40, 50))
    verdicts = judge(SITE, seen, [], expectations=[one], span=(0.0, 20.0))
    verdict = next(v for v in verdicts if v.id == "expectation/x")
    assert verdict.seen == "from 20 to 30"
    assert verdict.because == (
        "AT-1.reading: from 20 to 30; expected AT-1.reading between 40 and 50 within 2 s of 1.5 s"
    )


def test_when_a_fact_was_first_seen_as_expected_is_said():
    one = Expectation(id="x", **FACT, value=True, within_s=3.0)
    seen = history("relay", False, False, False, True, True, True, True)
    verdicts = judge(SITE, seen, [], expectations=[one], span=(0.0, 20.0))
    assert next(v for v in verdicts if v.id == "expectation/x").because == (
        "K1.active: as expected by 3.1 s"
    )
