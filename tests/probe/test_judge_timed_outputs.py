"""Pulsed and timed outputs, and forced ones (rules 27 and 28), judged on histories by hand.

The cause is the contact DI-1, seen each second beside the output; the panel scans each 0.5 s, may
take 3 s to answer, and dwells 3 s in each state. A pulse of 20 s may so be 18 to 22.5 s long.
"""

import pytest

from gaswitness_probe.applied import KeyPressed, OutputForced, PowerSet

CELL = "cell/DI-1.active > K1"
PULSE, MINIMUM = {"pulse_s": 20}, {"minimum_on_s": 20}


def text(*stretches):
    """`text((0, 5), (1, 10))`: 5 samples of 0, then 10 of 1."""
    return "".join(str(value) * count for value, count in stretches)


@pytest.fixture
def seen(by_hand):
    """Cause and output as texts of 0, 1 and . for a missing sample, and what was done."""

    def look(cause, output, kind=(), *, did=(), cell=(), more=(), **seen_too):
        cells = [{"cause": "DI-1.active", **dict(cell)}, *more]
        outputs = [
            {"tag": "K1", "kind": "sounder", "mutable": True, **dict(kind)},
            {"tag": "S1", "kind": "sounder", "mutable": True},
        ]
        inputs = [{"tag": "DI-1"}, {"tag": "DI-2"}]
        shows = {
            name.replace("__", ".").replace("_", "-"): value for name, value in seen_too.items()
        }
        hand = by_hand(
            "DI-1.active", "K1.active", *shows, cells=cells, outputs=outputs, inputs=inputs
        )
        for name, samples in {"DI-1.active": cause, "K1.active": output, **shows}.items():
            hand.saw(name, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand

    return look


def outcomes(verdict):
    return {aspect.name: aspect.outcome.value for aspect in verdict.aspects}


def why(verdict):
    return [aspect.because for aspect in verdict.aspects if aspect.outcome == "failed"]


def force(at_s, on):
    return at_s, OutputForced("K1", on)


STANDING = text((0, 8), (1, 42))
SHORT = text((0, 8), (1, 6), (0, 36))
RIGHT = text((0, 8), (1, 20), (0, 22))


# --- pulses -------------------------------------------------------------------------------------


@pytest.mark.parametrize("cause", [STANDING, SHORT], ids=["it stands", "it goes"])
def test_a_pulse_of_its_length_is_proven_whatever_its_cause_does(seen, cause):
    hand = seen(cause, RIGHT, PULSE)
    assert outcomes(hand[CELL]) == {"rises": "proven", "pulse": "proven"}
    pulse = hand[CELL].aspects[1]
    assert pulse.response_s == pytest.approx((18.9, 21.1))
    assert pulse.expected == "K1 on for 20 s with each new cause"
    assert pulse.because == "K1 acted for 18.9 to 21.1 s, allowed is 18 to 22.5 s"
    assert hand["output/K1"].outcome == "proven"


@pytest.mark.parametrize("lasts", [10, 15])
def test_a_pulse_that_is_too_short_is_failed(seen, lasts):
    hand = seen(STANDING, text((0, 8), (1, lasts), (0, 42 - lasts)), PULSE)
    assert outcomes(hand[CELL])["pulse"] == "failed"
    assert hand["output/K1"].outcome == "proven"


@pytest.mark.parametrize("lasts", [28, 42])
def test_a_pulse_that_is_too_long_or_follows_its_cause_is_failed(seen, lasts):
    hand = seen(STANDING, text((0, 8), (1, lasts), (0, 42 - lasts)), PULSE)
    assert outcomes(hand[CELL])["pulse"] == "failed"
    assert any("longer than its pulse" in one or "allowed is" in one for one in why(hand[CELL]))


def test_a_pulse_that_goes_with_its_cause_is_failed(seen):
    hand = seen(text((0, 8), (1, 9), (0, 33)), text((0, 8), (1, 9), (0, 33)), PULSE)
    assert outcomes(hand[CELL])["pulse"] == "failed"


def test_a_pulse_that_does_not_come_is_failed(seen):
    assert outcomes(seen(STANDING, text((0, 50)), PULSE)[CELL])["rises"] == "failed"


def test_a_pulse_at_the_going_of_its_cause_is_failed(seen):
    output = text((0, 8), (1, 20), (0, 10), (1, 20), (0, 12))
    hand = seen(text((0, 8), (1, 30), (0, 32)), output, PULSE)
    assert hand["output/K1"].outcome == "failed"
    assert "moved though none of its causes had come" in why(hand["output/K1"])[0]


def test_each_new_cause_begins_the_pulse_anew(seen):
    """Another contact comes 10 s into the pulse: it ends 20 s after that."""
    more = [{"cause": "DI-2.active"}]
    also = text((0, 18), (1, 42))
    once = text((0, 8), (1, 20), (0, 32))
    anew = text((0, 8), (1, 30), (0, 22))
    good = seen(text((0, 8), (1, 52)), anew, PULSE, more=more, DI_2__active=also)
    assert good["output/K1"].outcome == "proven"
    assert "pulse" not in outcomes(good[CELL])  # whose time it was cannot be told
    bad = seen(text((0, 8), (1, 52)), once, PULSE, more=more, DI_2__active=also)
    assert outcomes(bad["cell/DI-2.active > K1"])["pulse"] == "failed"


def test_a_mute_cuts_a_pulse_short_and_that_is_no_failure(seen):
    output = text((0, 8), (1, 7), (0, 35))
    hand = seen(STANDING, output, PULSE, did=[(14.5, KeyPressed("mute"))])
    assert outcomes(hand[CELL]) == {"rises": "proven"}
    assert outcomes(hand["output/K1"]) == {
        "moves only for its causes": "proven",
        "mutes": "proven",
    }


def test_a_pulse_that_the_power_took_is_not_failed(seen):
    output = text((0, 8), (1, 6)) + "." * 8 + text((0, 28))
    cause = text((0, 8), (1, 6)) + "." * 8 + text((0, 28))
    hand = seen(cause, output, PULSE, did=[(13.5, PowerSet(on=False)), (21.0, PowerSet(on=True))])
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)


def test_a_cause_that_stands_when_the_power_returns_comes_anew(seen):
    """The power blinks between two samples: nothing shows it but the pulse that begins again."""
    output = text((0, 8), (1, 20), (0, 13), (1, 20), (0, 9))
    blink = [(40.2, PowerSet(on=False)), (40.6, PowerSet(on=True))]
    assert seen(text((0, 8), (1, 62)), output, PULSE)["output/K1"].outcome == "failed"
    hand = seen(text((0, 8), (1, 62)), output, PULSE, did=blink)
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)


def test_a_cause_too_short_to_be_sure_of_may_be_heard_as_late_as_any(seen):
    """It stands for 3 s, the time allowed for the answer: the pulse may begin at its end."""
    output = text((0, 13), (1, 22), (0, 25))
    hand = seen(text((0, 8), (1, 3), (0, 49)), output, PULSE)
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)


def test_a_cause_that_may_have_flickered_unseen_tells_nothing_of_the_length(seen):
    """Samples are missing for longer than the panel dwells: the cause may have come twice."""
    cause = text((0, 8)) + "." * 7 + text((1, 35))
    output = text((0, 8)) + "." * 7 + text((1, 16), (0, 19))
    hand = seen(cause, output, PULSE)
    assert "pulse" not in outcomes(hand[CELL])


# --- minimum on ---------------------------------------------------------------------------------


def test_a_minimum_that_holds_after_a_short_cause_is_proven(seen):
    hand = seen(SHORT, RIGHT, MINIMUM)
    assert outcomes(hand[CELL]) == {"rises": "proven", "minimum on": "proven"}


def test_an_output_that_goes_before_its_minimum_is_failed(seen):
    hand = seen(SHORT, text((0, 8), (1, 7), (0, 35)), MINIMUM)
    assert outcomes(hand[CELL])["minimum on"] == "failed"


def test_an_output_that_stays_after_its_minimum_is_failed(seen):
    hand = seen(SHORT, text((0, 8), (1, 34), (0, 8)), MINIMUM)
    assert hand[CELL].outcome == "failed"


def test_a_cause_longer_than_the_minimum_is_released_as_any_other(seen):
    cause = text((0, 8), (1, 30), (0, 12))
    hand = seen(cause, text((0, 8), (1, 31), (0, 11)), MINIMUM)
    assert outcomes(hand[CELL]) == {"rises": "proven", "releases": "proven"}
    late = seen(cause, text((0, 8), (1, 40), (0, 2)), MINIMUM)
    assert outcomes(late[CELL])["releases"] == "failed"


def test_an_output_with_no_time_of_its_own_is_judged_as_ever(seen):
    assert outcomes(seen(SHORT, SHORT)[CELL]) == {"rises": "proven", "releases": "proven"}
    assert seen(SHORT, RIGHT)[CELL].outcome == "failed"


# --- forced outputs -----------------------------------------------------------------------------

IDLE = text((0, 50))
HELD_ON = text((0, 10), (1, 15), (0, 25))


def test_an_output_that_stands_as_it_is_forced_is_proven(seen):
    did = [force(9.5, True), force(24.5, None)]
    hand = seen(IDLE, HELD_ON, did=did)
    assert outcomes(hand["output/K1"]) == {
        "moves only for its causes": "proven",
        "forced on": "proven",
    }
    assert hand[CELL].outcome == "not_run"


def test_without_being_told_the_same_movement_is_a_failure(seen):
    assert seen(IDLE, HELD_ON)["output/K1"].outcome == "failed"


def test_an_output_that_does_not_obey_is_failed(seen):
    hand = seen(IDLE, IDLE, did=[force(9.5, True), force(24.5, None)])
    assert outcomes(hand["output/K1"])["forced on"] == "failed"
    assert "K1 was off while somebody held it on at the panel" in why(hand["output/K1"])
    off = seen(STANDING, text((0, 9), (1, 41)), did=[force(15.5, False), force(30.5, None)])
    assert outcomes(off["output/K1"])["forced off"] == "failed"


def test_an_output_that_is_not_let_go_of_is_failed(seen):
    hand = seen(IDLE, text((0, 10), (1, 40)), did=[force(9.5, True), force(24.5, None)])
    assert hand["output/K1"].outcome == "failed"


def test_another_output_may_not_move_while_one_is_forced(seen):
    did = [force(9.5, True), force(24.5, None)]
    hand = seen(IDLE, HELD_ON, did=did, S1__active=HELD_ON)
    assert hand["output/S1"].outcome == "failed"


def test_what_cells_did_under_a_forced_output_shows_once_it_is_let_go(seen):
    """The cause comes while the output is held off: nothing is said of when it came on."""
    cause = text((0, 15), (1, 35))
    did = [force(9.5, False), force(24.5, None)]
    good = seen(cause, text((0, 25), (1, 25)), did=did)
    assert "failed" not in (good[CELL].outcome, good["output/K1"].outcome)
    bad = seen(cause, text((0, 50)), did=did)
    assert bad[CELL].outcome == "failed"


def test_a_latch_seen_off_only_because_it_was_forced_is_not_taken_to_be_off(seen):
    cause = text((0, 8), (1, 6), (0, 36))
    output = text((0, 9), (1, 11), (0, 10), (1, 20))
    did = [force(19.5, False), force(29.5, None)]
    hand = seen(cause, output, cell={"latching": True}, did=did)
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)


def test_a_mute_does_not_reach_a_forced_output(seen):
    did = [force(9.5, True), (15.0, KeyPressed("mute")), force(24.5, None)]
    hand = seen(text((0, 6), (1, 44)), text((0, 6), (1, 44)), did=did)
    assert hand["output/K1"].outcome == "proven"
    silent = seen(text((0, 6), (1, 44)), text((0, 6), (1, 9), (0, 35)), did=did)
    assert outcomes(silent["output/K1"])["forced on"] == "failed"


def test_an_output_that_took_a_mute_while_it_was_forced_is_failed_once_let_go(seen):
    did = [force(9.5, True), (15.0, KeyPressed("mute")), force(24.5, None)]
    output = text((0, 6), (1, 19), (0, 25))
    assert seen(text((0, 6), (1, 44)), output, did=did)[CELL].outcome == "failed"


def test_a_latch_from_before_the_run_may_show_once_its_output_is_let_go(seen):
    did = [force(9.5, False), force(24.5, None)]
    output = text((1, 10), (0, 15), (1, 25))
    hand = seen(IDLE, output, cell={"latching": True}, did=did)
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)


def test_a_pulse_under_a_forced_output_is_not_measured(seen):
    output = text((0, 9), (1, 3), (0, 14), (1, 2), (0, 22))
    did = [force(11.5, False), force(25.5, None)]
    hand = seen(STANDING, output, PULSE, did=did)
    assert "failed" not in (hand[CELL].outcome, hand["output/K1"].outcome)
    assert "pulse" not in outcomes(hand[CELL])


def test_nothing_is_expected_of_what_was_forced_with_the_power_off(seen):
    cause = IDLE[:10] + "." * 10 + IDLE[:30]
    did = [(9.5, PowerSet(on=False)), force(15.0, True), (19.0, PowerSet(on=True))]
    hand = seen(cause, cause, did=did)
    assert "failed" not in (hand["output/K1"].outcome, hand[CELL].outcome)


def test_the_power_ends_the_test(seen):
    gone = "." * 10
    cause = text((0, 20)) + gone + text((0, 30))
    did = [force(4.5, True), (19.5, PowerSet(on=False)), (29.0, PowerSet(on=True))]
    good = seen(cause, text((0, 5), (1, 15)) + gone + text((0, 30)), did=did)
    assert outcomes(good["output/K1"])["forced on"] == "proven"
    assert good["output/K1"].outcome == "proven"
    bad = seen(cause, text((0, 5), (1, 15)) + gone + text((1, 30)), did=did)
    assert bad["output/K1"].outcome == "failed"


def test_the_flags_of_a_test_are_judged(seen):
    did = [force(9.5, True), force(24.5, None)]
    flags = {"K1__forced": HELD_ON, "panel__test": HELD_ON}
    hand = seen(IDLE, HELD_ON, did=did, **flags)
    assert outcomes(hand["flag/K1.forced"]) == {"comes": "proven", "goes": "proven"}
    assert outcomes(hand["flag/panel.test"]) == {"comes": "proven", "goes": "proven"}
    missing = seen(IDLE, HELD_ON, did=did, K1__forced=IDLE, panel__test=HELD_ON)
    assert missing["flag/K1.forced"].outcome == "failed"
    stuck = seen(IDLE, HELD_ON, did=did, K1__forced=HELD_ON, panel__test=text((0, 10), (1, 40)))
    assert stuck["flag/panel.test"].outcome == "failed"
