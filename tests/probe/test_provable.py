"""What is said in advance of cells and levels: by hand, and against the judge on samples that fall
as they like."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_probe.expect import Expectations
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.judge import judge
from gaswitness_probe.output_proofs import grace_s
from gaswitness_probe.provable import Chance, provable, rounded_down
from gaswitness_probe.timing import poll_times
from gaswitness_probe.verdict import Outcome
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.site import Site

LINE = parse_link("rtu:///dev/ttyS0?baud=9600&parity=even&stop=1")


def site(cell, poll_s=0.5, points=(), fast=None, level=None, **timing):
    """AT-1.A1 (a discrete input) drives K1 (a coil); the reading is an input register."""
    pace = {"poll_period_s": poll_s}
    if fast is not None:
        pace["fast"] = {"period_s": fast, "what": ["levels", "outputs"]}
    rows = [
        {"name": "R", "table": "input register", "address": 0, "type": "float32",
         "shows": "AT-1.reading"},
        {"name": "A1", "table": "discrete input", "address": 0, "type": "bit", "shows": "AT-1.A1"},
        {"name": "K1", "table": "coil", "address": 0, "type": "bit", "shows": "K1.active"},
    ]  # fmt: skip
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "pace": pace,
            "timing": {"scan_s": 0.2, "refresh_s": 0.1, "shortest_dwell_s": 20, "answer_s": 0.0}
            | timing,
            "channels": [
                {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100],
                 "levels": {"A1": {"setpoint": 20} | (level or {})}},
            ],
            "inputs": [{"tag": "DI-1", "kind": "key switch"}],
            "outputs": [{"tag": "K1", "kind": "relay"}],
            "matrix": [{"cause": "AT-1.A1", "effect": "K1"} | cell],
            "points": rows if not points else [r for r in rows if r["name"] in points],
        }
    )  # fmt: skip


def cell_of(*args, link=None, **parts):
    return provable(site(*args, **parts), link).cells[0]


def test_the_doubt_is_two_polls_two_refreshes_and_two_exchanges():
    """2 x 0.5 + 2 x 0.1 + 2 x 5 ms; G1 of any text on sampling: about a poll period either way."""
    found = cell_of({"response_s": 2.0})
    assert found.doubt_s == pytest.approx(1.21, abs=1e-3)
    assert (found.window_s, found.chance) == (2.0, Chance.SURE)


def test_over_a_slow_line_the_exchange_counts():
    """One bit at 9600 8E1: 14 characters and a silence, 20.052 ms (V1.02 clause 2.5.1.1)."""
    found = cell_of({"response_s": 2.0}, link=LINE)
    assert found.doubt_s == pytest.approx(1.2 + 2 * 0.020_052, abs=1e-5)


def test_a_response_shorter_than_the_doubt_is_not_sure_and_says_which_pace_is():
    found = cell_of({"response_s": 1.0})
    assert found.chance is Chance.BY_LUCK
    assert found.pace_s == pytest.approx((1.0 - 0.21) / 2, abs=1e-3)
    assert "1.21 s of doubt for 1 s" in found.words
    assert "poll every 0.39 s" in found.words


def test_with_a_delay_the_effect_must_not_come_early_either():
    """Two-sided: 0.5 s before the delay is over to 2 s after it."""
    sided = {"on_delay_s": 5.0, "response_s": 2.0}
    narrow = cell_of(sided | {"early_s": 0.5})
    assert (narrow.window_s, narrow.chance) == (2.5, Chance.BY_LUCK)
    assert narrow.pace_s == pytest.approx((0.5 - 0.21) / 2, abs=1e-3)
    assert cell_of(sided | {"early_s": 1.3}).chance is Chance.SURE


def test_a_delay_whose_whole_window_is_narrower_than_the_doubt_is_never_proven():
    found = cell_of({"on_delay_s": 5.0, "early_s": 0.5, "response_s": 0.6})
    assert (found.window_s, found.chance) == (pytest.approx(1.1), Chance.NONE)
    assert "can never fit into 1.1 s" in found.words


def test_the_panels_own_scan_is_left_room_for_after_a_delay():
    """A delay ends between two scans: 0.2 s of the 1.4 are the panel's, and 1.21 do not fit."""
    sided = {"on_delay_s": 5.0, "early_s": 2.0}
    assert cell_of(sided | {"response_s": 1.4}).chance is Chance.BY_LUCK
    assert cell_of(sided | {"response_s": 1.42}).chance is Chance.SURE


def test_fast_points_are_proven_where_slow_ones_are_not():
    cell = {"response_s": 1.5}
    assert cell_of(cell, poll_s=2.0).chance is Chance.BY_LUCK
    assert cell_of(cell, poll_s=2.0, fast=0.3).chance is Chance.SURE


def test_samples_too_far_apart_for_the_dwell_prove_nothing():
    found = cell_of({"response_s": 9.0}, poll_s=2.0, shortest_dwell_s=2.05)
    assert found.chance is Chance.NONE
    assert "samples lie up to 2.01 s apart" in found.words
    assert found.pace_s is None


def test_what_no_point_shows_is_said():
    assert "no point shows K1.active" in cell_of({"response_s": 2}, points=["A1", "R"]).words
    inferred = cell_of({"response_s": 2}, points=["K1", "R"])
    assert inferred.doubt_s == pytest.approx(1.21 + 0.5, abs=1e-3)  # a level's 2 scans and refresh
    assert "the reading of AT-1" in cell_of({"response_s": 2}, points=["K1"]).words
    by_hand = cell_of({"response_s": 2, "cause": "DI-1.active"})
    assert by_hand.chance is Chance.BY_LUCK
    assert "whoever makes it" in by_hand.words
    assert "panel.fault" in cell_of({"response_s": 2, "cause": "panel.fault"}).words


def test_a_line_too_slow_for_any_pace_is_said():
    found = cell_of({"response_s": 0.23}, link=LINE, poll_s=0.1)
    assert (found.chance, found.pace_s) == (Chance.BY_LUCK, None)
    assert "no pace on this link" in found.words


def test_only_levels_with_a_delay_are_weighed():
    assert provable(site({"response_s": 2})).levels == ()
    (level,) = provable(site({"response_s": 2}, level={"on_delay_s": 5})).levels
    # early: a tenth of the delay and a scan; late: two scans and a refresh
    assert (level.id, level.window_s) == ("AT-1.A1", pytest.approx(0.7 + 0.5))
    assert level.chance is Chance.NONE


@pytest.mark.parametrize(
    ("seconds", "figures"),
    [(0.3949, 0.39), (0.139_9, 0.139), (1.0, 1.0), (12.96, 12.9), (0.2, 0.2), (345, 340), (0, 0)],
)  # fmt: skip
def test_a_pace_is_rounded_down(seconds, figures):
    assert rounded_down(seconds) == pytest.approx(figures)


# --- against the judge --------------------------------------------------------------------------


def seen(found, name, on_s, first_s, chance, until_s):
    """The history of a bit that is on from `on_s`: asked for from `first_s` on as often as was
    worked out; each sample shows an instant between its asking less the refresh and its answer."""
    request = poll_times(found).of(next(p for p in found.points if p.name == name))
    refresh_s = found.timing.refresh_s
    runs = []
    asked_s = first_s
    while asked_s < until_s:
        answered_s = asked_s + request.took_s
        shown_s = asked_s - refresh_s + chance.random() * (request.took_s + refresh_s)
        value = shown_s >= on_s
        if runs and runs[-1].value == value:
            last = runs[-1]
            runs[-1] = Run(value, last.raw, last.first, Seen(asked_s, answered_s), last.count + 1)
        else:
            runs.append(Run(value, (int(value),), *[Seen(asked_s, answered_s)] * 2))
        asked_s += request.apart_s
    return {name: PointHistory(name, runs)}


def rises(found, chance, took_s):
    """How the judge finds the rise of an effect that came `took_s` after its cause."""
    phase_s = [chance.uniform(0, found.pace.poll_period_s) for _ in range(2)]
    cause_s = 10.0
    histories = seen(found, "A1", cause_s, phase_s[0], chance, 30.0)
    histories |= seen(found, "K1", cause_s + took_s, phase_s[1], chance, 30.0)
    verdicts = judge(found, histories, [], span=(0.0, 30.0))
    cell = next(v for v in verdicts if v.id.startswith("cell/"))
    return next(aspect for aspect in cell.aspects if aspect.name == "rises")


CELLS = st.fixed_dictionaries(
    {
        "on_delay_s": st.sampled_from([0.0, 0.0, 4.0]),
        "early_s": st.sampled_from([0.0, 0.3, 1.0, 1.5, 4.0]),
        "response_s": st.sampled_from([0.2, 0.5, 0.9, 1.0, 1.3, 2.0, 4.0]),
    }
).map(lambda cell: cell | {"early_s": min(cell["early_s"], cell["on_delay_s"])})


@settings(deadline=None, max_examples=200)
@given(CELLS, st.sampled_from([0.1, 0.25, 0.5]), st.integers(0, 2**32))
def test_what_is_sure_is_proven_however_the_polls_fall(cell, poll_s, seed):
    found = site(cell, poll_s)
    said = provable(found).cells[0]
    chance = random.Random(seed)
    own_s = chance.uniform(0, found.timing.scan_s) if cell["on_delay_s"] else 0.0
    aspect = rises(found, chance, cell["on_delay_s"] + own_s)
    if said.chance is Chance.SURE:
        assert aspect.outcome is Outcome.PROVEN
    if said.chance is Chance.NONE:
        assert aspect.outcome is Outcome.INCONCLUSIVE
    assert aspect.outcome is not Outcome.FAILED


@settings(deadline=None, max_examples=100)
@given(CELLS, st.sampled_from([0.1, 0.25, 0.5, 2.0]), st.booleans())
def test_the_pace_that_is_named_makes_sure_and_none_slower_does(cell, poll_s, slow_line):
    link = LINE if slow_line else None
    said = provable(site(cell, poll_s), link).cells[0]
    if said.pace_s is None or said.alone:
        return
    assert provable(site(cell, said.pace_s), link).cells[0].chance is Chance.SURE
    assert provable(site(cell, said.pace_s * 1.001), link).cells[0].chance is not Chance.SURE


def test_a_verdict_that_stays_open_says_what_the_link_could_prove():
    found = site({"response_s": 1.0})
    histories = {
        "A1": PointHistory("A1", [Run(False, (0,), Seen(0, 0.01), Seen(9.5, 9.51), 20),
                                  Run(True, (1,), Seen(10.0, 10.01), Seen(20, 20.01), 21)]),
        "K1": PointHistory("K1", [Run(False, (0,), Seen(0.2, 0.21), Seen(10.2, 10.21), 20),
                                  Run(True, (1,), Seen(10.7, 10.71), Seen(20.2, 20.21), 20)]),
    }  # fmt: skip
    verdicts = judge(found, histories, [], span=(0.0, 21.0))
    cell = next(v for v in verdicts if v.id == "cell/AT-1.A1 > K1")
    assert cell.outcome is Outcome.INCONCLUSIVE
    assert "the interval straddles the limit; with 1.21 s of doubt for 1 s" in cell.because
    assert cell.because.endswith("to be sure, poll every 0.39 s")


@pytest.mark.parametrize(("fast", "seconds"), [(None, 2.0 + 0.1 + 1.0), (0.25, 0.255 + 0.1 + 1.0)])
def test_the_grace_for_an_effect_that_need_only_be_seen_is_that_of_its_own_block(fast, seconds):
    """A poll of the block that shows the output, a refresh, a time-out; a fast block waits 5 ms for
    its turn behind the slow one."""
    found = site({"response_s": 4}, poll_s=2.0, fast=fast)
    runs = [Run(False, (0,), Seen(0, 0.1), Seen(9, 9.1), 9)]
    view = PanelView(found, {"K1": PointHistory("K1", runs)})
    output = Expectations(view).outputs["K1"]
    assert grace_s(output) == pytest.approx(seconds, abs=2e-3)
