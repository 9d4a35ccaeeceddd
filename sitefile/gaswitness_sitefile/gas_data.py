"""The gases that fixed systems measure: molar masses, flammable limits, exposure limits.

Data only, one row a gas, as printed in the sources named below. Where a source has no value there
is none here: nothing is estimated.

Sources
    molar mass: g/mol, from the atomic weights of the `chemicals` 1.5.2 data tables.
    iec: lower and upper flammable limit in %vol in air, IEC 60079-20-1:2010.
    nfpa: the same, NFPA 497:2008. Both through the `chemicals` 1.5.2 data tables.
    twa, stel: 8 h and 15 min limits, (ppm, mg/m3) both as printed, in HSE EH40/2005, 4th edition
        2020, Table 1. Xylene: any isomers; hydrogen fluoride: as F.
    burns: where no limit is tabled, whether the gas burns in air (common chemistry, from memory).
"""

# ruff: noqa: E501  # a table reads best with one gas a row

from dataclasses import dataclass
from typing import Final

IEC_2010: Final = "IEC 60079-20-1:2010"
NFPA_2008: Final = "NFPA 497:2008"
EH40_2020: Final = "HSE EH40/2005, 4th edition 2020, Table 1"
MOLAR_MASSES: Final = "`chemicals` 1.5.2 data tables"

_Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FlammableLimits:
    """Lower and upper limit in air, in %vol."""

    lfl_vol_percent: float
    ufl_vol_percent: float
    source: str


@dataclass(frozen=True, slots=True)
class ExposureLimit:
    """A workplace exposure limit, averaged over `over_min` minutes; both figures as printed."""

    over_min: int
    ppm: float
    mg_m3: float
    source: str

    @property
    def name(self) -> str:
        """As the trade says it."""
        return "8 h TWA" if self.over_min == 480 else "15 min STEL"


@dataclass(frozen=True, slots=True)
class Gas:
    """One gas. `burns` is None where the data do not say."""

    formula: str
    name: str
    cas: str
    molar_mass_g_mol: float | None
    names: tuple[str, ...]
    flammable: tuple[FlammableLimits, ...]
    exposure: tuple[ExposureLimit, ...]
    burns: bool | None

    def limits_by(self, source: str) -> FlammableLimits | None:
        """The flammable limits that the source gives."""
        return next((one for one in self.flammable if one.source == source), None)

    def exposure_over(self, minutes: int) -> ExposureLimit | None:
        """The exposure limit averaged over so many minutes: 480 or 15."""
        return next((one for one in self.exposure if one.over_min == minutes), None)


def _gas(  # noqa: PLR0913  # one argument a column of the table below
    formula: str,
    name: str,
    cas: str,
    molar_mass_g_mol: float | None,
    *,
    names: tuple[str, ...] = (),
    iec: _Pair | None = None,
    nfpa: _Pair | None = None,
    twa: _Pair | None = None,
    stel: _Pair | None = None,
    burns: bool | None = None,
) -> Gas:
    flammable = tuple(
        FlammableLimits(*pair, source)
        for pair, source in ((iec, IEC_2010), (nfpa, NFPA_2008))
        if pair is not None
    )
    exposure = tuple(
        ExposureLimit(minutes, *pair, EH40_2020)
        for minutes, pair in ((480, twa), (15, stel))
        if pair is not None
    )
    burns = True if flammable else burns
    return Gas(formula, name, cas, molar_mass_g_mol, names, flammable, exposure, burns)


# fmt: off
GASES: Final = (
    _gas("CO", "carbon monoxide", "630-08-0", 28.0101, iec=(10.9, 74), nfpa=(12.5, 74), twa=(20, 23), stel=(100, 117)),
    _gas("CO2", "carbon dioxide", "124-38-9", 44.0095, names=("R744",), twa=(5000, 9150), stel=(15000, 27400), burns=False),
    _gas("H2S", "hydrogen sulphide", "7783-06-4", 34.08088, names=("hydrogen sulfide",), iec=(4, 45.5), nfpa=(4, 44), twa=(5, 7), stel=(10, 14)),
    _gas("NH3", "ammonia", "7664-41-7", 17.03052, names=("R717", "H3N"), iec=(15, 33.6), nfpa=(15, 28), twa=(25, 18), stel=(35, 25)),
    _gas("NO", "nitrogen monoxide", "10102-43-9", 30.0061, names=("nitric oxide",), twa=(2, 2.5), burns=False),
    _gas("NO2", "nitrogen dioxide", "10102-44-0", 46.0055, twa=(0.5, 0.96), stel=(1, 1.91), burns=False),
    _gas("N2O", "nitrous oxide", "10024-97-2", 44.0128, twa=(100, 183), burns=False),
    _gas("SO2", "sulphur dioxide", "7446-09-5", 64.0638, names=("sulfur dioxide", "R764"), twa=(0.5, 1.3), stel=(1, 2.7), burns=False),
    _gas("Cl2", "chlorine", "7782-50-5", 70.906, stel=(0.5, 1.5), burns=False),
    _gas("ClO2", "chlorine dioxide", "10049-04-4", 67.4518, twa=(0.1, 0.28), stel=(0.3, 0.84), burns=False),
    _gas("HCN", "hydrogen cyanide", "74-90-8", 27.02534, names=("CHN", "prussic acid"), iec=(5.4, 46), nfpa=(5.6, 40), twa=(0.9, 1), stel=(4.5, 5)),
    _gas("O3", "ozone", "10028-15-6", 47.9982, stel=(0.2, 0.4), burns=False),
    _gas("HCl", "hydrogen chloride", "7647-01-0", 36.46094, twa=(1, 2), stel=(5, 8), burns=False),
    _gas("HF", "hydrogen fluoride", "7664-39-3", 20.006343, twa=(1.8, 1.5), stel=(3, 2.5), burns=False),
    _gas("HBr", "hydrogen bromide", "10035-10-6", 80.91194, stel=(3, 10), burns=False),
    _gas("F2", "fluorine", "7782-41-4", 37.996806, twa=(1, 1.6), stel=(1, 1.6), burns=False),
    _gas("Br2", "bromine", "7726-95-6", 159.808, twa=(0.1, 0.66), stel=(0.2, 1.3), burns=False),
    _gas("PH3", "phosphine", "7803-51-2", 33.997581, twa=(0.1, 0.14), stel=(0.2, 0.28), burns=True),
    _gas("AsH3", "arsine", "7784-42-1", 77.94542, twa=(0.05, 0.16), burns=True),
    _gas("SiH4", "silane", "7803-62-5", 32.11726, twa=(0.5, 0.67), stel=(1, 1.3), burns=True),
    _gas("COCl2", "phosgene", "75-44-5", 98.9161, names=("CCl2O", "carbonyl chloride"), twa=(0.02, 0.08), stel=(0.06, 0.25), burns=False),
    _gas("O2", "oxygen", "7782-44-7", 31.9988, burns=False),
    _gas("N2", "nitrogen", "7727-37-9", 28.0134, burns=False),
    _gas("Ar", "argon", "7440-37-1", 39.948, burns=False),
    _gas("He", "helium", "7440-59-7", 4.002602, burns=False),
    _gas("H2", "hydrogen", "1333-74-0", 2.01588, iec=(4, 77), nfpa=(4, 75)),
    _gas("CH4", "methane", "74-82-8", 16.04246, names=("natural gas",), iec=(4.4, 17), nfpa=(5, 15)),
    _gas("C2H6", "ethane", "74-84-0", 30.06904, names=("R170",), iec=(2.4, 15.5), nfpa=(3, 12.5)),
    _gas("C3H8", "propane", "74-98-6", 44.09562, names=("R290",), iec=(1.7, 10.9), nfpa=(2.1, 9.5)),
    _gas("C4H10", "n-butane", "106-97-8", 58.1222, names=("butane", "R600", "n-C4H10"), iec=(1.4, 9.3), nfpa=(1.9, 8.5), twa=(600, 1450), stel=(750, 1810)),
    _gas("i-C4H10", "isobutane", "75-28-5", 58.1222, names=("R600a", "2-methylpropane", "iC4H10"), iec=(1.3, 9.8), nfpa=(1.8, 8.4)),
    _gas("C5H12", "n-pentane", "109-66-0", 72.14878, names=("pentane",), iec=(1.1, 8.7), nfpa=(1.5, 7.8), twa=(600, 1800)),
    _gas("C6H14", "n-hexane", "110-54-3", 86.17536, names=("hexane",), iec=(1, 8.9), nfpa=(1.1, 7.5), twa=(20, 72)),
    _gas("C7H16", "n-heptane", "142-82-5", 100.20194, names=("heptane",), iec=(0.85, 6.7), nfpa=(1, 6.7), twa=(500, 2085)),
    _gas("C8H18", "n-octane", "111-65-9", 114.22852, names=("octane",), iec=(0.8, 6.5), nfpa=(1, 6.5)),
    _gas("C9H20", "n-nonane", "111-84-2", 128.2551, names=("nonane",), iec=(0.7, 5.6), nfpa=(0.8, 2.9)),
    _gas("C2H2", "acetylene", "74-86-2", 26.03728, names=("ethyne",), iec=(2.3, 100), nfpa=(2.5, 100)),
    _gas("C2H4", "ethylene", "74-85-1", 28.05316, names=("ethene", "R1150"), iec=(2.3, 36), nfpa=(2.7, 36)),
    _gas("C3H6", "propylene", "115-07-1", 42.07974, names=("propene", "R1270"), iec=(2, 11.1), nfpa=(2.4, 10.3)),
    _gas("C4H6", "1,3-butadiene", "106-99-0", 54.09044, names=("butadiene", "buta-1,3-diene"), iec=(1.4, 16.3), nfpa=(2, 11.5), twa=(1, 2.2)),
    _gas("C6H12", "cyclohexane", "110-82-7", 84.15948, iec=(1, 8), nfpa=(1.3, 8)),
    _gas("C6H6", "benzene", "71-43-2", 78.11184, iec=(1.2, 8.6), nfpa=(1.2, 7.8), twa=(1, 3.25)),
    _gas("C7H8", "toluene", "108-88-3", 92.13842, names=("methylbenzene",), iec=(1, 7.8), nfpa=(1.1, 7.1), twa=(50, 191), stel=(100, 384)),
    _gas("C8H10", "xylene", "95-47-6", 106.165, names=("xylenes", "o-xylene"), iec=(1, 7.6), twa=(50, 220), stel=(100, 441)),
    _gas("C8H8", "styrene", "100-42-5", 104.14912, iec=(1, 8), nfpa=(0.9, 6.8), twa=(100, 430), stel=(250, 1080)),
    _gas("CH3OH", "methanol", "67-56-1", 32.04186, names=("CH4O", "methyl alcohol"), iec=(6, 36), nfpa=(6, 36), twa=(200, 266), stel=(250, 333)),
    _gas("C2H5OH", "ethanol", "64-17-5", 46.06844, names=("C2H6O", "ethyl alcohol"), iec=(3.1, 19), nfpa=(3.3, 19), twa=(1000, 1920)),
    _gas("C3H7OH", "propan-2-ol", "67-63-0", 60.09502, names=("C3H8O", "isopropanol", "2-propanol", "IPA"), iec=(2, 12.7), nfpa=(2, 12.7), twa=(400, 999), stel=(500, 1250)),
    _gas("C3H6O", "acetone", "67-64-1", 58.07914, names=("propanone",), iec=(2.5, 14.3), nfpa=(2.5, 12.8), twa=(500, 1210), stel=(1500, 3620)),
    _gas("C4H8O", "butan-2-one", "78-93-3", 72.10572, names=("MEK", "2-butanone", "methyl ethyl ketone"), iec=(1.5, 13.4), nfpa=(1.4, 11.4), twa=(200, 600), stel=(300, 899)),
    _gas("C4H8O2", "ethyl acetate", "141-78-6", 88.10512, iec=(2, 12.8), nfpa=(2, 11.5)),
    _gas("(C2H5)2O", "diethyl ether", "60-29-7", 74.1216, names=("C4H10O",), iec=(1.7, 39.2), nfpa=(1.9, 36)),
    _gas("CH3OCH3", "dimethyl ether", "115-10-6", 46.06844, names=("DME",), iec=(2.7, 32), nfpa=(3.4, 27)),
    _gas("C2H4O", "ethylene oxide", "75-21-8", 44.05256, names=("oxirane", "EtO"), iec=(2.6, 100), nfpa=(3, 100), twa=(1, 1.8)),
    _gas("PO", "propylene oxide", "75-56-9", 58.07914, names=("methyloxirane",), iec=(1.9, 37), nfpa=(2.3, 36), twa=(1, 2.4)),
    _gas("HCHO", "formaldehyde", "50-00-0", 30.02598, names=("CH2O", "methanal"), iec=(7, 73), nfpa=(7, 73), twa=(2, 2.5), stel=(2, 2.5)),
    _gas("C2H3Cl", "vinyl chloride", "75-01-4", 62.49822, names=("chloroethene", "VCM"), iec=(3.6, 33), nfpa=(3.6, 33), twa=(1, 2.6)),
    _gas("CH3Cl", "chloromethane", "74-87-3", 50.48752, names=("methyl chloride", "R40"), iec=(7.6, 19), nfpa=(8.1, 17.4)),
    _gas("CS2", "carbon disulphide", "75-15-0", 76.1407, names=("carbon disulfide",), iec=(0.6, 60), nfpa=(1.3, 50), twa=(5, 15)),
    _gas("CH3SH", "methanethiol", "74-93-1", 48.10746, names=("CH4S", "methyl mercaptan"), iec=(4.1, 21), nfpa=(3.9, 21.8), twa=(0.5, 1)),
    _gas("CH3NH2", "methylamine", "74-89-5", 31.0571, names=("CH5N",), iec=(4.2, 20.7), nfpa=(4.9, 20.7)),
    _gas("(CH3)2NH", "dimethylamine", "124-40-3", 45.08368, names=("C2H7N",), iec=(2.8, 14.4), nfpa=(2.8, 14.4), twa=(2, 3.8), stel=(6, 11)),
    _gas("H2O2", "hydrogen peroxide", "7722-84-1", 34.01468, twa=(1, 1.4), stel=(2, 2.8), burns=False),
    _gas("SF6", "sulphur hexafluoride", "2551-62-4", 146.055419, names=("sulfur hexafluoride", "F6S"), twa=(1000, 6070), stel=(1250, 7590), burns=False),
    _gas("LPG", "liquefied petroleum gas", "68476-85-7", None, twa=(1000, 1750), stel=(1250, 2180), burns=True),
    _gas("R134a", "1,1,1,2-tetrafluoroethane", "811-97-2", 102.030893, names=("C2H2F4", "HFC-134a"), twa=(1000, 4240), burns=False),
    _gas("R22", "chlorodifluoromethane", "75-45-6", 86.468446, names=("CHClF2", "HCFC-22"), twa=(1000, 3590), burns=False),
    _gas("R32", "difluoromethane", "75-10-5", 52.023386, names=("CH2F2", "HFC-32"), burns=True),
    _gas("R125", "pentafluoroethane", "354-33-6", 120.021356, names=("C2HF5", "HFC-125"), burns=False),
    _gas("R143a", "1,1,1-trifluoroethane", "420-46-2", 84.04043, names=("C2H3F3", "HFC-143a"), iec=(6.8, 17.6)),
    _gas("R1234yf", "2,3,3,3-tetrafluoropropene", "754-12-1", 114.041593, names=("HFO-1234yf",), burns=True),
    _gas("R1234ze", "trans-1,3,3,3-tetrafluoropropene", "29118-24-9", 114.041593, names=("HFO-1234ze",), burns=True),
)
# fmt: on
