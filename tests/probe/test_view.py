"""What is known of a panel from what was seen and done: what points show, and what follows from
what was made."""

from math import inf

import pytest

from gaswitness_probe.applied import (
    FaultMade,
    InhibitSet,
    InputMade,
    KeyPressed,
    Looked,
    PanelFaultMade,
    PowerSet,
)
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN, Window
from gaswitness_probe.view import PanelView, counted, panel_fault


@pytest.fixture
def view(by_hand):
    def look(*did, shows=("AT-1.A1",), seen=(), looked=(), span=(0.0, 40.0), **parts):
        hand = by_hand(*shows, **parts)
        for name, samples in dict(seen).items():
            hand.saw(name, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return PanelView(hand.site, hand.histories, hand.applied, looked, Window(*span))

    return look


def at(signal, *instants_s):
    return [signal.at(instant_s) for instant_s in instants_s]


def test_what_a_point_shows_goes_before_what_was_made(view):
    found = view(
        (2.0, InputMade("DI-1", on=True)),
        shows=("DI-1.active",),
        seen={"DI-1.active": "0000000000"},
    )
    assert found.flag("DI-1.active").at(8.0) is FALSE


def test_what_was_made_shows_within_the_time_for_a_flag(view):
    """2 s for a flag to come, and to go."""
    found = view((5.0, InputMade("DI-1", on=True)), (15.0, InputMade("DI-1", on=False)))
    flag = found.flag("DI-1.active")
    assert at(flag, 4.9, 5.5, 7.0, 14.9, 15.5, 17.1) == [FALSE, UNKNOWN, TRUE, TRUE, UNKNOWN, FALSE]


def test_a_fault_shows_after_its_delay_not_before_nine_tenths_of_it(view):
    found = view((5.0, FaultMade("AT-1", on=True)), channel={"fault_delay_s": 10})
    assert at(found.flag("AT-1.fault"), 13.9, 14.1, 16.9, 17.0) == [FALSE, UNKNOWN, UNKNOWN, TRUE]


def test_a_sensor_fault_and_a_drop_out_are_two_faults(view):
    found = view(
        (5.0, FaultMade("AT-1", on=True)),
        (6.0, FaultMade("AT-1", on=True, drop_out=True)),
        (10.0, FaultMade("AT-1", on=False, drop_out=True)),
    )
    assert found.flag("AT-1.fault").throughout(TRUE, 7.0, inf)


def test_what_was_first_unmade_is_not_known_before(view):
    found = view((5.0, InputMade("DI-1", on=False)))
    assert at(found.made("DI-1.active"), 4.0, 5.0) == [UNKNOWN, FALSE]


def test_nothing_is_made_known_of_what_nobody_can_make(view):
    assert view().made("panel.unaccepted").at(1.0) is UNKNOWN


def test_a_persons_hand_leaves_its_interval_unknown(by_hand):
    hand = by_hand("AT-1.A1").did(5.0, InhibitSet("AT-1", on=True), done_s=9.0)
    found = PanelView(hand.site, {}, hand.applied)
    assert at(found.made("AT-1.inhibit"), 4.9, 5.0, 8.9, 9.0) == [FALSE, UNKNOWN, UNKNOWN, TRUE]


def test_with_the_power_off_nothing_is_known_of_what_was_made(view):
    cut = (10.0, PowerSet(on=False)), (14.0, PowerSet(on=True))
    found = view((5.0, FaultMade("AT-1", on=True)), *cut, channel={"fault_delay_s": 3})
    assert at(found.flag("AT-1.fault"), 10.1, 15.0, 19.0) == [UNKNOWN, UNKNOWN, TRUE]


def test_a_reset_acts_somewhere_from_the_key_to_its_response(view):
    assert view((5.0, KeyPressed("reset"))).keys("reset") == [Window(5.0, 7.0)]
    assert view((5.0, KeyPressed("reset"))).keys("mute") == []


def test_memory_may_be_lost_from_power_off_until_a_while_after_power_on(view):
    cut = (10.0, PowerSet(on=False)), (14.0, PowerSet(on=True))
    assert view(*cut).broken == [Window(10.0, 16.0)]
    assert view((10.0, PowerSet(on=False))).broken == [Window(10.0, inf)]


def test_a_long_silence_may_hide_a_power_cut(view):
    silent = view(seen={"AT-1.A1": "000" + "." * 12 + "000"})
    assert silent.broken == [Window(2.1, 15.0)]
    assert view(seen={"AT-1.A1": "000" + "." * 6 + "000"}).broken == []


def test_warm_up_that_no_point_shows_is_unknown_at_the_start_and_after_power(view):
    timing = {"scan_s": 0.5, "refresh_s": 0, "shortest_dwell_s": 3.0, "warm_up_s": 8}
    cut = (20.0, PowerSet(on=False)), (22.0, PowerSet(on=True))
    warm = view(*cut, timing=timing).flag("panel.warm_up")
    assert at(warm, 1.0, 2.0, 19.9, 20.0, 31.9, 32.0) == [
        UNKNOWN, FALSE, FALSE, UNKNOWN, UNKNOWN, FALSE,
    ]  # fmt: skip


def test_a_panel_without_a_warm_up_never_warms_up(view):
    assert view().flag("panel.warm_up").at(-5.0) is FALSE


# --- ranges and readings ------------------------------------------------------------------------


def test_a_reading_clear_of_the_limit_was_not_over_range(view):
    found = view(shows=("AT-1.reading",), seen={"AT-1.reading": [50.0] * 5 + [110.0] * 5}).flag(
        "AT-1.over_range"
    )
    assert at(found, 2.0, 8.0) == [FALSE, UNKNOWN]


def test_nothing_follows_of_ranges_in_fault_or_where_over_range_latches(view):
    seen = {"AT-1.reading": [50.0] * 20}
    fault = (2.0, FaultMade("AT-1", on=True))
    found = view(fault, shows=("AT-1.reading",), seen=seen).flag("AT-1.over_range")
    assert at(found, 1.0, 3.0) == [FALSE, UNKNOWN]
    latching = view(shows=("AT-1.reading",), seen=seen, channel={"over_range_latches": True})
    assert latching.flag("AT-1.over_range").at(5.0) is UNKNOWN


def test_a_number_at_the_end_of_its_type_may_stand_for_more(by_hand):
    point = {"name": "r", "table": "input register", "address": 0, "type": "int16", "scale": 0.002}
    hand = by_hand("AT-1.A1", points=[{**point, "shows": "AT-1.reading"}])
    hand.saw("r", [65.534] * 9)
    found = PanelView(hand.site, hand.histories)

    def over_80(number):
        return TRUE if number >= 80.0 else FALSE

    def over_50(number):
        return TRUE if number >= 50.0 else FALSE

    assert found.reading_signal("AT-1", over_80).at(4.0) is UNKNOWN
    assert found.reading_signal("AT-1", over_50).at(4.0) is TRUE


def test_a_reading_is_unsound_from_the_fault_made_until_it_has_gone(view):
    found = view(
        (5.0, FaultMade("AT-1", on=True, drop_out=True)),
        (9.0, FaultMade("AT-1", on=False, drop_out=True)),
        channel={"fault_delay_s": 20},
    ).unsound("AT-1")
    assert at(found, 4.9, 5.0, 10.0, 11.1) == [FALSE, TRUE, UNKNOWN, FALSE]


# --- causes -------------------------------------------------------------------------------------


def test_an_inhibited_channel_counts_for_nothing(view):
    found = view(
        shows=("AT-1.A1", "AT-1.inhibit"),
        seen={"AT-1.A1": "0011111111", "AT-1.inhibit": "0000001111"},
    )
    assert at(counted(found, "AT-1.A1"), 0.9, 4.0, 8.0) == [FALSE, TRUE, FALSE]


def test_a_channels_fault_is_the_panels_but_its_own_shows_only_in_the_common_flag(view):
    found = view(shows=("AT-1.fault",), seen={"AT-1.fault": "0000111111"})
    assert at(panel_fault(found), 2.0, 8.0) == [UNKNOWN, TRUE]


def test_the_panels_own_fault_is_known_where_it_was_made(view):
    assert view((5.0, PanelFaultMade(on=True))).flag("panel.fault").at(7.0) is TRUE


def test_what_people_saw_counts_where_no_point_shows_it(view):
    found = view(looked=[Looked("K1.active", True, 3.0, 5.0)])
    (part,) = found.parts("K1.active")
    assert (part.value, part.first) == (TRUE, Window(3.0, 5.0))
    assert found.shown("K1.active")
    assert not found.shown("S1.active")
