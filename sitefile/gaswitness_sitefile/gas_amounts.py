"""What one unit of a reading is as a share of the air. Facts of gases; no readings here.

%LEL counts on the lower limit of IEC 60079-20-1, else NFPA 497, else the one given; mg/m3 at 20
degrees C and 101325 Pa as in EH40.
"""

from gaswitness_sitefile.channel import Unit
from gaswitness_sitefile.gases import EH40_MOLAR_VOLUME_L_MOL, IEC_2010, NFPA_2008, find_gas


def lfl_vol_percent(gas: str) -> float | None:
    """The lower flammable limit in %vol that the tables have; None where they have none."""
    found = find_gas(gas)
    limits = found and (found.limits_by(IEC_2010) or found.limits_by(NFPA_2008))
    return limits.lfl_vol_percent if limits else None


def fraction_per_unit(gas: str, unit: Unit, lfl: float | None = None) -> float | None:
    """The share of the air, by volume, that one `unit` of the gas is; None where no figure tells.

    `lfl`: lower flammable limit in %vol, in place of the tables' one.
    """
    match unit:
        case Unit.PPM:
            return 1e-6
        case Unit.PPB:
            return 1e-9
        case Unit.VOL:
            return 1e-2
        case Unit.LEL:
            limit = lfl or lfl_vol_percent(gas)
            return None if limit is None else 1e-4 * limit
        case Unit.MG_M3:
            found = find_gas(gas)
            mass = found.molar_mass_g_mol if found else None
            return None if mass is None else 1e-6 * EH40_MOLAR_VOLUME_L_MOL / mass
