"""What a run of two-wire cable resists. The conductor's figures stand in the site file's table."""

from typing import Final

from gaswitness_sitefile.bus import Bus, Cable, Segment

PER_KELVIN: Final = 0.004
"""Copper's rise of resistance per kelvin from 20 °C.

The correction table of IEC 60228 is 1 / (1 + 0.004 (t - 20)), as secondary sources print it. IEC
60028 has 0.00393 (from memory): 0.3 % less at 70 °C.
"""
REFERENCE_C: Final = 20.0


def conductor_ohm_per_km(cable: Cable) -> float:
    """One conductor at the cable's temperature, ohm/km.

    Raises ValueError where neither the maker nor IEC 60228 says what it has; loading refuses such.
    """
    at_20_c = cable.ohm_per_km_at_20_c
    if at_20_c is None:
        raise ValueError(f"no resistance is known for {cable.cross_section_mm2:g} mm2")
    return at_20_c * (1.0 + PER_KELVIN * (cable.temperature_c - REFERENCE_C))


def loop_ohm(bus: Bus, segment: Segment) -> float:
    """Both conductors of the segment, and its isolator if it has one, in ohm."""
    per_m = conductor_ohm_per_km(bus.cable_of(segment)) / 1000.0
    isolator = bus.isolator_ohm if segment.isolator else 0.0
    return 2.0 * per_m * segment.length_m + isolator
