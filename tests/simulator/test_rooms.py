"""The air of rooms, against closed forms, a printed table and a solver of another kind."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from gaswitness_simulator.rooms import Rooms
from gaswitness_sitefile.rooms import Exchange, Room

# t = -ln(1 - removed) / air changes, in minutes: CDC, Guidelines for Environmental Infection
# Control in Health-Care Facilities (2003), Appendix B, Table B.1; MMWR 1994;43(RR-13), Table S3-1.
AIR_CHANGE_TABLE = {
    1: (138, 276, 414),
    2: (69, 138, 207),
    4: (35, 69, 104),
    6: (23, 46, 69),
    8: (17, 35, 52),
    10: (14, 28, 41),
    12: (12, 23, 35),
    15: (9, 18, 28),
    20: (7, 14, 21),
    50: (3, 6, 8),
}


def one_room(**facts):
    return [Room(tag="R-1", volume_m3=100, **facts)]


@pytest.mark.parametrize("changes", AIR_CHANGE_TABLE)
def test_removal_takes_as_long_as_the_air_change_table_says(changes):
    rooms = Rooms.of(one_room(air_changes_per_h=changes), [], ["CO"])
    rooms.leak("R-1", "CO", 0.01, 0.0)
    rooms.leak("R-1", "CO", 0.0, 600.0)
    first = rooms.share("R-1", "CO", 600.0)
    for left, minutes in zip((0.1, 0.01, 0.001), AIR_CHANGE_TABLE[changes], strict=True):
        sooner, later = (rooms.share("R-1", "CO", 600.0 + 60 * (minutes + d)) for d in (-0.5, 0.5))
        assert sooner > left * first > later


def test_a_leak_builds_up_as_the_mass_balance_says():
    # C(t) = q/(Q+q) (1 - exp(-(Q+q) t / V)), V 100 m3, 2 air changes, q 0.5 m3/h; hours, % by
    # volume. Closed form, confirmed by an ODE solver to 1e-9.
    rooms = Rooms.of(one_room(air_changes_per_h=2), [], ["CH4"])
    rooms.leak("R-1", "CH4", 0.5 / 3600, 0.0)
    table = {0.25: 0.0983110, 0.5: 0.1578651, 1: 0.2157954, 2: 0.2448545, 3: 0.2487676}
    for hours, percent in table.items():
        assert 100 * rooms.share("R-1", "CH4", 3600 * hours) == pytest.approx(percent, abs=1e-7)
    assert 100 * rooms.share("R-1", "CH4", 1e6) == pytest.approx(0.249377, abs=1e-6)


def test_oxygen_is_displaced_by_an_inert_leak():
    # Dilution: 20.9 %vol oxygen falls to 19.5 where 6.6986 % of the air is nitrogen that leaked in.
    facts = {"background_ppm": {"N2": 0}, "air_changes_per_h": 1}
    rooms = Rooms.of(one_room(**facts), [], ["O2", "N2"])
    rooms.leak("R-1", "N2", 0.01, 0.0)
    low, high = 0.0, 3600.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if rooms.share("R-1", "O2", middle) > 0.195 else (low, middle)
    assert 100 * rooms.share("R-1", "N2", low) == pytest.approx(6.6986, abs=1e-4)


def test_a_tight_room_keeps_its_gas():
    rooms = Rooms.of(one_room(), [], ["CO"])
    rooms.leak("R-1", "CO", 0.001, 0.0)
    rooms.leak("R-1", "CO", 0.0, 1000.0)
    kept = 1 - math.exp(-0.001 * 1000 / 100)
    assert rooms.share("R-1", "CO", 1000.0) == pytest.approx(kept, rel=1e-12)
    assert rooms.share("R-1", "CO", 1e9) == pytest.approx(kept, rel=1e-12)


def test_a_purge_and_a_fan_add_to_the_fresh_air():
    rooms = Rooms.of(one_room(air_changes_per_h=1, fans={"F1": 5}), [], ["CO"])
    rooms.leak("R-1", "CO", 0.01, 0.0)
    rooms.leak("R-1", "CO", 0.0, 600.0)
    first = rooms.share("R-1", "CO", 600.0)
    assert rooms.run(frozenset({"F1", "K9"}), 600.0)
    assert not rooms.run(frozenset({"F1"}), 700.0)
    rooms.purge("R-1", 600 / 3600, 600.0)
    assert rooms.share("R-1", "CO", 960.0) == pytest.approx(first * math.exp(-12 * 0.1), rel=1e-9)


def three_rooms(a, b, c, ab, bc, ac):
    rooms = [
        Room(tag="R-1", volume_m3=60, air_changes_per_h=a),
        Room(tag="R-2", volume_m3=250, air_changes_per_h=b),
        Room(tag="R-3", volume_m3=15, air_changes_per_h=c),
    ]
    pairs = ((("R-1", "R-2"), ab), (("R-2", "R-3"), bc), (("R-1", "R-3"), ac))
    return rooms, [Exchange(between=ends, flow_m3_h=flow) for ends, flow in pairs if flow]


def test_three_rooms_go_as_an_ode_solver_says():
    rooms, exchanges = three_rooms(0.5, 3, 0, 120, 40, 7)
    ours = Rooms.of(rooms, exchanges, ["CH4", "O2"])
    ours.leak("R-1", "CH4", 2 / 3600, 0.0)
    volumes = np.array([60, 250, 15])

    def slope(_, x):
        (a, b, c), fresh = x, np.array([30, 750, 0])
        mixing = np.array([120 * (b - a) + 7 * (c - a), 120 * (a - b) + 40 * (c - b),
                           40 * (b - c) + 7 * (a - c)])  # fmt: skip
        leak = np.array([2, 0, 0])
        return (leak + mixing - (fresh + leak) * x) / volumes

    hours = np.array([0.1, 0.5, 1, 4])
    solved = solve_ivp(slope, (0, 4), [0, 0, 0], "Radau", hours, rtol=1e-11, atol=1e-14).y
    for at, hour in enumerate(hours):
        for i, room in enumerate(rooms):
            share = ours.share(room.tag, "CH4", 3600 * float(hour))
            assert share == pytest.approx(solved[i][at], rel=1e-7)


flows = st.sampled_from([0.0, 0.3, 5.0, 200.0])
happenings = st.lists(
    st.tuples(
        st.sampled_from(["leak CH4", "leak N2", "leak O2", "purge", "run"]),
        st.sampled_from(["R-1", "R-2", "R-3"]),
        st.sampled_from([0.0, 0.001, 0.1, 3.0]),
        st.sampled_from([0.0, 1.0, 600.0, 86400.0]),
    ),
    max_size=12,
)


@settings(deadline=None, max_examples=150)
@given(st.tuples(flows, flows, flows), st.tuples(flows, flows, flows), happenings)
def test_shares_are_shares_whatever_happens(fresh, openings, done):
    rooms, exchanges = three_rooms(*fresh, *openings)
    background = {"background_ppm": {"O2": 209_000, "N2": 791_000}}
    rooms = [room.model_copy(update=background) for room in rooms]
    air = Rooms.of(rooms, exchanges, ["CH4", "O2", "N2"])
    at_s = 0.0
    for what, room, flow, wait_s in done:
        if what == "purge":
            air.purge(room, flow, at_s)
        elif what.startswith("leak"):
            air.leak(room, what[5:], flow, at_s)
        for part in (0.01, 0.5, 1.0):
            shares = {g: air.share(room, g, at_s + part * wait_s) for g in ("CH4", "O2", "N2")}
            assert all(-1e-9 <= share <= 1 + 1e-9 for share in shares.values())
            assert sum(shares.values()) == pytest.approx(1.0, abs=1e-6)
        at_s += wait_s


def test_a_room_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="no room 'R-9'"):
        Rooms.of(one_room(), [], ["CO"]).leak("R-9", "CO", 1.0, 0.0)
