"""What levels, cells and outputs must do, from what was seen: on, off, or either."""

import pytest

from gaswitness_probe.applied import FaultMade, InhibitSet, KeyPressed
from gaswitness_probe.expect import Expectations, replaced
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Signal, Window, from_changes
from gaswitness_probe.view import PanelView


@pytest.fixture
def expect(by_hand):
    def look(seen, *did, cells=(), **parts):
        hand = by_hand(*seen, cells=cells, **parts)
        for name, samples in seen.items():
            hand.saw(name, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return Expectations(PanelView(hand.site, hand.histories, hand.applied))

    return look


def at(signal, *instants_s):
    return [signal.at(instant_s) for instant_s in instants_s]


@pytest.mark.parametrize(
    ("own", "gate", "result"),
    [
        (FALSE, FALSE, FALSE),
        (FALSE, UNKNOWN, UNKNOWN),
        (FALSE, TRUE, TRUE),
        (TRUE, UNKNOWN, TRUE),
        (UNKNOWN, FALSE, UNKNOWN),
        (UNKNOWN, TRUE, TRUE),
    ],
)
def test_replaced_by_true(own, gate, result):
    assert replaced(Signal((), (own,)), Signal((), (gate,)), TRUE) == Signal((), (result,))


def test_a_level_must_follow_its_reading_within_its_lag(expect):
    """Two scans of 0.5 s: the reading is beyond from 5.1 s on, the level must be from 6.1 s on."""
    level = expect({"AT-1.reading": [0.0] * 5 + [30.0] * 10}).levels["AT-1.A1"]
    assert at(level.expected, 3.9, 4.5, 6.0, 6.2) == [FALSE, UNKNOWN, UNKNOWN, TRUE]


def test_between_setpoint_and_hysteresis_a_level_stays_as_it_was(expect):
    readings = [0.0] * 4 + [30.0] * 6 + [19.0] * 6 + [10.0] * 6
    level = expect({"AT-1.reading": readings}).levels["AT-1.A1"]
    assert at(level.expected, 2.9, 9.0, 14.9, 20.0) == [FALSE, TRUE, TRUE, FALSE]


@pytest.mark.parametrize(
    ("rule", "before", "during"),
    [("hold", TRUE, TRUE), ("clear", TRUE, FALSE), ("trip", TRUE, TRUE)],
)
def test_levels_on_fault(expect, rule, before, during):
    seen = {
        "AT-1.reading": [30.0] * 20,
        "AT-1.A1": "1" * 20,
        "AT-1.fault": "0000000000" + "1111111111",
    }
    fault = (9.5, FaultMade("AT-1", on=True))
    level = expect(seen, fault, channel={"levels_on_fault": rule}).levels["AT-1.A1"]
    assert at(level.expected, 8.0, 18.0) == [before, during]


def test_an_inhibit_that_takes_levels_makes_them_forget(expect):
    """After the inhibit the reading stands within the hysteresis."""
    seen = {
        "AT-1.reading": [0.0] * 4 + [30.0] * 12 + [19.0] * 14,
        "AT-1.inhibit": "0" * 10 + "1" * 10 + "0" * 10,
    }
    did = (9.5, InhibitSet("AT-1", on=True)), (19.5, InhibitSet("AT-1", on=False))
    level = expect(seen, *did, behaviour={"inhibit": "levels"}).levels["AT-1.A1"]
    assert at(level.expected, 8.0, 18.0, 27.0) == [TRUE, FALSE, FALSE]
    kept = expect(seen, *did).levels["AT-1.A1"]
    assert at(kept.expected, 8.0, 18.0, 27.0) == [TRUE, TRUE, TRUE]


def test_a_latched_level_stays_until_a_reset_with_its_condition_gone(expect):
    """Before the gas came it may have been latched from earlier: no point shows it."""
    seen = {"AT-1.reading": [0.0] * 4 + [50.0] * 8 + [0.0] * 18}
    did = (9.0, KeyPressed("reset")), (20.0, KeyPressed("reset"))
    level = expect(seen, *did).levels["AT-1.A2"]
    assert at(level.expected, 2.9, 11.5, 19.0, 21.0, 22.0) == [UNKNOWN, TRUE, TRUE, UNKNOWN, FALSE]


# --- cells and outputs --------------------------------------------------------------------------

CONTACT = {"DI-1.active": "0000011111111110000000000"}


def cell_of(expectations, tag="K1"):
    return expectations.outputs[tag].cells[0]


def test_windows_of_a_cell(expect):
    cell = cell_of(
        expect(
            CONTACT,
            cells=[{"cause": "DI-1.active", "on_delay_s": 5, "off_delay_s": 10, "response_s": 2}],
        )
    )
    assert cell.rise == Window(4.5, 7.0)
    assert cell.release == Window(9.0, 12.0)


def test_a_cell_must_act_once_its_cause_has_stood_for_the_longest_delay(expect):
    cell = cell_of(expect(CONTACT, cells=[{"cause": "DI-1.active"}]))
    assert at(cell.state, 3.9, 6.0, 8.2, 13.9, 16.0, 18.2) == [
        FALSE, UNKNOWN, TRUE, TRUE, UNKNOWN, FALSE,
    ]  # fmt: skip


def test_a_cause_too_short_for_the_delay_must_do_nothing(expect):
    cell = cell_of(expect(CONTACT, cells=[{"cause": "DI-1.active", "on_delay_s": 20}]))
    assert cell.state.throughout(FALSE, 5.0, 20.0)


@pytest.mark.parametrize(
    ("cause", "value"),
    [
        ("DI-1.active AND AT-1.A1", FALSE),
        ("DI-1.active AND NOT AT-1.A1", TRUE),
        ("AT-1.A1 OR DI-1.active", TRUE),
        ("2oo3(DI-1.active, AT-1.A1, AT-1.A2)", UNKNOWN),
        ("1oo2(DI-1.active, AT-1.A2)", TRUE),
        ("any.A1", FALSE),
        ("AT-1.inhibit", FALSE),
    ],
)
def test_causes_are_computed_from_what_is_known(expect, cause, value):
    """DI-1 is active, AT-1.A1 off, and of A2 nothing is known."""
    found = expect({**CONTACT, "AT-1.A1": "0" * 25}, cells=[{"cause": cause}])
    assert cell_of(found).cause.at(10.0) is value


def test_a_mute_silences_until_a_cause_comes_anew(expect):
    seen = {"DI-1.active": "0" * 5 + "1" * 30, "AT-1.A1": "0" * 20 + "1" * 15}
    cells = [{"cause": "DI-1.active", "effect": "S1"}, {"cause": "AT-1.A1", "effect": "S1"}]
    horn = expect(seen, (12.0, KeyPressed("mute")), cells=cells).outputs["S1"]
    assert at(horn.muted, 11.0, 13.0, 15.0, 22.0, 24.0) == [FALSE, UNKNOWN, TRUE, UNKNOWN, FALSE]
    assert at(horn.expected, 11.0, 15.0, 24.0) == [TRUE, FALSE, TRUE]


def test_a_mute_ends_when_all_cells_have_gone_off(expect):
    seen = {"DI-1.active": "0" * 5 + "1" * 15 + "0" * 15}
    cells = [{"cause": "DI-1.active", "effect": "S1"}]
    horn = expect(seen, (12.0, KeyPressed("mute")), cells=cells).outputs["S1"]
    assert at(horn.muted, 15.0, 30.0) == [TRUE, FALSE]


def test_an_output_that_is_not_mutable_is_never_muted(expect):
    relay = expect(CONTACT, (8.5, KeyPressed("mute")), cells=[{"cause": "DI-1.active"}])
    assert relay.outputs["K1"].muted == from_changes(FALSE, [])
