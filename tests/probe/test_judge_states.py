"""A channel's state against its flags: the first by rank of those that apply."""

import pytest

from gaswitness_probe.history import PointHistory, Run, Seen

CODES = {0: "normal", 1: "A1", 2: "A2", 8: "fault", 9: "inhibit"}
SHOWN = ("AT-1.A1", "AT-1.A2", "AT-1.fault", "AT-1.inhibit", "AT-1.reading")


@pytest.fixture
def states(by_hand):
    """What is failed of AT-1's state: `codes`, one each second, beside its flags."""

    def failed(codes, **flags):
        found = by_hand(*SHOWN)
        shows = [one.model_dump(exclude_unset=True) for one in found.site.points]
        shows.append(
            {
                "name": "state",
                "table": "input register",
                "address": 40,
                "type": "enumeration",
                "shows": "AT-1.state",
                "codes": CODES,
            }
        )
        found = by_hand(points=shows)
        for what in ("A1", "A2", "fault", "inhibit"):
            found.saw(f"AT-1.{what}", flags.get(what, "0" * len(codes)))
        runs = []
        for at, code in enumerate(codes):
            seen = Seen(float(at), at + 0.1)
            if runs and runs[-1].raw == (code,):
                runs[-1] = Run(runs[-1].value, (code,), runs[-1].first, seen, runs[-1].count + 1)
            else:
                runs.append(Run(CODES.get(code), (code,), seen, seen))
        found.histories["state"] = PointHistory("state", runs)
        verdict = found.verdicts().get("point/state")
        return "" if verdict is None else verdict.because

    return failed


def test_a_state_that_goes_by_the_flags_is_not_spoken_of(states):
    assert states([0] * 6 + [1] * 8 + [0] * 6, A1="0" * 6 + "1" * 8 + "0" * 6) == ""


@pytest.mark.parametrize(
    ("code", "flags", "says"),
    [
        (0, {"A1": "1" * 20}, "state showed normal while the flags of AT-1 say A1"),
        (1, {}, "state showed A1 while the flags of AT-1 say normal"),
        (1, {"A1": "1" * 20, "A2": "1" * 20}, "state showed A1 while the flags of AT-1 say A2"),
        (2, {"A1": "1" * 20, "A2": "1" * 20, "fault": "1" * 20}, "say fault"),
        (8, {"fault": "1" * 20, "inhibit": "1" * 20}, "say inhibit"),
        (3, {"A1": "1" * 20}, "the code 3, which it does not have"),
    ],
)
def test_another_state_is_failed(states, code, flags, says):
    assert says in states([code] * 20, **flags)


def test_a_state_may_lag_behind_its_flag_for_a_moment(states):
    """2 s, the flags' own response time; what lasts longer is failed."""
    late = [0] * 9 + [1] * 9
    assert states(late, A1="0" * 8 + "1" * 10) == ""
    assert "say A1" in states(late, A1="0" * 3 + "1" * 15)


def test_what_no_sample_tells_is_not_failed(states):
    assert states([1] * 20, A1="." * 20) == ""


def test_a_higher_rank_that_is_not_seen_may_be_shown(states):
    assert states([2] * 20, A1="1" * 20, A2="." * 20) == ""
    assert "say A2 or A1" in states([0] * 20, A1="1" * 20, A2="." * 20)
