"""What IEC 60228 allows a copper conductor to have: a table of facts, no arithmetic."""

from collections.abc import Mapping
from typing import Final

_SOLID: Final = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08}
_SOLID_COATED: Final = {
    0.5: 36.7,
    0.75: 24.8,
    1.0: 18.2,
    1.5: 12.2,
    2.5: 7.56,
    4.0: 4.70,
    6.0: 3.11,
}
_FINE: Final = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
_FINE_COATED: Final = {
    0.5: 40.1,
    0.75: 26.7,
    1.0: 20.0,
    1.5: 13.7,
    2.5: 8.21,
    4.0: 5.09,
    6.0: 3.39,
}

MOST_OHM_PER_KM: Final[Mapping[tuple[int, bool], Mapping[float, float]]] = {
    (1, False): _SOLID,
    (1, True): _SOLID_COATED,
    (2, False): _SOLID,
    (2, True): _SOLID_COATED,
    (5, False): _FINE,
    (5, True): _FINE_COATED,
}
"""Highest resistance of one conductor at 20 °C, ohm/km, by (class, metal-coated) and mm2.

IEC 60228:2004 tables 1, 2 and 3, as secondary sources print them. Up to 6 mm2, where classes 1 and
2 have the same figures.
"""


def table_ohm_per_km(
    cross_section_mm2: float, conductor_class: int, *, coated: bool
) -> float | None:
    """Highest resistance of one conductor at 20 °C, ohm/km; None where the table has none."""
    return MOST_OHM_PER_KM[conductor_class, coated].get(cross_section_mm2)
