"""What a person saw of an output, beside what the panel reports of it."""

import pytest

from gaswitness_probe.applied import (
    FaultMade,
    InputMade,
    KeyPressed,
    Looked,
    OutputForced,
    PowerSet,
)

CELL, OUTPUT = "cell/DI-1.active > K1", "output/K1"
ACTING, AT_REST = "witnessed acting", "witnessed at rest"
PLAIN = {"cause": "DI-1.active"}
CAUSE = "0000001111111111111100000000000000"
GOOD = "0000000111111111111110000000000000"


@pytest.fixture
def looked(by_hand):
    """A panel that reports K1 as it must be, and what people saw of it: (fact, seen, from, to)."""

    def look(*looks, cells=(PLAIN,), cause=CAUSE, output=GOOD, did=(), shows=(), **parts):
        seen = dict(shows)
        hand = by_hand("DI-1.active", "K1.active", *seen, cells=cells, **parts)
        hand.saw("DI-1.active", cause).saw("K1.active", output)
        for name, samples in seen.items():
            hand.saw(name, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        hand.looked = [Looked(*one) for one in looks]
        return hand

    return look


def on(value, low, high):
    return "K1.active", value, low, high


def sides(verdict):
    return {one.name: one.outcome.value for one in verdict.aspects if one.name in (ACTING, AT_REST)}


def side(verdict, name):
    return next(one for one in verdict.aspects if one.name == name)


# --- against what was demanded ------------------------------------------------------------------


def test_a_no_fails_output_and_cell_though_the_panel_reports_it_on(looked):
    hand = looked(on(False, 12.0, 14.0))
    words = "a person saw K1 off while DI-1.active demanded it on, though the panel reports it on"
    for name in (OUTPUT, CELL):
        verdict = hand[name]
        assert (verdict.outcome, verdict.proof, verdict.because) == ("failed", "witnessed", words)
        assert side(verdict, ACTING).at_s == 12.0
        assert side(verdict, ACTING).seen == "K1 off, looked at from 12.0 s to 14.0 s"
    assert side(hand[CELL], "rises").outcome == "proven"
    assert side(hand[CELL], "rises").proof == "reported"


def test_a_yes_with_nothing_to_ask_for_it_fails_the_output(looked):
    verdict = looked(on(True, 3.5, 4.5))[OUTPUT]
    assert (verdict.outcome, verdict.proof) == ("failed", "witnessed")
    assert verdict.because == (
        "a person saw K1 on while nothing demanded it, though the panel reports it off"
    )
    assert sides(looked(on(True, 3.5, 4.5))[CELL]) == {}


def test_one_that_was_seen_to_act_and_then_not_to_let_go_fails_the_cell_as_well(looked):
    hand = looked(on(False, 3.5, 4.5), on(True, 12.0, 14.0), on(True, 28.0, 29.0))
    assert sides(hand[CELL]) == {ACTING: "proven", AT_REST: "failed"}
    assert hand[OUTPUT].outcome == hand[CELL].outcome == "failed"


def test_a_panel_that_reports_what_the_person_saw_says_so(looked):
    hand = looked(on(False, 16.0, 17.0), output="0000000111100000000000000000000000")
    told = side(hand[OUTPUT], ACTING)
    assert told.because == (
        "a person saw K1 off while DI-1.active demanded it on, and the panel reports it off, too"
    )
    assert side(hand[CELL], "holds").outcome == "failed"
    assert hand[CELL].proof == "reported"


# --- agreement ----------------------------------------------------------------------------------


def test_looks_that_agree_are_witnessed_beside_what_is_reported(looked):
    hand = looked(on(False, 3.5, 4.5), on(True, 12.0, 14.0), on(False, 28.0, 29.0))
    for name in (OUTPUT, CELL):
        assert sides(hand[name]) == {ACTING: "proven", AT_REST: "proven"}
        assert (hand[name].outcome, hand[name].proof) == ("proven", "reported")
        assert side(hand[name], ACTING).proof == "witnessed"
    assert side(hand[CELL], ACTING).because == "a person saw K1 on while DI-1.active demanded it on"
    assert hand[CELL].response_s == pytest.approx((0.0, 2.1))


def test_a_look_at_the_coil_tells_of_the_output(looked):
    outputs = [{"tag": "K1", "kind": "relay", "normally_energised": True}]
    outputs.append({"tag": "S1", "kind": "sounder"})
    hand = looked(("K1.energised", False, 12.0, 14.0), outputs=outputs)
    assert sides(hand[OUTPUT]) == {ACTING: "proven"}
    hand = looked(("K1.energised", True, 12.0, 14.0), outputs=outputs)
    assert sides(hand[OUTPUT]) == {ACTING: "failed"}


# --- what says nothing --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high"),
    [
        pytest.param(5.5, 6.5, id="as the cause comes"),
        pytest.param(6.5, 12.0, id="asked while it may still come"),
        pytest.param(17.0, 22.0, id="answered after the cause has gone"),
        pytest.param(20.5, 21.5, id="while it may still let go"),
    ],
)
@pytest.mark.parametrize("value", [True, False])
def test_a_look_while_either_will_do_says_nothing(looked, low, high, value):
    hand = looked(on(value, low, high))
    assert sides(hand[OUTPUT]) == sides(hand[CELL]) == {}
    assert hand[OUTPUT].outcome == hand[CELL].outcome == "proven"


def test_two_cells_that_ask_for_it_share_no_look(looked):
    hand = looked(
        on(False, 14.0, 16.0),
        cells=(PLAIN, {"cause": "AT-1.A1"}),
        shows={"AT-1.A1": "0000000001111111110000000000000000"},
    )
    assert sides(hand[OUTPUT]) == {ACTING: "failed"}
    assert "while DI-1.active and AT-1.A1 demanded it on" in hand[OUTPUT].because
    assert sides(hand[CELL]) == sides(hand["cell/AT-1.A1 > K1"]) == {}


def test_without_supply_a_look_says_nothing(looked):
    """Power off from 12 s to 16 s: a valve that closes without supply is seen to act."""
    off = [(12.0, PowerSet(on=False)), (16.0, PowerSet(on=True))]
    dark = "0000000000000.....0000000000000000"
    hand = looked(on(True, 13.0, 14.0), cause=dark, output=dark, did=off)
    assert sides(hand[OUTPUT]) == {}


def test_an_output_whose_detector_has_left_the_bus_is_not_blamed_for_standing_still(looked):
    outputs = [{"tag": "K1", "kind": "relay", "at": "AT-1"}, {"tag": "S1", "kind": "sounder"}]
    left = [(10.0, FaultMade("AT-1", on=True, drop_out=True))]
    hand = looked(on(False, 14.0, 15.0), outputs=outputs, did=left)
    assert sides(hand[OUTPUT]) == {}
    assert sides(looked(on(False, 14.0, 15.0), outputs=outputs)[OUTPUT]) == {ACTING: "failed"}


# --- latches, mutes, hands ----------------------------------------------------------------------


def test_a_latched_output_has_to_be_seen_until_reset(looked):
    cells = ({**PLAIN, "latching": True},)
    good = "0000000111111111111111111110000000"
    did = [(26.0, KeyPressed("reset"))]
    right = looked(on(True, 23.0, 25.0), on(False, 30.0, 31.0), cells=cells, output=good, did=did)
    assert sides(right[CELL]) == {ACTING: "proven", AT_REST: "proven"}
    wrong = looked(on(False, 23.0, 25.0), cells=cells, output=good, did=did)
    assert wrong[CELL].because == (
        "a person saw K1 off while DI-1.active, latched, demanded it on, "
        "though the panel reports it on"
    )


def test_a_mute_that_nobody_heard_fails_the_sounder(by_hand):
    hand = by_hand("DI-1.active", "S1.active", cells=({"cause": "DI-1.active", "effect": "S1"},))
    hand.saw("DI-1.active", "000" + "1" * 22).saw("S1.active", "0001111111" + "0" * 15)
    hand.did(9.5, KeyPressed("mute"))
    hand.looked = [Looked("S1.active", False, 18.0, 20.0)]
    assert hand["output/S1"].outcome == "proven"
    hand.looked = [Looked("S1.active", True, 18.0, 20.0)]
    assert hand["output/S1"].because == (
        "a person found S1 on while it was muted, though the panel reports it off"
    )


def test_what_a_hand_forces_is_demanded_by_the_hand_and_by_no_cell(looked):
    did = [(9.5, OutputForced("K1", on=False)), (16.0, OutputForced("K1", on=None))]
    output = "0000000111000000011110000000000000"
    right = looked(on(False, 13.0, 14.0), output=output, did=did)
    assert sides(right[OUTPUT]) == {AT_REST: "proven"}
    wrong = looked(on(True, 13.0, 14.0), output=output, did=did)
    assert "on while somebody held it off at the panel" in wrong[OUTPUT].because
    assert sides(wrong[CELL]) == {}


def test_an_output_that_no_point_shows_bears_the_same_aspects(by_hand):
    hand = by_hand("DI-1.active", cells=({**PLAIN, "response_s": 9},))
    hand.saw("DI-1.active", "0" * 15 + "1" * 16).did(14.5, InputMade("DI-1", on=True))
    hand.looked = [Looked("K1.active", False, 11.0, 13.0), Looked("K1.active", True, 26.0, 28.0)]
    assert sides(hand[CELL]) == {ACTING: "proven"}
    assert sides(hand[OUTPUT]) == {ACTING: "proven", AT_REST: "proven"}
    assert hand[OUTPUT].proof == "witnessed"
    still = side(hand[OUTPUT], "moves only for its causes")
    assert still.because == ("K1 was off whenever a person looked while it had to be, once")
    assert hand[OUTPUT].outcome == "proven"


def test_an_output_that_no_point_shows_and_nobody_looked_at_in_rest_stays_open(by_hand):
    hand = by_hand("DI-1.active", cells=(PLAIN,))
    hand.saw("DI-1.active", "0" * 15 + "1" * 16)
    hand.looked = [Looked("K1.active", True, 26.0, 28.0)]
    assert hand[OUTPUT].outcome == "inconclusive"
    assert hand[OUTPUT].because == (
        "nobody looked at K1 while it surely had to be off; a person has to look then"
    )
    hand.looked = [*hand.looked, Looked("K1.active", True, 11.0, 13.0)]
    assert hand[OUTPUT].outcome == "failed"
