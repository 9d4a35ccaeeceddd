"""Alarm levels, judged on histories by hand: setpoint, clearing, latch, delay, fault and inhibit.

A1 stands at 20 %LEL (clears under 18), A2 at 40 (latching); tolerance of A1: 5 % of it, 1 %LEL.
"""

from math import nan

import pytest

from gaswitness_probe.applied import FaultMade, GasApplied, InhibitSet, KeyPressed, PowerSet

UP = [0, 5, 10, 15, 19.2, 19.4, 19.6, 19.8, 20.2, 20.4, 20.6, 30, 30, 30]
CAME = "00000000111111"
DOWN = [25, 21, 19, 18.4, 17, 10, 5, 0, 0, 0, 0]


@pytest.fixture
def seen(by_hand):
    def look(readings, flag, name="A1", *, did=(), more=(), **parts):
        hand = by_hand("AT-1.reading", f"AT-1.{name}", *dict(more), **parts)
        hand.saw("AT-1.reading", [None if one is None else float(one) for one in readings]).saw(
            f"AT-1.{name}", flag
        )
        for shows, samples in dict(more).items():
            hand.saw(shows, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand[f"level/AT-1.{name}"]

    return look


def outcomes(verdict):
    return {aspect.name: aspect.outcome.value for aspect in verdict.aspects}


def test_a_setpoint_met_on_a_slow_approach_is_proven_with_where_it_lies(seen):
    verdict = seen(UP, CAME)
    assert verdict.outcome == "proven"
    assert verdict.because == "AT-1.A1 came on between 19.4 and 20.4 %LEL"
    assert verdict.expected == "AT-1.A1 on at 20 %LEL rising, hysteresis 2"


def test_a_level_that_stays_off_beyond_its_setpoint_is_failed(seen):
    verdict = seen(UP, "0" * 14)
    assert verdict.outcome == "failed"
    assert verdict.because.endswith("its setpoint is 20 %LEL")
    assert "AT-1.A1 was off though the reading stood at 20.4 %LEL" in verdict.because


def test_a_level_that_comes_on_far_below_its_setpoint_is_failed(seen):
    verdict = seen([0, 2, 5, 8, 10, 10, 10, 10, 10], "000001111")
    assert verdict.outcome == "failed"
    assert any("was on at a reading of 10 %LEL" in one.because for one in verdict.aspects)


def test_a_jump_over_the_setpoint_is_too_wide_to_tell(seen):
    verdict = seen([0, 0, 0, 0, 60, 60, 60, 60], "00001111")
    assert outcomes(verdict)["setpoint"] == "inconclusive"
    assert "approach the setpoint more slowly" in verdict.because


def test_samples_missing_around_the_coming_leave_the_setpoint_open(seen):
    """For 5 s nobody saw the reading: it may have been anywhere."""
    gap = [*UP[:5], None, None, None, None, *UP[9:]]
    verdict = seen(gap, CAME)
    assert outcomes(verdict)["setpoint"] == "inconclusive"
    assert verdict.seen.endswith("or above, %LEL")


def test_a_reading_that_never_reached_the_setpoint_is_not_run(seen):
    verdict = seen([5.0] * 12, "000000000000")
    assert (verdict.outcome, verdict.because) == ("not_run", "the reading never reached 20")


def test_samples_too_far_apart_say_nothing(seen):
    verdict = seen([5.0, 25.0, 5.0, 25.0], "0000", step_s=4.0)
    assert verdict.outcome == "inconclusive"
    assert "samples lie further apart than the panel's shortest dwell of 3 s" in verdict.because


def test_a_level_that_no_point_shows_is_left_to_a_person(by_hand):
    hand = by_hand("AT-1.reading").saw("AT-1.reading", [float(one) for one in UP])
    assert hand["level/AT-1.A1"].because.startswith("no point shows AT-1.A1")


def test_a_level_without_a_reading_has_no_setpoint_that_could_be_judged(by_hand):
    hand = by_hand("AT-1.A1").saw("AT-1.A1", "000011111")
    assert hand["level/AT-1.A1"].because.startswith("no point shows the reading of AT-1")


# --- going off ----------------------------------------------------------------------------------


def test_a_level_that_goes_off_past_its_hysteresis_is_proven_to_clear(seen):
    verdict = seen(UP + DOWN, CAME + "11110000000")
    assert outcomes(verdict) == {"setpoint": "proven", "clears": "proven"}


def test_a_level_that_stays_on_past_its_hysteresis_is_failed(seen):
    verdict = seen(UP + DOWN, CAME + "11111111111")
    assert outcomes(verdict)["clears"] == "failed"
    assert "it latches, or its hysteresis is too wide" in verdict.because


def test_a_level_that_goes_off_within_its_hysteresis_is_failed(seen):
    verdict = seen([*UP, 25, 21, 19, 19, 19, 19, 19, 19], CAME + "11000000")
    assert outcomes(verdict)["clears"] == "failed"
    assert "its hysteresis is too narrow" in verdict.because


# --- latch and reset ----------------------------------------------------------------------------

DELAYED = {"levels": {"A1": {"setpoint": 20, "hysteresis": 2, "on_delay_s": 6}}}
HIGH = [0, 10, 20, 30, 35, 39.2, 39.4, 39.6, 39.8, 40.2, 40.4, 40.6, 50, 50]
BACK = [42, 39, 30, 20, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0]
ON = "00000000011111"


def test_a_latch_that_holds_and_yields_to_a_reset_is_proven(seen):
    keys = [(22.5, KeyPressed("reset"))]
    verdict = seen(HIGH + BACK, ON + "11111111100000", "A2", did=keys)
    assert outcomes(verdict) == {"setpoint": "proven", "latches": "proven", "reset": "proven"}


def test_a_latch_that_lets_go_without_a_reset_is_failed(seen):
    verdict = seen(HIGH + BACK, ON + "11100000000000", "A2")
    assert outcomes(verdict)["latches"] == "failed"
    assert verdict.because == "AT-1.A2 went off without a reset; it has to latch"


def test_a_latch_seen_on_and_then_off_without_a_reset_is_failed_whatever_the_reading(seen):
    """The reading stands at the setpoint, in doubt, and then goes: nobody pressed anything."""
    readings = [0, 0, 0, 0, *[40.0] * 8, *[0.0] * 8]
    verdict = seen(readings, "0000" + "11111111" + "00000000", "A2", channel={"noise": 0.5})
    assert outcomes(verdict)["latches"] == "failed"


def test_a_latch_that_no_reset_clears_is_failed(seen):
    keys = [(20.5, KeyPressed("reset"))]
    verdict = seen(HIGH + BACK, ON + "11111111111111", "A2", did=keys)
    assert outcomes(verdict)["reset"] == "failed"
    assert "a reset did not clear AT-1.A2" in verdict.because


def test_a_reset_while_the_gas_stands_changes_nothing(seen):
    keys = [(15.5, KeyPressed("reset"))]
    verdict = seen([*HIGH, *[50] * 8], ON + "11111111", "A2", did=keys)
    assert outcomes(verdict)["reset refused"] == "proven"


def test_a_latch_lost_in_a_power_cut_is_no_failure(seen):
    cut = [(20.5, PowerSet(on=False)), (22.5, PowerSet(on=True))]
    verdict = seen(HIGH + BACK, ON + "1111111..00000", "A2", did=cut)
    assert "failed" not in outcomes(verdict).values()


def test_a_latch_alone_proves_no_setpoint(seen):
    """The gas jumped: that it latched was seen, at which reading it comes on was not."""
    verdict = seen([*[0.0] * 4, *[60.0] * 6, *[0.0] * 8], "0000" + "11111111111111", "A2")
    assert outcomes(verdict)["latches"] == "proven"
    assert verdict.outcome == "inconclusive"


def test_a_level_that_went_off_for_another_reason_does_not_prove_that_it_clears(seen):
    """It went off with the supply, long before the reading came back."""
    cut = [(14.5, PowerSet(on=False)), (16.5, PowerSet(on=True))]
    readings = [*UP, *[30.0] * 10, *[0.0] * 8]
    verdict = seen(readings, CAME + "1..0000000" + "00000000", did=cut)
    assert "clears" not in {n for n, one in outcomes(verdict).items() if one == "proven"}


def test_a_latch_is_not_proven_where_a_reset_came_before_it_showed(seen):
    keys = [(15.1, KeyPressed("reset"))]
    verdict = seen(HIGH + BACK, ON + "1" + "0" * 13, "A2", did=keys)
    assert "latches" not in outcomes(verdict)


def test_a_reset_is_not_refused_where_the_level_went_off(seen):
    keys = [(15.5, KeyPressed("reset"))]
    verdict = seen([*HIGH, *[50] * 8], ON + "11000000", "A2", did=keys)
    assert "reset refused" not in outcomes(verdict)
    assert verdict.outcome == "failed"


def test_a_level_that_is_only_seen_on_tells_nothing_of_the_condition_beneath_a_latch(seen):
    """Latched from before: whether the gas is beyond is not known from the flag."""
    verdict = seen([39.9] * 12, "1" * 12, "A2", channel={"noise": 0.5})
    assert verdict.outcome == "inconclusive"


def test_an_inexact_approach_with_a_delay_allows_for_the_noise(seen):
    """It stood at 19.5 for longer than the delay: two noises below that is certain. It stood at 30
    before and after the level came: two noises above that is certain, too."""
    readings = [0.0] * 4 + [19.5] * 14 + [30.0] * 12
    flag = "0" * 4 + "0" * 14 + "0" * 6 + "1" * 6
    verdict = seen(readings, flag, channel={**DELAYED, "noise": 0.5})
    located = next(one for one in verdict.aspects if one.name == "setpoint")
    assert located.seen == "AT-1.A1 came on between 18.5 and 31 %LEL"


# --- delay, fault, inhibit, warm-up -------------------------------------------------------------


def test_a_delay_that_is_kept_is_proven(seen):
    readings = [0.0] * 8 + [30.0] * 24
    verdict = seen(readings, "0" * 20 + "1" * 12, channel=DELAYED, step_s=0.5)
    assert outcomes(verdict)["delay"] == "proven"


def test_a_delay_that_is_not_kept_is_failed(seen):
    verdict = seen([0.0] * 4 + [30.0] * 16, "0" * 5 + "1" * 15, channel=DELAYED)
    assert verdict.outcome == "failed"


def test_a_level_that_a_fault_raised_is_no_wrong_setpoint(seen):
    verdict = seen(
        [5.0] * 20,
        "0" * 6 + "1" * 14,
        more={"AT-1.fault": "0" * 6 + "1" * 14},
        did=[(5.0, FaultMade("AT-1", on=True))],
        channel={"levels_on_fault": "trip"},
    )
    assert verdict.outcome != "failed"


def test_a_level_that_a_fault_has_to_raise_and_does_not_is_failed(seen):
    verdict = seen(
        [5.0] * 20,
        "0" * 20,
        more={"AT-1.fault": "0" * 6 + "1" * 14},
        did=[(5.0, FaultMade("AT-1", on=True))],
        channel={"levels_on_fault": "trip"},
    )
    assert verdict.outcome == "failed"


def test_a_level_that_inhibit_has_to_hold_off_and_does_not_is_failed(seen):
    verdict = seen(
        [5.0] * 8 + [30.0] * 12,
        "0" * 8 + "1" * 12,
        more={"AT-1.inhibit": "0" * 3 + "1" * 17},
        did=[(2.0, InhibitSet("AT-1", on=True))],
        behaviour={"inhibit": "levels"},
    )
    assert outcomes(verdict)["held off"] == "failed"
    assert "while warm-up or inhibit hold it off" in verdict.because


def test_a_level_held_off_by_inhibit_with_the_gas_there_is_seen_to_be(seen):
    verdict = seen(
        [5.0] * 8 + [30.0] * 12,
        "0" * 20,
        more={"AT-1.inhibit": "0" * 3 + "1" * 17},
        did=[(2.0, InhibitSet("AT-1", on=True))],
        behaviour={"inhibit": "levels"},
    )
    assert outcomes(verdict)["held off"] == "proven"


def test_a_falling_level_is_judged_downwards(seen):
    falling = {"levels": {"A1": {"setpoint": 19.5, "direction": "falling", "hysteresis": 1}}}
    readings = [21, 20.9, 20.5, 20.1, 19.8, 19.6, 19.3, 19.0, 18, 18, 18]
    good = seen(readings, "00000011111", channel=falling)
    assert (good.outcome, outcomes(good)["setpoint"]) == ("proven", "proven")
    assert good.because == "AT-1.A1 came on between 19 and 20.1 %LEL"
    assert seen(readings, "00000000000", channel=falling).outcome == "failed"


@pytest.mark.parametrize("what", ["A1", "A2"])
def test_a_level_that_comes_on_with_a_fault_in_still_air_is_failed(by_hand, what):
    """The reading stood at 5, and nobody had moved any gas: the level tripped on the fault."""
    found = by_hand("AT-1.reading", f"AT-1.{what}", "AT-1.fault")
    found.saw("AT-1.reading", [5.0] * 10 + [nan] * 20 + [5.0] * 10)
    found.saw("AT-1.fault", "0" * 10 + "1" * 20 + "0" * 10)
    found.saw(f"AT-1.{what}", "0" * 11 + "1" * 19 + "0" * 10)
    verdict = found[f"level/AT-1.{what}"]
    assert verdict.outcome.value == "failed"
    assert "on a fault its levels stay as they were" in verdict.because


def test_gas_moved_just_before_a_fault_may_have_raised_the_level(by_hand):
    found = by_hand("AT-1.reading", "AT-1.A1", "AT-1.fault")
    found.saw("AT-1.reading", [5.0] * 10 + [nan] * 20 + [50.0] * 10)
    found.saw("AT-1.fault", "0" * 10 + "1" * 20 + "0" * 10)
    found.saw("AT-1.A1", "0" * 11 + "1" * 29)
    found.did(9.5, GasApplied("AT-1", 50.0, 0.0, 50.0, 50.0))
    assert found["level/AT-1.A1"].outcome.value != "failed"
