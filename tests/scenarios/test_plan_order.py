"""Which channels share a round."""

from gaswitness_scenarios.plan_order import chunks, greatest_meeting, meetings, rounds

EFFECTS = {
    "AT-1": ["F1", "B1"],
    "AT-2": ["F1"],
    "AT-3": ["F2"],
    "AT-4": ["B1", "F2"],
    "AT-5": [],
}


def test_channels_meet_where_both_move_an_output():
    met = meetings(EFFECTS)
    assert met == {
        "AT-1": {"AT-2", "AT-4"},
        "AT-2": {"AT-1"},
        "AT-3": {"AT-4"},
        "AT-4": {"AT-1", "AT-3"},
        "AT-5": set(),
    }
    assert sorted(greatest_meeting(EFFECTS)) in (["AT-1", "AT-2"], ["AT-1", "AT-4"])


def test_rounds_hold_each_channel_once_and_nobody_meets():
    met = meetings(EFFECTS)
    groups = rounds(met, dict.fromkeys(EFFECTS, 1.0))
    assert sorted(tag for group in groups for tag in group) == sorted(EFFECTS)
    for group in groups:
        for tag in group:
            assert met[tag].isdisjoint(group)
    assert len(groups) == 2


def test_channels_as_slow_as_each_other_share_a_round():
    effects = {"SLOW-1": ["K1"], "FAST-1": ["K1"], "SLOW-2": ["K2"], "FAST-2": ["K2"]}
    cost_s = {"SLOW-1": 90.0, "SLOW-2": 90.0, "FAST-1": 20.0, "FAST-2": 20.0}
    groups = rounds(meetings(effects), cost_s)
    assert sorted(map(sorted, groups)) == [["FAST-1", "FAST-2"], ["SLOW-1", "SLOW-2"]]


def test_no_more_at_once_than_there_are_hands():
    effects = {f"AT-{n}": [f"K{n}"] for n in range(6)}
    groups = rounds(meetings(effects), dict.fromkeys(effects, 1.0), most=2)
    assert [len(group) for group in groups] == [2, 2, 2]
    assert chunks(list(effects), 4) == [["AT-0", "AT-1", "AT-2", "AT-3"], ["AT-4", "AT-5"]]
    assert chunks(list(effects), 0) == [list(effects)]
