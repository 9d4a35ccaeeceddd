"""Faults, inhibits, contacts and common flags on histories by hand. A flag has 2 s to show."""

import pytest

from gaswitness_probe.applied import (
    FaultMade,
    GasApplied,
    InhibitSet,
    InputMade,
    KeyPressed,
    PanelFaultMade,
    PowerSet,
)


@pytest.fixture
def seen(by_hand):
    def look(flag, samples, *did, more=(), **parts):
        hand = by_hand(flag, *dict(more), **parts).saw(flag, samples)
        for shows, shown in dict(more).items():
            hand.saw(shows, shown)
        for at_s, action, *done_s in did:
            hand.did(at_s, action, *done_s)
        return hand[f"flag/{flag}"]

    return look


def outcomes(verdict):
    return {aspect.name: aspect.outcome.value for aspect in verdict.aspects}


CONTACT = (4.5, InputMade("DI-1", on=True)), (12.5, InputMade("DI-1", on=False))
FAULT = (4.5, FaultMade("AT-1", on=True)), (14.5, FaultMade("AT-1", on=False))


def test_a_contact_that_shows_and_goes_in_time_is_proven(seen):
    verdict = seen("DI-1.active", "00000011111111000000", *CONTACT)
    assert outcomes(verdict) == {"comes": "proven", "goes": "proven"}
    assert verdict.response_s == pytest.approx((0.5, 1.6))


def test_a_contact_that_never_shows_is_failed(seen):
    verdict = seen("DI-1.active", "00000000000000000000", *CONTACT)
    assert verdict.outcome == "failed"
    assert verdict.because == (
        "DI-1.active was off when it had to show on: that the contact is active"
    )


def test_a_contact_that_shows_on_after_it_opened_is_failed(seen):
    verdict = seen("DI-1.active", "00000011111111111111", *CONTACT)
    assert outcomes(verdict)["goes"] == "failed"


def test_what_nobody_made_is_not_run_whatever_it_shows(seen):
    verdict = seen("DI-1.active", "00000111111111100000")
    assert (verdict.outcome, verdict.because) == ("not_run", "nothing was done that makes it show")


def test_a_contact_that_was_made_and_is_not_mapped_is_inconclusive(by_hand):
    hand = by_hand("DI-1.active", "AT-1.fault").saw("AT-1.fault", "0000000000")
    hand.did(2.5, InputMade("DI-1", on=True))
    assert hand["flag/DI-1.active"].because == "no point shows DI-1.active"


def test_a_person_who_takes_long_over_it_leaves_room(by_hand):
    """Somewhere from 4 to 9 s the contact was made: at 6 s it showed."""
    hand = by_hand("DI-1.active").saw("DI-1.active", "0000001111111111")
    hand.did(4.0, InputMade("DI-1", on=True), done_s=9.0)
    assert hand["flag/DI-1.active"].outcome == "proven"


def test_a_fault_has_its_own_delay(seen):
    late = {"channel": {"fault_delay_s": 6}}
    assert seen("AT-1.fault", "00000000000111110000", *FAULT, **late).outcome == "proven"
    assert seen("AT-1.fault", "0" * 20, *FAULT, **late).outcome == "failed"


def test_mending_one_of_two_faults_leaves_the_other(seen):
    both = (2.5, FaultMade("AT-1", on=True)), (3.5, FaultMade("AT-1", on=True, drop_out=True))
    mended = (9.5, FaultMade("AT-1", on=False, drop_out=True))
    assert seen("AT-1.fault", "00001111111111111111", *both, mended).outcome == "proven"
    gone = seen("AT-1.fault", "00001111111100000000", *both, mended)
    assert outcomes(gone)["comes"] == "failed"


def test_a_faults_delay_begins_anew_when_power_returns(seen):
    made = (1.5, FaultMade("AT-1", on=True))
    cut = (11.5, PowerSet(on=False)), (13.5, PowerSet(on=True))
    shown = "00000000" + "1111" + "..." + "00000" + "1111"
    verdict = seen("AT-1.fault", shown, made, *cut, channel={"fault_delay_s": 6})
    assert "failed" not in outcomes(verdict).values()


def test_a_fault_gone_before_it_could_show_is_not_the_late_one(seen):
    pulse = (4.5, InputMade("DI-1", on=True)), (4.6, InputMade("DI-1", on=False))
    again = (12.5, InputMade("DI-1", on=True))
    verdict = seen("DI-1.active", "00000000000001111111", *pulse, again)
    assert verdict.outcome == "proven"


def test_a_common_flag_sums_up_what_is_shown(seen):
    shown = {"AT-1.A1": "0000011111100000"}
    assert seen("any.A1", "0000011111110000", more=shown).outcome == "proven"
    assert seen("any.A1", "0000000000000000", more=shown).outcome == "failed"
    assert seen("any.A1", "1111111111111111", more=shown).outcome == "failed"


def test_an_inhibited_channel_does_not_count_in_common_flags(seen):
    made = (1.5, InhibitSet("AT-1", on=True))
    shown = {"AT-1.A1": "0000000000111111111", "AT-1.inhibit": "0001111111111111111"}
    verdict = seen("any.A1", "0000000000111111111", made, more=shown)
    assert verdict.outcome == "failed"


def test_a_panel_fault_that_nobody_made_is_left_open(seen):
    verdict = seen("panel.fault", "0000111111111111", more={"AT-1.fault": "0" * 16})
    assert verdict.outcome == "inconclusive"
    assert verdict.because == "the panel reports a fault that nothing here has caused"


def test_a_fault_made_here_accounts_for_the_panels_though_it_was_seen_but_once(seen):
    # Made while nobody looked, seen once, and mended at some instant before or after that.
    blink = (4.2, FaultMade("AT-1", on=True), 4.6), (4.7, FaultMade("AT-1", on=False), 5.5)
    whole = (9.5, FaultMade("AT-1", on=True)), (16.5, FaultMade("AT-1", on=False))
    shown = "00000100001111111000000"
    lines = {"AT-1.fault": shown}
    assert seen("panel.fault", shown, *blink, *whole, more=lines).outcome == "proven"
    assert seen("panel.fault", shown, *whole, more=lines).outcome != "proven"


def test_the_panels_own_fault_is_proven_when_made(seen):
    made = (4.5, PanelFaultMade(on=True)), (12.5, PanelFaultMade(on=False))
    shown = {"AT-1.fault": "0" * 20}
    assert seen("panel.fault", "00000011111111000000", *made, more=shown).outcome == "proven"
    assert seen("panel.fault", "00000000000000000000", *made, more=shown).outcome == "failed"


# --- accept -------------------------------------------------------------------------------------


def accepted(at_s):
    return at_s, KeyPressed("accept")


def test_an_alarm_asks_to_be_accepted_until_it_is(seen):
    shown = {
        "AT-1.A1": "0000011111111111111111",
        "AT-1.A2": "0" * 22,
        "AT-1.fault": "0" * 22,
    }
    good = seen("panel.unaccepted", "0000011111111100000000", accepted(12.5), more=shown)
    assert outcomes(good) == {"comes": "proven", "goes": "proven"}
    silent = seen("panel.unaccepted", "0" * 22, accepted(16.5), more=shown)
    assert silent.outcome == "failed"
    deaf = seen("panel.unaccepted", "00000" + "1" * 17, accepted(12.5), more=shown)
    assert outcomes(deaf)["goes"] == "failed"


def test_the_panels_own_fault_asks_to_be_accepted_too(seen):
    shown = {"AT-1.A1": "0000111" + "0" * 20, "AT-1.A2": "0" * 27, "AT-1.fault": "0" * 27}
    verdict = seen(
        "panel.unaccepted",
        "0000111111" + "0" * 7 + "1" * 10,
        accepted(8.5),
        (15.5, PanelFaultMade(on=True)),
        more=shown,
    )
    assert verdict.outcome == "proven"


# --- ranges -------------------------------------------------------------------------------------


def gas(at_s, level):
    return at_s, GasApplied("AT-1", level, 0.0, min(0.0, level), max(0.0, level))


def test_over_range_follows_settled_gas(seen):
    over = gas(0.0, 0.0), gas(4.0, 120.0)
    assert seen("AT-1.over_range", "00000111111111111111", *over).outcome == "proven"
    assert seen("AT-1.over_range", "00000000000000000000", *over).outcome == "failed"


def test_over_range_of_a_channel_in_fault_is_not_judged(seen):
    did = ((2.0, FaultMade("AT-1", on=True, drop_out=True)), gas(6.0, 120.0))
    verdict = seen("AT-1.over_range", "00000000000000000000", *did)
    assert verdict.outcome == "not_run"


def test_under_range_follows_settled_gas_downwards(seen):
    low = {"channel": {"under_range": 5}}
    steps = gas(0.0, 50.0), gas(4.0, 0.0)
    good = seen("AT-1.under_range", "00000111111111111111", *steps, **low)
    assert good.outcome == "proven"
    assert seen("AT-1.under_range", "00000000000000000000", *steps, **low).outcome == "failed"


def test_over_range_of_gas_within_the_range_is_not_run(seen):
    steps = gas(0.0, 0.0), gas(4.0, 90.0)
    assert seen("AT-1.over_range", "00000000000000000000", *steps).outcome == "not_run"


def test_a_flag_that_comes_surely_too_late_is_failed_and_one_that_may_be_is_left_open(seen):
    """The map was asked each second; 2 s are allowed."""
    (made, _) = CONTACT
    assert seen("DI-1.active", "0000000011111111", made).outcome == "failed"
    maybe = seen("DI-1.active", "0000000111111111", made)
    assert outcomes(maybe)["comes"] == "inconclusive"
    assert maybe.because.endswith("poll faster to settle it")


def test_a_flag_that_goes_surely_too_late_is_failed(seen):
    verdict = seen("DI-1.active", "00000111111111110000", *CONTACT)
    assert outcomes(verdict)["goes"] == "failed"


def test_the_panels_own_fault_mended_first_was_there_before(seen):
    """Nobody here made it: until it was mended it may have been there."""
    mended = (8.5, PanelFaultMade(on=False))
    shown = {"AT-1.fault": "0" * 20}
    good = seen("panel.fault", "11111111100000000000", mended, more=shown)
    assert good.outcome == "inconclusive"
    assert seen("panel.fault", "11111111111111111111", mended, more=shown).outcome == "failed"
