"""Resistance of cable against the tables of IEC 60228."""

import pytest

from gaswitness_simulator.cable import conductor_ohm_per_km, loop_ohm
from gaswitness_sitefile.bus import Bus, Cable

# IEC 60228:2004, highest resistance at 20 °C in ohm/km, plain copper and metal-coated, as secondary
# sources print it: kabelmetal-indonesia.com (tables A.1, A.2), etechnik-synergie.com,
# mycableengineering.com/knowledge-base/iec-60228-dc-resistance, uecables.com.
IEC_60228 = {
    # mm2: (class 1, coated, class 2, coated, class 5, coated)
    0.5: (36.0, 36.7, 36.0, 36.7, 39.0, 40.1),
    0.75: (24.5, 24.8, 24.5, 24.8, 26.0, 26.7),
    1.0: (18.1, 18.2, 18.1, 18.2, 19.5, 20.0),
    1.5: (12.1, 12.2, 12.1, 12.2, 13.3, 13.7),
    2.5: (7.41, 7.56, 7.41, 7.56, 7.98, 8.21),
    4: (4.61, 4.70, 4.61, 4.70, 4.95, 5.09),
    6: (3.08, 3.11, 3.08, 3.11, 3.30, 3.39),
}
# IEC 60228's factors that bring a resistance measured at t to 20 °C, as uecables.com prints them.
TO_20_C = {
    5: 1.064, 10: 1.042, 15: 1.020, 25: 0.980, 30: 0.962, 40: 0.926, 50: 0.893, 70: 0.833, 90: 0.781
}  # fmt: skip


@pytest.mark.parametrize("size", IEC_60228)
def test_conductors_at_20_c_are_as_iec_60228_allows(size):
    found = tuple(
        conductor_ohm_per_km(
            Cable(cross_section_mm2=size, conductor_class=kind, coated=coated, temperature_c=20)
        )
        for kind in (1, 2, 5)
        for coated in (False, True)
    )

    assert found == IEC_60228[size]


@pytest.mark.parametrize("celsius", TO_20_C)
def test_warm_and_cold_conductors_follow_the_table_of_iec_60228(celsius):
    warm = conductor_ohm_per_km(Cable(temperature_c=celsius))

    assert round(12.1 / warm, 3) == TO_20_C[celsius]


def test_the_coefficient_is_near_that_of_iec_60028():
    """IEC 60028: 0.00393 per kelvin, from memory. The table of IEC 60228 lies 0.3 % above at 70."""
    by_iec_60028 = 12.1 * (1 + 0.00393 * 50)

    assert conductor_ohm_per_km(Cable(temperature_c=70)) == pytest.approx(by_iec_60028, rel=0.004)


def bus(**segment):
    return Bus.model_validate(
        {
            "cable": {"cross_section_mm2": 1.5, "temperature_c": 20},
            "devices": [{"tag": "AT-1", "address": 1, "draws": {"power_w": 1}}],
            "segments": [{"from": "panel", "to": "AT-1", "length_m": 100, **segment}],
        }
    )


def loop(**segment):
    made = bus(**segment)
    return loop_ohm(made, made.segments[0])


def test_the_loop_is_out_and_back():
    """By hand: 2 x 12.1 ohm/km x 0.1 km."""
    assert loop() == pytest.approx(2.42, abs=1e-12)


def test_an_isolator_is_in_the_loop():
    assert loop(isolator=True) == pytest.approx(2.62, abs=1e-12)


def test_a_segment_takes_the_rest_from_the_cable_of_the_bus():
    """By hand: 2 x 7.41 x 0.1 at the bus's 20 °C, not at the default of 30 °C."""
    assert loop(cable={"cross_section_mm2": 2.5}) == pytest.approx(1.482, abs=1e-12)


def test_the_makers_figure_comes_before_the_table():
    """By hand: 2 x 11 ohm/km x 0.1 km."""
    assert loop(cable={"ohm_per_km": 11}) == pytest.approx(2.2, abs=1e-12)


def test_the_makers_figure_is_not_that_of_another_wire():
    own = Cable(ohm_per_km=11).changed_by(Cable(cross_section_mm2=2.5))
    warm = Cable(ohm_per_km=11).changed_by(Cable(temperature_c=70))

    assert (own.ohm_per_km_at_20_c, warm.ohm_per_km_at_20_c) == (7.41, 11)
