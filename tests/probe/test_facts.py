"""Which points show which facts, and what a value says of them."""

import pytest

from gaswitness_probe.facts import fact_sources, reading_points, resolution, within_type
from gaswitness_probe.signal import FALSE, TRUE, UNKNOWN


def bit(name, shows, address, **more):
    plain = {"table": "coil", "type": "bit"}
    return {"name": name, "shows": shows, "address": address, **plain, **more}


def register(name, shows, address, kind="uint16", **more):
    plain = {"table": "holding register", "type": kind}
    return {"name": name, "shows": shows, "address": address, **plain, **more}


LEVELS = {"A1": {"setpoint": 10}, "A2": {"setpoint": 20}}
PARTS = {
    "channels": [
        {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "levels": LEVELS}
    ],
    "outputs": [
        {"tag": "K1", "kind": "relay"},
        {"tag": "K2", "kind": "relay", "normally_energised": True},
    ],
}
ALL_STATES = dict(
    enumerate(
        ("normal", "A1", "A2", "A3", "fault", "inhibit", "warm_up", "over_range", "under_range")
    )
)


@pytest.fixture
def sources(make_site):
    return lambda *points: fact_sources(make_site(list(points), **PARTS))


def says(source, value):
    return source.meaning(value)


def test_a_bit_says_yes_or_no_and_no_number_says_nothing(sources):
    (source,) = sources(bit("a", "AT-1.A1", 0))["AT-1.A1"]
    assert [says(source, value) for value in (True, False, None)] == [TRUE, FALSE, UNKNOWN]


def test_a_point_that_is_only_written_shows_nothing(sources):
    assert "AT-1.inhibit" not in sources(
        bit("a", "AT-1.inhibit", 0, access="w"), bit("b", "AT-1.A1", 1)
    )


def test_a_coil_tells_whether_its_output_acts(sources):
    found = sources(bit("a", "K1.energised", 0), bit("b", "K2.energised", 1))
    assert [says(found["K1.active"][0], value) for value in (True, False)] == [TRUE, FALSE]
    assert [says(found["K2.active"][0], value) for value in (True, False)] == [FALSE, TRUE]
    assert says(found["K2.energised"][0], True) is TRUE


def test_what_shows_the_fact_itself_goes_before_what_implies_it(sources):
    found = sources(bit("coil", "K1.energised", 0), bit("acts", "K1.active", 1))
    assert [source.point.name for source in found["K1.active"]] == ["acts", "coil"]


def test_bits_of_a_field_are_told_apart(sources):
    found = sources(register("flags", "bits", 0, "bit field", bits={0: "AT-1.A1", 3: "AT-1.fault"}))
    assert says(found["AT-1.A1"][0], 0b1001) is TRUE
    assert says(found["AT-1.fault"][0], 0b0001) is FALSE


@pytest.mark.parametrize(
    ("state", "a1", "a2", "fault", "inhibit"),
    [
        ("normal", FALSE, FALSE, FALSE, FALSE),
        ("over_range", FALSE, FALSE, FALSE, FALSE),
        ("A1", TRUE, FALSE, FALSE, FALSE),
        ("A2", UNKNOWN, TRUE, FALSE, FALSE),
        ("fault", UNKNOWN, UNKNOWN, TRUE, FALSE),
        ("inhibit", UNKNOWN, UNKNOWN, UNKNOWN, TRUE),
        ("warm_up", UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN),
        (None, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN),
    ],
)
def test_a_state_hides_what_it_outranks(sources, state, a1, a2, fault, inhibit):
    found = sources(register("state", "AT-1.state", 0, "enumeration", codes=ALL_STATES))
    told = [says(found[f"AT-1.{what}"][0], state) for what in ("A1", "A2", "fault", "inhibit")]
    assert told == [a1, a2, fault, inhibit]


def test_a_state_says_nothing_of_what_its_enumeration_does_not_name(sources):
    codes = {0: "normal", 1: "A1", 5: "inhibit"}
    found = sources(register("state", "AT-1.state", 0, "enumeration", codes=codes))
    assert set(found) == {"AT-1.A1", "AT-1.inhibit"}


def test_the_finest_point_shows_the_reading(make_site):
    site = make_site(
        [
            register("coarse", "AT-1.reading", 0, "int16", scale=1.0),
            register("fine", "AT-1.reading", 1, "int16", scale=0.1),
            register("float", "AT-1.reading", 2, "float32"),
        ],
        **PARTS,
    )
    found = reading_points(site, "AT-1")
    assert [point.name for point in found] == ["float", "fine", "coarse"]
    assert [resolution(point) for point in found] == [0.0, 0.05, 0.5]


def test_a_value_is_held_at_the_ends_of_an_integer_and_never_of_a_float(make_site):
    site = make_site(
        [
            register("short", "AT-1.reading", 0, "int16", scale=0.01),
            register("float", "AT-1.reading", 2, "float32"),
        ],
        **PARTS,
    )
    short, real = site.points
    assert within_type(short, 330.0) == pytest.approx(327.67)
    assert within_type(short, -330.0) == pytest.approx(-327.68)
    assert within_type(real, float("inf")) == float("inf")
