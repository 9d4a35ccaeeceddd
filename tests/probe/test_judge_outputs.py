"""Cells and outputs, judged on histories by hand: what is proven, failed, left open, and who is
blamed. The cause is the contact DI-1, seen each second beside the output."""

import pytest

from gaswitness_probe.applied import InputMade, KeyPressed, Looked, PowerSet

CELL = "cell/DI-1.active > K1"
PLAIN = {"cause": "DI-1.active"}
LATCHING = PLAIN | {"latching": True}
DELAYED = PLAIN | {"on_delay_s": 6}
KEPT = PLAIN | {"off_delay_s": 6}


@pytest.fixture
def seen(by_hand):
    """Cause and output as texts of 0, 1 and . for a missing sample; more cells and actions."""

    def look(cause, output, *cells, did=(), **parts):
        hand = by_hand("DI-1.active", "K1.active", cells=cells or (PLAIN,), **parts)
        hand.saw("DI-1.active", cause).saw("K1.active", output)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand

    return look


def outcomes(verdict):
    return {aspect.name: aspect.outcome.value for aspect in verdict.aspects}


def reset(at_s):
    return at_s, KeyPressed("reset")


def mute(at_s):
    return at_s, KeyPressed("mute")


# --- coming -------------------------------------------------------------------------------------


def test_an_effect_that_comes_within_its_time_is_proven_with_its_interval(seen):
    verdict = seen("00000111111111", "00000011111111")[CELL]
    assert verdict.outcome == "proven"
    assert verdict.response_s == pytest.approx((0.0, 2.1))
    assert verdict.seen == "K1 on 0.0 to 2.1 s after"


def test_an_effect_that_never_comes_is_failed_and_says_since_when(seen):
    verdict = seen("00000111111111", "00000000000000")[CELL]
    assert verdict.outcome == "failed"
    assert outcomes(verdict) == {"rises": "failed"}
    assert verdict.because == "DI-1.active stood, and K1 did not come"
    assert verdict.seen == "K1 off at 8.1 s, 3.0 s after its cause"


def test_an_effect_that_comes_surely_too_late_is_failed(seen):
    verdict = seen("0000011111111111", "0000000000111111")[CELL]
    assert verdict.outcome == "failed"


def test_an_effect_that_may_be_too_late_is_inconclusive(seen):
    """It came from 2 to 4 s after: 3 s are allowed."""
    verdict = seen("0000011111111111", "0000000011111111")[CELL]
    assert verdict.outcome == "inconclusive"
    assert "the interval straddles the limit" in verdict.because


def test_a_cause_that_never_came_is_not_run(seen):
    verdict = seen("00000000000000", "00000000000000")[CELL]
    assert (verdict.outcome, verdict.because) == ("not_run", "DI-1.active never came")


def test_a_cause_that_stood_from_the_start_is_inconclusive(seen):
    verdict = seen("11111111111111", "11111111111111")[CELL]
    assert verdict.outcome == "inconclusive"
    assert "was not seen to come" in verdict.because


def test_a_cause_too_short_for_the_delay_proves_nothing_and_fails_nothing(seen):
    verdict = seen("00000111000000", "00000000000000", DELAYED)[CELL]
    assert verdict.outcome == "inconclusive"


def test_an_effect_before_its_delay_is_failed_with_what_is_allowed(seen):
    verdict = seen("00000111111111", "00000011111111", DELAYED)[CELL]
    assert verdict.outcome == "failed"
    assert verdict.because == (
        "K1 went on 0.0 to 2.1 s after DI-1.active, allowed is 5.4 to 9 s after"
    )


def test_an_effect_after_its_delay_is_proven(seen):
    verdict = seen("0000011111111111111", "0000000000001111111", DELAYED)[CELL]
    assert verdict.outcome == "proven"
    assert verdict.response_s == pytest.approx((5.9, 8.1))


def test_where_samples_are_missing_around_the_change_nothing_is_certain(seen):
    verdict = seen("00000111111111111", "00000.....1111111")[CELL]
    assert verdict.outcome == "inconclusive"


# --- going, holding, latching -------------------------------------------------------------------


def test_an_effect_that_goes_with_its_cause_is_proven_both_ways(seen):
    verdict = seen("000001111110000000", "000001111111000000")[CELL]
    assert outcomes(verdict) == {"rises": "proven", "releases": "proven"}


def test_an_effect_that_does_not_go_is_failed_as_one_that_latches(seen):
    verdict = seen("000001111110000000", "000001111111111111")[CELL]
    assert outcomes(verdict)["releases"] == "failed"
    assert verdict.because == (
        "K1 did not go off with its cause: it latches, or its off-delay is too long"
    )


def test_an_effect_that_drops_before_its_off_delay_is_failed(seen):
    verdict = seen("0000011111100000000000", "0000011111110000000000", KEPT)[CELL]
    assert verdict.outcome == "failed"
    assert any("before its off-delay was over" in one.because for one in verdict.aspects)


def test_an_effect_that_drops_while_its_cause_stands_is_failed(seen):
    verdict = seen("00000111111111111", "00000111110000000")[CELL]
    assert outcomes(verdict)["holds"] == "failed"
    assert verdict.because == "K1 dropped while its cause stood"


def test_a_latch_is_proven_by_staying_and_by_its_reset(seen):
    hand = seen("0000011111100000000000", "0000011111111111000000", LATCHING, did=[reset(15.5)])
    assert outcomes(hand[CELL]) == {
        "rises": "proven",
        "latches": "proven",
        "reset": "proven",
    }


def test_a_latch_that_lets_go_by_itself_is_failed(seen):
    verdict = seen("000001111110000000", "000001111111000000", LATCHING)[CELL]
    assert verdict.outcome == "failed"
    assert any(one.because == "K1 dropped without a reset" for one in verdict.aspects)


def test_a_latch_that_a_reset_does_not_let_go_is_failed(seen):
    hand = seen("0000011111100000000000", "0000011111111111111111", LATCHING, did=[reset(14.5)])
    verdict = hand[CELL]
    assert outcomes(verdict)["reset"] == "failed"
    assert verdict.because == "a reset came while DI-1.active was off, and K1 stayed on"


def test_a_reset_with_the_cause_present_is_refused(seen):
    hand = seen("0000011111111111111", "0000011111111111111", LATCHING, did=[reset(11.5)])
    assert outcomes(hand[CELL])["reset refused"] == "proven"


def test_a_reset_with_the_cause_present_that_works_is_failed(seen):
    hand = seen("0000011111111111111", "0000011111110000000", LATCHING, did=[reset(11.5)])
    assert hand[CELL].outcome == "failed"


def test_power_cut_excuses_a_lost_latch(seen):
    hand = seen(
        "00000111111000000...000000",
        "00000111111111111...000000",
        LATCHING,
        did=[(16.5, PowerSet(on=False)), (18.5, PowerSet(on=True))],
    )
    assert hand[CELL].outcome == "proven"


def test_an_off_delay_ends_with_the_supply(seen):
    """Rule 13: with the supply back no delay runs. The cause went off while it was lost, too."""
    verdict = seen(
        "0000111111" + ".." + "00000000",
        "0000111111" + ".." + "00000000",
        KEPT,
        did=[(9.6, PowerSet(on=False)), (11.5, PowerSet(on=True))],
    )[CELL]
    assert outcomes(verdict) == {"rises": "proven"}
    kept = seen("000011111100000000", "000011111100000000", KEPT)[CELL]
    assert outcomes(kept)["releases"] == "failed"


def test_a_cause_that_came_back_within_the_off_delay_is_no_late_release(seen):
    """It went at 12 s, came back for a moment at 15 s, and the output goes 6 s after that."""
    cause = "0000011111110001000000000000000"
    output = "0000011111111111111111000000000"
    assert seen(cause, output, KEPT)[CELL].outcome != "failed"


def test_a_latch_is_not_proven_by_an_output_that_went_off_with_its_cause(seen):
    hand = seen("0000011111110000000000", "0000011111111000000000", LATCHING)
    assert "latches" not in {n for n, one in outcomes(hand[CELL]).items() if one == "proven"}


def test_a_latch_is_not_proven_where_a_reset_came_before_it_showed(seen):
    keys = [reset(12.5)]
    hand = seen("0000011111110000000000", "0000011111111100000000", LATCHING, did=keys)
    assert "latches" not in outcomes(hand[CELL])


def test_a_latch_is_not_proven_while_another_cause_holds_the_output(by_hand):
    hand = by_hand("DI-1.active", "AT-1.A1", "K1.active", cells=(LATCHING, {"cause": "AT-1.A1"}))
    hand.saw("DI-1.active", "0000000001111110000000000000")
    hand.saw("AT-1.A1", "0000000000000111111111111111")
    hand.saw("K1.active", "0000000001111111111111111111")
    assert "latches" not in outcomes(hand[CELL])


def test_a_reset_proves_nothing_of_a_cell_that_does_not_latch(seen):
    hand = seen("0000011111110000000000", "0000011111110000000000", did=[reset(11.5)])
    assert "reset" not in outcomes(hand[CELL])


def test_a_reset_of_what_never_came_proves_nothing(seen):
    hand = seen("0" * 20, "0" * 20, LATCHING, did=[reset(11.5)])
    assert hand[CELL].outcome == "not_run"
    assert hand[CELL].aspects == ()


def test_a_run_that_ended_too_soon_says_so(seen):
    verdict = seen("000000000001111", "000000000000000")[CELL]
    assert verdict.outcome == "inconclusive"
    assert seen("00000011111111", "00000011111111")[CELL].outcome == "proven"


def test_how_long_after_its_cause_an_output_is_still_on_is_said(seen):
    verdict = seen("000001111110000000", "000001111111111111")[CELL]
    (failed,) = (one for one in verdict.aspects if one.outcome == "failed")
    assert failed.seen == "K1 still on at 14.1 s, 3.0 s after its cause had gone"


def test_the_one_of_two_causes_that_ended_last_is_blamed(by_hand):
    hand = by_hand("DI-1.active", "AT-1.A1", "K1.active", cells=(PLAIN, {"cause": "AT-1.A1"}))
    hand.saw("DI-1.active", "0000000011111110000000000000000000")
    hand.saw("AT-1.A1", "0000000000011111111111000000000000")
    hand.saw("K1.active", "0000000011111111111111111111111111")
    assert hand["cell/AT-1.A1 > K1"].outcome == "failed"
    assert hand[CELL].outcome != "failed"


def test_a_latch_is_blamed_on_the_cell_that_let_go_only_by_a_reset(by_hand):
    """At 27 s the second cause goes while somebody presses reset; at 42 s nobody does."""
    hand = by_hand("DI-1.active", "AT-1.A1", "K1.active", cells=(PLAIN, {"cause": "AT-1.A1"}))
    hand.saw("DI-1.active", "00000111110000000000000000000000000000000000000000000")
    hand.saw("AT-1.A1", "00000000000000000000111111100000001111111100000000000")
    hand.saw("K1.active", "00000111110000000000111111100000001111111111111111111")
    hand.did(*reset(26.5))
    verdict = hand["cell/AT-1.A1 > K1"]
    assert (verdict.outcome, outcomes(verdict)["releases"]) == ("failed", "failed")
    assert hand[CELL].outcome == "proven"
    assert outcomes(hand["output/K1"]) == {"moves only for its causes": "proven"}


# --- several cells, and none --------------------------------------------------------------------


def test_a_cause_masked_by_another_is_no_proof(by_hand):
    hand = by_hand("DI-1.active", "AT-1.A1", "K1.active", cells=(PLAIN, {"cause": "AT-1.A1"}))
    hand.saw("AT-1.A1", "0000000011111111111111111").saw("DI-1.active", "0000000000000001111111111")
    hand.saw("K1.active", "0000000011111111111111111")
    verdict = hand[CELL]
    assert verdict.outcome == "inconclusive"
    assert hand["cell/AT-1.A1 > K1"].outcome == "proven"


def test_a_movement_without_a_cause_is_laid_at_the_outputs_door(seen):
    hand = seen("00000000000000", "00000011111111")
    assert hand[CELL].outcome == "not_run"
    assert hand["output/K1"].outcome == "failed"
    assert hand["output/K1"].because == "K1 moved though none of its causes had come"


def test_an_output_that_came_for_another_ones_cause_says_which(by_hand):
    cells = ({"cause": "DI-1.active", "effect": "S1"}, {"cause": "AT-1.A1"})
    hand = by_hand("DI-1.active", "AT-1.A1", "K1.active", cells=cells)
    hand.saw("AT-1.A1", "00000000000000")
    hand.saw("DI-1.active", "00000111111111").saw("K1.active", "00000111111111")
    assert hand["output/K1"].because.endswith("DI-1.active (which drives S1)")


def test_an_output_that_is_on_from_the_start_without_a_cause_is_failed(seen):
    hand = seen("00000000000000", "11111111111111")
    assert hand["output/K1"].because == "K1 is on though none of its causes has come"


def test_an_output_that_stayed_off_is_proven_to_move_only_for_its_causes(seen):
    verdict = seen("00000000000000", "00000000000000")["output/K1"]
    assert verdict.outcome == "proven"
    assert verdict.aspects[0].name == "moves only for its causes"


def test_one_sample_of_a_pulse_without_a_cause_is_enough(seen):
    assert seen("00000000000000", "00000000100000")["output/K1"].outcome == "failed"


def test_one_sample_of_a_pulse_that_may_have_a_cause_fails_nothing(seen):
    hand = seen("0000000...0000", "00000000100000")
    assert hand["output/K1"].outcome != "failed"


# --- mute ---------------------------------------------------------------------------------------


@pytest.fixture
def horn(by_hand):
    def look(output, *did, first="0001111111111111111111", second=None):
        cells = [{"cause": "DI-1.active", "effect": "S1"}]
        shows = ["DI-1.active", "S1.active"]
        if second:
            cells.append({"cause": "AT-1.A1", "effect": "S1"})
            shows.append("AT-1.A1")
        hand = by_hand(*shows, cells=cells)
        hand.saw("DI-1.active", first).saw("S1.active", output)
        if second:
            hand.saw("AT-1.A1", second)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand

    return look


def test_a_mute_that_silences_is_proven(horn):
    hand = horn("0001111111100000000000", mute(9.5))
    assert outcomes(hand["output/S1"])["mutes"] == "proven"
    assert hand["cell/DI-1.active > S1"].outcome == "proven"


def test_a_mute_that_does_nothing_is_failed_at_the_output_not_at_the_cell(horn):
    hand = horn("0001111111111111111111", mute(9.5))
    assert outcomes(hand["output/S1"])["mutes"] == "failed"
    assert hand["output/S1"].because == "mute was pressed, and S1 went on sounding"
    assert hand["cell/DI-1.active > S1"].outcome == "proven"


def test_a_new_cause_after_a_mute_sounds_again(horn):
    hand = horn("0001111111100001111111", mute(9.5), second="0000000000000001111111")
    assert outcomes(hand["output/S1"])["sounds again"] == "proven"
    assert hand["cell/AT-1.A1 > S1"].outcome == "proven"


def test_a_new_cause_after_a_mute_that_stays_silent_is_failed(horn):
    hand = horn("0001111111100000000000", mute(9.5), second="0000000000000111111111")
    assert hand["cell/AT-1.A1 > S1"].outcome == "failed"


def test_nothing_sounds_again_that_was_not_muted(horn):
    hand = horn("0001111111111111111111", second="0000000000000111111111")
    assert "sounds again" not in outcomes(hand["output/S1"])


def test_a_mute_before_anything_sounds_mutes_nothing(horn):
    hand = horn("0000000000011111111111", mute(2.5), first="0000000000111111111111")
    assert hand["cell/DI-1.active > S1"].outcome == "proven"


# --- who says so --------------------------------------------------------------------------------


def test_what_no_point_shows_is_left_to_a_person(by_hand):
    hand = by_hand("DI-1.active", cells=(PLAIN,))
    hand.saw("DI-1.active", "000001111111")
    assert hand[CELL].outcome == "inconclusive"
    assert hand[CELL].because == (
        "nothing shows K1.active, and nobody looked; one look cannot tell when it moved: a person "
        "has to find K1 at rest just before DI-1.active comes, and acting within 3 s of it"
    )


def test_what_a_person_saw_is_witnessed_and_what_a_point_shows_is_reported(by_hand, seen):
    hand = by_hand("DI-1.active", cells=({"cause": "DI-1.active", "response_s": 9},))
    hand.saw("DI-1.active", "000001111111111111111").did(4.5, InputMade("DI-1", on=True))
    hand.looked = [Looked("K1.active", False, 3.0, 4.0), Looked("K1.active", True, 8.0, 10.0)]
    assert hand[CELL].outcome == "proven"
    assert hand[CELL].proof == "witnessed"
    assert seen("00000111111111", "00000011111111")[CELL].proof == "reported"
