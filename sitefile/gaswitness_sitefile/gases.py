"""Finding a gas by any of its names, and conversions between the units of gas readings.

Conversions are for setpoints and limits on paper; no reading of a panel passes through here.
"""

from typing import Final

from gaswitness_sitefile.gas_data import (
    EH40_2020,
    GASES,
    IEC_2010,
    MOLAR_MASSES,
    NFPA_2008,
    ExposureLimit,
    FlammableLimits,
    Gas,
)

__all__ = [
    "EH40_2020",
    "GASES",
    "IEC_2010",
    "MOLAR_MASSES",
    "NFPA_2008",
    "ExposureLimit",
    "FlammableLimits",
    "Gas",
    "eh40_rounded",
    "find_gas",
    "inert_to_reach_percent_vol",
    "is_oxygen",
    "lel_percent_from_vol",
    "mg_m3_from_ppm",
    "molar_volume_l_mol",
    "oxygen_displaced_percent_vol",
    "ppm_from_mg_m3",
    "ppm_from_vol_percent",
    "vol_percent_from_lel",
    "vol_percent_from_ppm",
]

EH40_MOLAR_VOLUME_L_MOL: Final = 24.05526
"""At 20 degrees C and 101325 Pa, as printed in EH40/2005, 4th edition 2020, paragraph 68."""
GAS_CONSTANT_J_MOL_K: Final = 8.314462618
"""Exact since the SI of 2019 (CODATA 2018)."""
STANDARD_PRESSURE_PA: Final = 101_325.0
DRY_AIR_OXYGEN_PERCENT_VOL: Final = 20.946
"""Oxygen in dry air, in %vol (handbook value, from memory; EH40 paragraph 57 says 20.8)."""

_BY_NAME: Final = {
    key.casefold(): gas
    for gas in reversed(GASES)
    for key in (*gas.names, gas.cas, gas.name, gas.formula)
}
_OXYGEN: Final = _BY_NAME["o2"]


def find_gas(text: str) -> Gas | None:
    """The gas of that formula, name, CAS number or common synonym, in any case; None if unknown."""
    key = " ".join(text.split()).casefold()
    return _BY_NAME.get(key) or _BY_NAME.get(key.replace(" ", "")) or _BY_NAME.get(_joined(key))


def _joined(key: str) -> str:
    """Refrigerants are also written R-134a, R 134a."""
    return key.replace("-", "").replace(" ", "") if key[:1] == "r" else key


def is_oxygen(text: str) -> bool:
    """Whether the text names oxygen."""
    return find_gas(text) is _OXYGEN


def molar_volume_l_mol(*, temperature_c: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float:
    """Litres that a mole of an ideal gas takes. Raises ValueError at or below absolute zero."""
    kelvin = temperature_c + 273.15
    if kelvin <= 0 or pressure_pa <= 0:
        raise ValueError("temperature and pressure must be above absolute zero")
    return GAS_CONSTANT_J_MOL_K * kelvin / pressure_pa * 1000.0


def mg_m3_from_ppm(
    ppm: float, gas: Gas, *, molar_volume_l_mol: float = EH40_MOLAR_VOLUME_L_MOL
) -> float:
    """ppm by volume to mg/m3 (EH40 paragraph 68). Raises ValueError for a mixture."""
    return ppm * _molar_mass(gas) / molar_volume_l_mol


def ppm_from_mg_m3(
    mg_m3: float, gas: Gas, *, molar_volume_l_mol: float = EH40_MOLAR_VOLUME_L_MOL
) -> float:
    """mg/m3 to ppm by volume (EH40 paragraph 68). Raises ValueError for a mixture."""
    return mg_m3 * molar_volume_l_mol / _molar_mass(gas)


def _molar_mass(gas: Gas) -> float:
    if gas.molar_mass_g_mol is None:
        raise ValueError(f"{gas.name} is a mixture and has no one molar mass")
    return gas.molar_mass_g_mol


def eh40_rounded(value: float) -> float:
    """Round as EH40 paragraph 69: below 0.1 to one figure, below 100 to two, else to three."""
    size = abs(value)
    figures = 1 if size < 0.1 else 2 if size < 100 else 3
    return float(f"{value:.{figures - 1}e}")


def vol_percent_from_lel(lel_percent: float, limits: FlammableLimits) -> float:
    """%LEL to %vol on the given limits' scale: say which, they differ by body and edition."""
    return lel_percent * limits.lfl_vol_percent / 100.0


def lel_percent_from_vol(vol_percent: float, limits: FlammableLimits) -> float:
    """%vol to %LEL on the given limits' scale."""
    return 100.0 * vol_percent / limits.lfl_vol_percent


def ppm_from_vol_percent(vol_percent: float) -> float:
    """%vol to ppm by volume."""
    return vol_percent * 1e4


def vol_percent_from_ppm(ppm: float) -> float:
    """From ppm by volume to %vol."""
    return ppm / 1e4


def oxygen_displaced_percent_vol(
    inert_vol_percent: float, *, oxygen_vol_percent: float = DRY_AIR_OXYGEN_PERCENT_VOL
) -> float:
    """Oxygen left, in %vol, where `inert_vol_percent` of the final volume is another gas."""
    if not 0 <= inert_vol_percent <= 100:
        raise ValueError("a share of the volume lies between 0 and 100 %")
    return oxygen_vol_percent * (1.0 - inert_vol_percent / 100.0)


def inert_to_reach_percent_vol(
    oxygen_left_vol_percent: float, *, oxygen_vol_percent: float = DRY_AIR_OXYGEN_PERCENT_VOL
) -> float:
    """Share of another gas, in %vol of the final volume, that leaves so much oxygen."""
    if not 0 <= oxygen_left_vol_percent <= oxygen_vol_percent:
        raise ValueError("oxygen left lies between none and what the air has")
    return 100.0 * (1.0 - oxygen_left_vol_percent / oxygen_vol_percent)
