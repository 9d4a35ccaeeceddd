"""Where a level comes on, by a register in whole steps: what its resolution lets one tell."""

import pytest

PLACE = {"table": "input register", "address": 0, "type": "uint16"}
FLAG = {"table": "discrete input", "address": 0, "type": "bit"}


@pytest.fixture
def stepped(by_hand):
    """A1 at 20 %LEL, shown in whole %LEL; the reading climbs 1 %LEL in 10 s up to 30, from 15 on,
    and jumps there first if asked to. `at`: the reading at which the level comes on. A scan takes
    0.5 s: it comes a sample later."""

    def look(at, *, scale=1.0, noise=0.0, jump=False, tolerance=None):
        level = {"setpoint": 20, "hysteresis": 2}
        if tolerance is not None:
            level["setpoint_tolerance"] = tolerance
        points = [
            {"name": "r", "shows": "AT-1.reading", "unit": "%LEL", "scale": scale, **PLACE},
            {"name": "f", "shows": "AT-1.A1", **FLAG},
        ]
        climb = [15.0 + at_s / 10 for at_s in range(151)]
        readings = [0.0] * 12 + ([96.0] * 12 + [0.0] * 12 if jump else []) + climb
        flags = [False, *(one >= at for one in readings[:-1])]
        hand = by_hand(points=points, channel={"levels": {"A1": level}, "noise": noise})
        hand.saw("r", [round(round(one / scale) * scale, 6) for one in readings])
        hand.saw("f", "".join("01"[one] for one in flags))
        return next(a for a in hand["level/AT-1.A1"].aspects if a.name == "setpoint")

    return look


@pytest.mark.parametrize(
    ("at", "outcome", "seen"),
    [
        (20.0, "proven", "AT-1.A1 came on between 19.5 and 20.5 %LEL"),
        (19.2, "inconclusive", "AT-1.A1 came on between 18.5 and 19.5 %LEL"),
    ],
)
def test_one_number_before_and_after_bounds_the_setpoint_from_both_sides(
    stepped, at, outcome, seen
):
    """A tolerance of 1 %LEL, 5 % of the setpoint; a step of 1 %LEL is ± 0.5 %LEL about a number."""
    found = stepped(at)
    assert (found.outcome, found.seen) == (outcome, seen)


@pytest.mark.parametrize("at", [17.8, 18.2, 21.8, 22.2])
def test_a_setpoint_more_than_a_step_off_is_never_proven(stepped, at):
    assert stepped(at).outcome == "failed"


def test_a_step_too_coarse_for_the_tolerance_is_named_and_no_slower_approach_asked_for(stepped):
    found = stepped(20.0, tolerance=0.4)
    assert found.outcome == "inconclusive"
    assert found.because.endswith(
        "no slower approach settles it: r shows steps of 1 %LEL; show the reading more finely, or "
        "state a setpoint_tolerance of at least 0.5 %LEL"
    )


def test_what_is_asked_for_is_enough(stepped):
    assert stepped(20.0, tolerance=0.5).outcome == "proven"
    assert stepped(20.0, tolerance=0.4, scale=0.1).outcome == "proven"


def test_noise_beyond_the_tolerance_is_named_too(stepped):
    found = stepped(20.0, noise=1.0)
    assert found.because.endswith(
        "no slower approach settles it: r shows steps of 1 %LEL and the noise of AT-1 is ± 1 %LEL; "
        "show the reading more finely, or state a setpoint_tolerance of at least 2.5 %LEL"
    )


def test_the_instant_told_is_that_of_the_approach_that_tells_most(stepped):
    """It came on at 96 %LEL after 12 s, and at 20 on the way up, 50 s after the climb began."""
    assert stepped(20.0, jump=True).at_s == pytest.approx(36 + 50 + 1 + 0.1)
