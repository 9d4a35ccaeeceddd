"""Readings on histories by hand: settled gas, gas that is not followed, fault, second points.

AT-1 reads 0 to 100 %LEL, without lag; 5 %LEL either way are allowed.
"""

import pytest

from gaswitness_probe.applied import FaultMade, GasApplied


def gas(at_s, level, over_s=0.0):
    return at_s, GasApplied("AT-1", level, over_s, min(0.0, level), max(0.0, level))


@pytest.fixture
def seen(by_hand):
    def look(readings, *did, more=(), **parts):
        hand = by_hand("AT-1.reading", *dict(more), **parts)
        hand.saw("AT-1.reading", readings)
        for shows, samples in dict(more).items():
            hand.saw(shows, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand["reading/AT-1"]

    return look


def test_a_settled_reading_within_its_tolerance_is_proven(seen):
    verdict = seen([0.0] * 4 + [47.0] * 10, gas(3.5, 50.0))
    assert verdict.outcome == "proven"
    assert "50 applied, 47 %LEL shown" in verdict.seen


def test_a_settled_reading_outside_its_tolerance_is_failed(seen):
    verdict = seen([0.0] * 4 + [40.0] * 10, gas(3.5, 50.0))
    assert verdict.outcome == "failed"
    assert verdict.because.startswith("AT-1.reading: 50 applied, 40 %LEL shown (raw ")
    assert "expected 50 ± 5 %LEL" in verdict.because


def test_noise_at_the_edge_of_the_tolerance_leaves_it_open(seen):
    readings = [0.0] * 4 + [55.5, 54.5] * 5
    assert seen(readings, gas(3.5, 50.0), channel={"noise": 1.0}).outcome == "inconclusive"


def test_gas_that_had_no_time_to_settle_is_not_run(seen):
    verdict = seen([0.0] * 4 + [10.0] * 4, gas(3.5, 50.0), channel={"t90_s": 30})
    assert verdict.outcome == "not_run"
    assert verdict.because.endswith("to settle (3.5 times t90)")


def test_a_reading_that_ignores_the_gas_is_failed(seen):
    steps = gas(0.5, 0.0), gas(5.0, 60.0, 1.0), gas(15.0, 0.0)
    verdict = seen([0.0, 0.1, *[0.0] * 20], *steps, channel={"t90_s": 4})
    assert verdict.outcome == "failed"
    assert "did not follow the gas: 60 %LEL applied at 5.0 s" in verdict.because


def test_a_reading_that_never_moved_at_all_is_failed(seen):
    """From the first poll on it shows one number: there is no change of it before the gas."""
    steps = gas(5.0, 60.0, 1.0), gas(15.0, 0.0)
    verdict = seen([0.0] * 30, *steps, channel={"t90_s": 4})
    assert verdict.outcome == "failed"
    assert "did not follow the gas: 60 %LEL applied at 5.0 s" in verdict.because


def test_a_slow_recovery_has_its_own_t90_to_follow_in(seen):
    """T90 4 s, recovery 40 s: 8 s after the gas went 37 % of the way back are covered."""
    falling = [60 * 10 ** (-s / 40) for s in range(8)]
    steps = gas(3.5, 60.0), gas(29.5, 0.0), gas(37.5, 60.0)
    sensor = {"t90_s": 4, "recovery_t90_s": 40}
    readings = [0.0] * 4 + [60.0] * 26 + falling + [60.0] * 5
    assert seen(readings, *steps, channel=sensor).outcome != "failed"


def test_gas_that_turned_back_before_it_arrived_needs_not_be_followed(seen):
    steps = gas(5.0, 60.0, 40.0), gas(5.0, 0.0)
    verdict = seen([0.0, 0.1, *[0.0] * 60], *steps, channel={"t90_s": 30})
    assert verdict.outcome == "not_run"


def test_tenfold_readings_are_failed_with_a_lead(seen):
    verdict = seen([0.0] * 4 + [5.0] * 10, gas(3.5, 50.0), channel={"tolerance": 2})
    assert verdict.outcome == "failed"
    assert verdict.because.endswith("it would fit with 10 times the scale")


def test_gas_beyond_the_range_shows_as_the_highest_reading(seen):
    assert seen([0.0] * 4 + [110.0] * 10, gas(3.5, 180.0)).outcome == "proven"


def test_a_channel_without_a_point_is_left_open(by_hand):
    hand = by_hand("AT-1.A1").saw("AT-1.A1", "0000")
    assert hand["reading/AT-1"].because == "no point shows the reading of AT-1"


def test_a_point_that_was_never_read_is_left_open(by_hand):
    hand = by_hand("AT-1.reading", "AT-1.A1").saw("AT-1.A1", "0000")
    assert hand["reading/AT-1"].because == "AT-1.reading was never read"


# --- in fault -----------------------------------------------------------------------------------

FAULT = {"AT-1.fault": "0000011111111111"}
MADE = (4.5, FaultMade("AT-1", on=True))


@pytest.mark.parametrize(
    ("rule", "shown", "outcome"),
    [
        ("zero", 0.0, "proven"),
        ("zero", 30.0, "failed"),
        ("hold", 30.0, "proven"),
        ("hold", 0.0, "failed"),
        ("nan", None, "proven"),
        ("nan", 30.0, "failed"),
    ],
)
def test_a_reading_in_fault_shows_what_is_stated(by_hand, rule, shown, outcome):
    """The fault came while the gas stood: there is one last good reading."""
    hand = by_hand("AT-1.reading", "AT-1.fault", channel={"on_fault": rule})
    hand.saw("AT-1.fault", FAULT["AT-1.fault"]).did(*MADE)
    number = float("nan") if shown is None else shown
    hand.saw("AT-1.reading", [30.0] * 6 + [number] * 11).did(*gas(0.0, 30.0))
    assert hand["point/AT-1.reading"].outcome == outcome


def test_a_reading_on_the_way_into_a_fault_is_not_held_against_the_gas(seen):
    """The detector left the bus as the gas came; its fault shows after 8 s."""
    left = (3.5, FaultMade("AT-1", on=True, drop_out=True))
    shown = {"AT-1.fault": "00000000000011111111"}
    verdict = seen(
        [0.0] * 20,
        left,
        gas(3.6, 50.0),
        more=shown,
        channel={"fault_delay_s": 8, "on_fault": "hold"},
    )
    assert verdict.outcome != "failed"


# --- two points, one fact -----------------------------------------------------------------------


@pytest.fixture
def failsafe(by_hand):
    outputs = [{"tag": "K1", "kind": "relay", "normally_energised": True}]

    def look(acts, energised):
        hand = by_hand("K1.active", "K1.energised", outputs=outputs)
        hand.saw("K1.active", acts).saw("K1.energised", energised)
        return hand.verdicts()

    return look


def test_a_coil_that_agrees_with_its_output_has_no_verdict_of_its_own(failsafe):
    assert "point/K1.energised" not in failsafe("000001111111", "111110000000")


def test_a_coil_that_is_not_fail_safe_is_failed_in_its_words(failsafe):
    verdict = failsafe("000001111111", "000001111111")["point/K1.energised"]
    assert verdict.outcome == "failed"
    assert verdict.because.endswith(
        "it is to be normally energised (fail-safe): energised at rest, not while K1 acts"
    )


def test_points_that_differ_for_no_longer_than_one_may_lag_agree(failsafe):
    assert "point/K1.energised" not in failsafe("000001111111", "111111000000")


def test_points_of_one_fact_that_differ_for_good_are_failed_by_name(by_hand):
    flag = {"table": "coil", "type": "bit", "shows": "AT-1.A1"}
    points = [{"name": name, "address": n, **flag} for n, name in enumerate(("first", "second"))]
    hand = by_hand("AT-1.A1", points=points)
    hand.saw("first", "000001111111").saw("second", "000000000000")
    verdict = hand["point/second"]
    assert verdict.because.startswith("second shows AT-1.A1 off, first the opposite, at 5.1 s")
    assert "point/first" not in hand.verdicts()
    hand.saw("second", "000001111111")
    assert "point/second" not in hand.verdicts()


def test_a_reading_at_the_edge_of_its_tolerance_is_still_within_it(seen):
    assert seen([0.0] * 4 + [55.0] * 10, gas(3.5, 50.0)).outcome == "proven"


def test_what_a_fault_shows_at_once_is_not_its_own_last_good_reading(by_hand):
    """The register went to 0 in the same poll in which the fault came to show."""
    hand = by_hand("AT-1.reading", "AT-1.fault", channel={"on_fault": "hold"})
    hand.saw("AT-1.reading", [0.0] * 2 + [40.0] * 10 + [0.0] * 10)
    hand.saw("AT-1.fault", "0" * 12 + "1" * 10).did(*gas(1.5, 40.0))
    verdict = hand["reading/AT-1"]
    assert verdict.outcome == "failed"
    assert "0 %LEL while AT-1 was in fault; it is to show the last good reading" in verdict.because


def test_a_last_good_reading_that_nobody_saw_is_not_judged(by_hand):
    """The gas was still on its way as the fault came: where the reading stood is not known."""
    hand = by_hand("AT-1.reading", "AT-1.fault", channel={"on_fault": "hold", "t90_s": 10})
    hand.saw("AT-1.reading", [0.0] * 4 + [15.0, 25.0, 30.0] + [34.0] * 12)
    hand.saw("AT-1.fault", "0" * 8 + "1" * 11).did(*gas(3.5, 40.0))
    assert not [a for a in hand["reading/AT-1"].aspects if a.name.endswith("in fault")]


@pytest.mark.parametrize(
    ("held", "outcome"), [(49.9960, "proven"), (49.9970, "proven"), (49.90, "failed")]
)
def test_the_last_good_reading_may_be_a_scan_after_the_last_sample(by_hand, held, outcome):
    """A lag of 10 s to 90 % leaves 50 x 10^(-t/10) of its step (first-order lag): 0.0032 at 42 s,
    when the last sample is, and 0.0028 half a second later. No noise blurs it."""
    hand = by_hand("AT-1.reading", "AT-1.fault", channel={"on_fault": "hold", "t90_s": 10})
    creeping = [50.0 - 50.0 * 10 ** (-at_s / 10) for at_s in range(43)]
    hand.saw("AT-1.reading", [*creeping, *[held] * 12]).saw("AT-1.fault", "0" * 43 + "1" * 12)
    hand.did(*gas(0.0, 50.0)).did(42.2, FaultMade("AT-1", on=True))
    aspects = {aspect.name: aspect.outcome for aspect in hand["point/AT-1.reading"].aspects}
    assert aspects["AT-1.reading in fault"] == outcome
