"""What a single sample can be judged by, at the edges; and hints for people."""

import pytest

from gaswitness_probe.facts import within_type
from gaswitness_probe.survey_hint import hints
from gaswitness_probe.survey_value import judge_value, wire_tolerance
from gaswitness_sitefile.points import Point, Table

HOLDING = Table.HOLDING


def point(kind="int16", shows="AT-1.reading", **more):
    return Point.model_validate(
        {"name": "P", "table": "holding register", "address": 0, "type": kind, "shows": shows}
        | more
    )


@pytest.fixture
def judged(make_site):
    """Outcome and words for one sample of one point."""

    def judge(found, *raw, fault_shown=False, **parts):
        site = make_site([found.model_dump()], **parts)
        result = judge_value(site, found, raw, fault_shown=fault_shown)
        return result.outcome.value, result.because

    return judge


# shown limits of 0..100 %LEL, left out: 10 % of the span beyond either end
@pytest.mark.parametrize(
    ("raw", "outcome"), [(1100, "proven"), (1101, "failed"), (0xFF9C, "proven"), (0xFF9B, "failed")]
)
def test_reading_may_reach_the_shown_limits(judged, raw, outcome):
    assert judged(point(scale=0.1), raw)[0] == outcome


@pytest.mark.parametrize(
    ("shows", "most"), [("panel.first_up", 1), ("events.1.code", 51), ("events.count", 65535)]
)
def test_numbers_of_first_up_and_log_have_limits(judged, shows, most):
    found = point("uint16", shows)
    assert judged(found, most)[0] == "proven"
    assert judged(found, 0)[0] == "proven"
    if most < 65535:
        assert judged(found, most + 1)[0] == "failed"


def test_points_own_limits_bind_too(judged):
    found = point("uint16", "spare", low=1, high=12)
    assert [judged(found, raw)[0] for raw in (0, 1, 12, 13)] == [
        "failed",
        "proven",
        "proven",
        "failed",
    ]


def test_reading_in_another_unit_is_not_held_against_the_channels_limits(judged):
    assert judged(point("uint16", unit="ppm"), 50000)[0] == "proven"


def test_flag_in_a_register_is_0_or_1(judged):
    found = point("uint16", "AT-1.fault")
    assert [judged(found, raw)[0] for raw in (0, 1, 2)] == ["proven", "proven", "failed"]


def test_control_character_within_a_text_fails(judged):
    assert judged(point("string", "spare", length=1), 0x4107) == (
        "failed",
        "a control character within the text",
    )


def test_setpoint_beyond_the_registers_type_is_held_at_its_end(judged):
    channel = {"tag": "AT-1", "gas": "CO", "unit": "ppm", "range": [0, 50000]}
    channel["levels"] = {"A1": {"setpoint": 40000}}
    found = point("int16", "AT-1.A1.setpoint")
    assert judged(found, 32767, channels=[channel])[0] == "proven"
    assert judged(found, 32766, channels=[channel])[0] == "failed"


@pytest.mark.parametrize(
    ("kind", "scale", "value", "tolerance"),
    [
        ("int16", 0.1, 20.9, 0.05),
        ("uint16", 1.0, 4711.0, 0.5),
        ("float32", 1.0, 20.9, 4 * 2.0**-19),  # 20.9 lies in [2^4, 2^5): ulp 2^(4-23), IEEE 754
        ("float32", 1.0, 100.0, 4 * 2.0**-17),
        ("float32", 1.0, 0.0, 4 * 2.0**-149),
        ("float64", 1.0, 1.0, 4 * 2.0**-52),
    ],
)
def test_tolerance_is_half_a_count_or_four_ulp(kind, scale, value, tolerance):
    found = wire_tolerance(point(kind, scale=scale), value)
    assert found == pytest.approx(tolerance, rel=1e-6, abs=0.0)


def test_value_is_held_at_the_ends_of_its_type_after_scale_and_offset():
    found = point("uint16", scale=-0.1, offset=100)
    assert (within_type(found, 200.0), within_type(found, -9999.0)) == (100.0, -6453.5)


def hinted(make_site, found, words):
    image = {(HOLDING, at): word for at, word in words.items()}
    return hints(make_site([found.model_dump()]), found, image)


def test_hint_names_type_and_place(make_site):
    found = point("float32", address=1)
    assert hinted(make_site, found, {0: 0x4248, 1: 0x0000, 2: 0xFFFF}) == (
        "50 at address 0, shifted by -1",
    )


def test_hint_names_no_order_under_which_the_value_is_as_absurd(make_site):
    assert hinted(make_site, point("float32"), {0: 0x7FFF, 1: 0x7FFF}) == ()


def test_hint_needs_limits_to_hold_against(make_site):
    assert hinted(make_site, point("float32", "spare"), {0: 0x0000, 1: 0x4248}) == ()


def test_hint_names_the_type_that_makes_sense(make_site):
    assert hinted(make_site, point("float32"), {0: 0x0000, 1: 50}) == (
        "32 as bcd32",  # 00000032 in hex
        "50 as int32",
        "50 as uint32",
    )
