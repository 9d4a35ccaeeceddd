"""Channels in test and calibration (rule 29), and which was the first in alarm (rule 26), judged on
histories by hand: a sample a second; flags may come 2 s after what they tell of.
"""

import pytest

from gaswitness_probe.applied import Calibrated, InhibitSet, InTestSet, KeyPressed, PowerSet
from gaswitness_probe.history import PointHistory, Run, Seen

LEVEL = {"cause": "AT-1.A1"}
MODES = [{"cause": "AT-1.test OR AT-1.calibration"}]


def text(*stretches):
    return "".join(str(value) * count for value, count in stretches)


def outcomes(verdict):
    return {aspect.name: aspect.outcome.value for aspect in verdict.aspects}


@pytest.fixture
def seen(by_hand):
    def look(*cells, did=(), parts=(), **shows):
        pairs = [(name.partition("__"), samples) for name, samples in shows.items()]
        named = {f"{tag.replace('_', '-')}.{what}": one for (tag, _, what), one in pairs}
        hand = by_hand(*named, cells=cells, **dict(parts))
        for name, samples in named.items():
            hand.saw(name, samples)
        for at_s, action in did:
            hand.did(at_s, action)
        return hand

    return look


# --- test and calibration -----------------------------------------------------------------------

ALARM = text((0, 15), (1, 10), (0, 25))
QUIET = text((0, 50))
IN_TEST = text((0, 10), (1, 25), (0, 15))
TEST = [(9.5, InTestSet("AT-1", on=True)), (34.5, InTestSet("AT-1", on=False))]


def test_a_channel_in_test_drives_nothing_and_its_flag_is_proven(seen):
    hand = seen(LEVEL, did=TEST, AT_1__A1=ALARM, K1__active=QUIET, AT_1__test=IN_TEST)
    assert outcomes(hand["flag/AT-1.test"]) == {"comes": "proven", "goes": "proven"}
    assert hand["output/K1"].outcome == "proven"
    assert hand["cell/AT-1.A1 > K1"].outcome == "not_run"


def test_an_output_that_moves_for_a_channel_in_test_is_failed(seen):
    hand = seen(LEVEL, did=TEST, AT_1__A1=ALARM, K1__active=ALARM, AT_1__test=IN_TEST)
    assert hand["output/K1"].outcome == "failed"


def test_without_a_flag_it_is_known_from_what_was_done(seen):
    moved = seen(LEVEL, did=TEST, AT_1__A1=ALARM, K1__active=ALARM)
    assert moved["output/K1"].outcome == "failed"
    assert moved["flag/AT-1.test"].because == "no point shows AT-1.test"
    assert seen(LEVEL, did=TEST, AT_1__A1=ALARM, K1__active=QUIET)["output/K1"].outcome == "proven"


def test_a_test_flag_that_does_not_come_or_go_is_failed(seen):
    assert seen(did=TEST, AT_1__test=QUIET)["flag/AT-1.test"].outcome == "failed"
    stuck = text((0, 10), (1, 40))
    assert seen(did=TEST, AT_1__test=stuck)["flag/AT-1.test"].outcome == "failed"


def test_a_test_does_not_outlast_the_power(seen):
    did = [
        (4.5, InTestSet("AT-1", on=True)),
        (14.5, PowerSet(on=False)),
        (24.0, PowerSet(on=True)),
    ]
    gone = text((0, 5), (1, 10)) + "." * 10 + text((0, 25))
    stays = text((0, 5), (1, 10)) + "." * 10 + text((1, 25))
    assert seen(did=did, AT_1__test=gone)["flag/AT-1.test"].outcome != "failed"
    assert seen(did=did, AT_1__test=stays)["flag/AT-1.test"].outcome == "failed"


def test_a_calibration_is_over_by_itself(seen):
    did = [(9.5, Calibrated("AT-1", 20.0))]
    right = text((0, 10), (1, 20), (0, 20))
    hand = seen(LEVEL, did=did, AT_1__A1=ALARM, K1__active=QUIET, AT_1__calibration=right)
    assert outcomes(hand["flag/AT-1.calibration"]) == {"comes": "proven", "goes": "proven"}
    assert hand["output/K1"].outcome == "proven"
    for wrong in (text((0, 10), (1, 10), (0, 30)), text((0, 10), (1, 40)), QUIET):
        assert seen(did=did, AT_1__calibration=wrong)["flag/AT-1.calibration"].outcome == "failed"


def test_a_person_may_end_a_calibration_early_but_not_leave_it(seen):
    hand = seen(AT_1__calibration=text((0, 10), (1, 8), (0, 32)))
    hand.did(9.5, Calibrated("AT-1", 20.0), done_s=15.0)
    assert hand["flag/AT-1.calibration"].outcome != "failed"
    left = seen(AT_1__calibration=text((0, 10), (1, 40)))
    left.did(9.5, Calibrated("AT-1", 20.0), done_s=15.0)
    assert left["flag/AT-1.calibration"].outcome == "failed"


def test_a_second_calibration_begins_its_time_anew(seen):
    did = [(9.5, Calibrated("AT-1", 20.0)), (24.5, Calibrated("AT-1", 20.0))]
    right = text((0, 10), (1, 35), (0, 15))
    assert seen(did=did, AT_1__calibration=right)["flag/AT-1.calibration"].outcome == "proven"
    once = text((0, 10), (1, 20), (0, 30))
    assert seen(did=did, AT_1__calibration=once)["flag/AT-1.calibration"].outcome == "failed"


def test_the_modes_count_as_causes_though_the_channel_is_inhibited(seen):
    did = [(2.5, InhibitSet("AT-1", on=True)), *TEST]
    hand = seen(*MODES, did=did, AT_1__test=IN_TEST, AT_1__inhibit=text((0, 3), (1, 47)),
                K1__active=IN_TEST)  # fmt: skip
    assert hand["cell/AT-1.test OR AT-1.calibration > K1"].outcome == "proven"


def test_an_alarm_in_test_need_not_be_accepted(seen):
    shows = {"AT_1__A1": ALARM, "AT_1__fault": QUIET, "AT_1__A2": QUIET, "AT_1__test": IN_TEST}
    accept = (3.0, KeyPressed("accept"))
    hand = seen(did=[accept, *TEST], panel__unaccepted=QUIET, **shows)
    assert hand["flag/panel.unaccepted"].outcome != "failed"
    wrong = seen(did=[accept, *TEST], panel__unaccepted=text((0, 15), (1, 35)), **shows)
    assert wrong["flag/panel.unaccepted"].outcome == "failed"


# --- first-up -----------------------------------------------------------------------------------

THREE = {
    "channels": [
        {"tag": f"AT-{n}", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "t90_s": 0,
         "levels": {"A1": {"setpoint": 20, "hysteresis": 2}}}
        for n in (1, 2, 3)
    ]
}  # fmt: skip
FIRST, SECOND, THIRD = (
    text((0, 10), (1, 30), (0, 30)),
    text((0, 20), (1, 30), (0, 20)),
    text((0, 70)),
)
ACCEPT = [(54.5, KeyPressed("accept"))]
UNACCEPTED = text((0, 10), (1, 45), (0, 15))
IS_FIRST, NEVER = text((0, 10), (1, 45), (0, 15)), text((0, 70))


@pytest.fixture
def first(seen):
    """AT-2 comes 10 s before AT-1; both have gone by 50 s, and accept is pressed at 54.5 s."""

    def look(one=NEVER, two=IS_FIRST, three=NEVER, did=ACCEPT, **more):
        shows = {
            "AT_1__A1": SECOND,
            "AT_2__A1": FIRST,
            "AT_3__A1": THIRD,
            "panel__unaccepted": UNACCEPTED,
            "AT_1__first_up": one,
            "AT_2__first_up": two,
            "AT_3__first_up": three,
        }
        named = {name: one for name, one in (shows | more).items() if one}
        return seen(did=did, parts=THREE, **named)

    return look


def test_the_first_is_proven_and_the_others_were_not(first):
    hand = first()
    assert outcomes(hand["flag/AT-2.first_up"]) == {"comes": "proven", "goes": "proven"}
    assert hand["flag/AT-1.first_up"].outcome == "not_run"


def test_a_panel_that_tells_no_first_or_another_or_two_is_failed(first):
    assert first(two=NEVER)["flag/AT-2.first_up"].outcome == "failed"
    other = first(one=text((0, 20), (1, 35), (0, 15)), two=text((0, 10), (1, 10), (0, 50)))
    assert other["flag/AT-1.first_up"].outcome == "failed"
    assert other["flag/AT-2.first_up"].outcome == "failed"
    assert first(three=IS_FIRST)["flag/AT-3.first_up"].outcome == "failed"


def test_a_first_that_goes_with_its_own_alarm_is_failed(first):
    assert first(two=FIRST)["flag/AT-2.first_up"].outcome == "failed"


def test_a_first_that_goes_when_accepted_with_alarms_left_is_failed(first):
    early = {
        "did": [(29.5, KeyPressed("accept"))],
        "panel__unaccepted": text((0, 10), (1, 20), (0, 40)),
    }
    assert first(two=text((0, 10), (1, 40), (0, 20)), **early)["flag/AT-2.first_up"].outcome == (
        "proven"
    )
    gone = first(two=text((0, 10), (1, 20), (0, 40)), **early)
    assert gone["flag/AT-2.first_up"].outcome == "failed"


def test_a_first_that_stays_when_all_is_gone_and_accepted_is_failed(first):
    assert first(two=text((0, 10), (1, 60)))["flag/AT-2.first_up"].outcome == "failed"


def test_of_two_alarms_nearer_than_a_flag_may_lag_either_may_be_the_first(first):
    near = text((0, 12), (1, 30), (0, 28))
    for one, two in ((IS_FIRST, NEVER), (NEVER, IS_FIRST)):
        hand = first(one=one, two=two, AT_1__A1=near)
        assert "failed" not in {hand[f"flag/AT-{n}.first_up"].outcome for n in (1, 2)}
    assert first(two=NEVER, three=IS_FIRST, AT_1__A1=near)["flag/AT-3.first_up"].outcome == "failed"


def test_a_reset_with_none_left_may_clear_it_unaccepted(first):
    did = [(52.5, KeyPressed("reset"))]
    stays, goes = text((0, 10), (1, 60)), text((0, 10), (1, 43), (0, 17))
    for two in (stays, goes):
        hand = first(two=two, did=did, panel__unaccepted=stays)
        assert hand["flag/AT-2.first_up"].outcome != "failed"


def test_an_inhibited_channel_is_passed_over(first):
    did = [(1.5, InhibitSet("AT-2", on=True)), *ACCEPT]
    inhibited = text((0, 2), (1, 68))
    later = text((0, 20), (1, 35), (0, 15))
    good = first(one=later, two=NEVER, did=did, AT_2__inhibit=inhibited, panel__unaccepted=later)
    assert good["flag/AT-1.first_up"].outcome == "proven"
    bad = first(did=did, AT_2__inhibit=inhibited, panel__unaccepted=later)
    assert bad["flag/AT-2.first_up"].outcome == "failed"


def test_the_number_of_the_first_is_judged_as_its_flags_are(seen):
    shows = {
        "AT_1__A1": SECOND,
        "AT_2__A1": FIRST,
        "AT_3__A1": THIRD,
        "panel__unaccepted": UNACCEPTED,
    }
    numbers = [0] * 10 + [2] * 45 + [0] * 15
    hand = number(seen, shows, numbers)
    assert hand["flag/AT-2.first_up"].outcome == "proven"
    assert hand["flag/AT-1.first_up"].outcome == "not_run"
    wrong = number(seen, shows, [one * 3 // 2 for one in numbers])
    assert wrong["flag/AT-2.first_up"].outcome == "failed"
    assert wrong["flag/AT-3.first_up"].outcome == "failed"
    off_by_one = number(seen, shows, [max(0, one - 1) for one in numbers])
    assert off_by_one["flag/AT-1.first_up"].outcome == "failed"


def test_a_register_that_names_only_some_channels_tells_nothing_of_the_others(seen):
    shows = {"AT_1__A1": SECOND, "AT_2__A1": FIRST, "AT_3__A1": THIRD}
    hand = seen(did=ACCEPT, parts=THREE, panel__unaccepted=UNACCEPTED, **shows)
    point = {"name": "first", "table": "input register", "address": 100, "type": "enumeration"}
    codes = {0: "none", 1: "AT-1", 3: "AT-3"}
    more = {**point, "codes": codes, "shows": "panel.first_up"}
    data = hand.site.model_dump(mode="json")
    hand.site = type(hand.site).model_validate({**data, "points": [*data["points"], more]})
    ends = Seen(0.0, 0.1), Seen(69.0, 69.1)
    hand.histories["first"] = PointHistory("first", [Run("none", (0,), *ends, 70)])
    verdicts = hand.verdicts()
    assert "flag/AT-2.first_up" not in verdicts
    assert verdicts["flag/AT-1.first_up"].outcome == "not_run"


def number(seen, shows, numbers):
    """The same seen through one register, at address 100."""
    hand = seen(did=ACCEPT, parts=THREE, **shows)
    point = {"name": "first", "table": "input register", "address": 100, "type": "uint16"}
    points = [*hand.site.model_dump(mode="json")["points"], {**point, "shows": "panel.first_up"}]
    hand.site = type(hand.site).model_validate(
        {**hand.site.model_dump(mode="json"), "points": points}
    )
    return hand.saw("first", numbers)


def test_without_panel_unaccepted_it_follows_from_alarms_and_keys(first):
    did = [(4.5, KeyPressed("accept")), *ACCEPT]
    faults = {f"AT_{n}__fault": NEVER for n in (1, 2, 3)}
    assert first(did=did, panel__unaccepted="", **faults)["flag/AT-2.first_up"].outcome == "proven"
    wrong = first(two=NEVER, three=IS_FIRST, did=did, panel__unaccepted="", **faults)
    assert wrong["flag/AT-3.first_up"].outcome == "failed"


def test_a_panel_that_says_it_has_no_first_is_taken_at_its_word_before_the_first_alarm(first):
    """Nobody accepts anything before, and the map does not show what is unaccepted."""
    assert first(panel__unaccepted="")["flag/AT-2.first_up"].outcome == "proven"
    assert first(two=NEVER, panel__unaccepted="")["flag/AT-2.first_up"].outcome == "failed"


def test_a_power_cut_between_two_samples_begins_anew(first):
    """Both alarms come on again in one scan, and the first in the site file is the first."""
    blink = [(30.2, PowerSet(on=False)), (30.6, PowerSet(on=True)), *ACCEPT]
    one, two = text((0, 31), (1, 24), (0, 15)), text((0, 10), (1, 21), (0, 39))
    hand = first(one=one, two=two, did=blink)
    assert "failed" not in {hand[f"flag/AT-{n}.first_up"].outcome for n in (1, 2)}
    assert first(one=one, two=two)["flag/AT-2.first_up"].outcome == "failed"


def test_nothing_is_said_of_a_first_that_came_before_the_run(first):
    hand = first(
        two=text((1, 55), (0, 15)), one=NEVER, AT_2__A1=text((1, 40), (0, 30)),
        AT_1__A1=text((1, 50), (0, 20)), panel__unaccepted=text((1, 55), (0, 15)),
    )  # fmt: skip
    assert "failed" not in {hand[f"flag/AT-{n}.first_up"].outcome for n in (1, 2, 3)}


def test_the_power_forgets_it(first):
    gone = "." * 10
    did = [(29.5, PowerSet(on=False)), (39.0, PowerSet(on=True)), *ACCEPT]
    shows = {
        "AT_1__A1": text((0, 20), (1, 10)) + gone + text((1, 15), (0, 15)),
        "AT_2__A1": text((0, 10), (1, 20)) + gone + text((0, 30)),
        "AT_3__A1": text((0, 30)) + gone + text((0, 30)),
        "panel__unaccepted": text((0, 10), (1, 20)) + gone + text((1, 15), (0, 15)),
    }
    one = text((0, 30)) + gone + text((1, 15), (0, 15))
    two = text((0, 10), (1, 20)) + gone + text((0, 30))
    hand = first(one=one, two=two, three=text((0, 30)) + gone + text((0, 30)), did=did, **shows)
    assert "failed" not in {hand[f"flag/AT-{n}.first_up"].outcome for n in (1, 2, 3)}
