"""Gas data and conversions against published tables and a general chemical-data library."""

import csv
import warnings
from pathlib import Path

import pytest

from gaswitness_sitefile.gases import (
    EH40_2020,
    GASES,
    IEC_2010,
    NFPA_2008,
    eh40_rounded,
    find_gas,
    inert_to_reach_percent_vol,
    is_oxygen,
    lel_percent_from_vol,
    mg_m3_from_ppm,
    molar_volume_l_mol,
    oxygen_displaced_percent_vol,
    ppm_from_mg_m3,
    ppm_from_vol_percent,
    vol_percent_from_lel,
    vol_percent_from_ppm,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import chemicals

HERE = Path(__file__).parent


def published(name):
    with (HERE / "published" / name).open(encoding="utf-8", newline="") as file:
        lines = [line for line in file if not line.startswith("#")]
    return list(csv.DictReader(lines))


EH40_ROWS = published("eh40-2020-table-1.csv")
FLAMMABLE_ROWS = published("flammable-limits.csv")


def number(text):
    return float(text) if text else None


@pytest.mark.parametrize("row", EH40_ROWS, ids=lambda row: row["substance"])
def test_exposure_limits_are_those_printed(row):
    """Source: HSE EH40/2005, 4th edition 2020, Table 1 (ISBN 978 0 7176 6733 8)."""
    gas = find_gas(row["cas"])

    twa, stel = gas.exposure_over(480), gas.exposure_over(15)
    assert (twa and twa.ppm, twa and twa.mg_m3) == (number(row["twa_ppm"]), number(row["twa_mg"]))
    assert (stel and stel.ppm, stel and stel.mg_m3) == (
        number(row["stel_ppm"]),
        number(row["stel_mg"]),
    )
    assert all(limit.source == EH40_2020 for limit in gas.exposure)


AGREEING = [
    (row["cas"], number(row[f"{kind}_ppm"]), number(row[f"{kind}_mg"]))
    for row in EH40_ROWS
    for kind in ("twa", "stel")
    if row[f"{kind}_recalculates"] == "yes"
]


@pytest.mark.parametrize(("cas", "ppm", "mg_m3"), AGREEING)
def test_conversion_gives_the_printed_mg_m3(cas, ppm, mg_m3):
    """EH40 paragraphs 68 and 69: ppm x M / 24.05526, rounded. Rows that EH40 itself rounds
    otherwise (14 of them, marked "no" in the table) are left out."""
    assert eh40_rounded(mg_m3_from_ppm(ppm, find_gas(cas))) == mg_m3


def test_most_of_the_printed_pairs_take_part():
    assert len(AGREEING) >= 55


@pytest.mark.parametrize("row", FLAMMABLE_ROWS, ids=lambda row: row["gas"])
def test_flammable_limits_are_those_printed(row):
    """Source: IEC 60079-20-1:2010 and NFPA 497:2008, as tabled in `chemicals` 1.5.2."""
    gas = find_gas(row["cas"])

    iec, nfpa = gas.limits_by(IEC_2010), gas.limits_by(NFPA_2008)
    assert (iec.lfl_vol_percent, iec.ufl_vol_percent) == (
        float(row["lfl_iec"]),
        float(row["ufl_iec"]),
    )
    assert (nfpa and nfpa.lfl_vol_percent) == number(row["lfl_nfpa"])
    assert (nfpa and nfpa.ufl_vol_percent) == number(row["ufl_nfpa"])


@pytest.mark.parametrize("gas", [g for g in GASES if g.molar_mass_g_mol], ids=lambda g: g.formula)
def test_data_agree_with_the_library(gas):
    """Source: `chemicals` (PyPI), its own data tables, looked up by CAS number."""
    assert gas.molar_mass_g_mol == pytest.approx(chemicals.MW(gas.cas), rel=1e-9)
    for source, method in ((IEC_2010, "IEC 60079-20-1 (2010)"), (NFPA_2008, "NFPA 497 (2008)")):
        limits = gas.limits_by(source)
        theirs = chemicals.LFL(CASRN=gas.cas, method=method) if limits else None
        if limits and theirs is not None:
            assert limits.lfl_vol_percent == pytest.approx(100 * theirs, rel=1e-9)


@pytest.mark.parametrize("gas", [g for g in GASES if g.molar_mass_g_mol], ids=lambda g: g.formula)
def test_conversion_agrees_with_the_library(gas):
    """Source: `chemicals.ppmv_to_mgm3`, an independent code, at 20 and 25 degrees C."""
    for temperature_c in (20.0, 25.0):
        volume = molar_volume_l_mol(temperature_c=temperature_c)
        theirs = chemicals.safety.ppmv_to_mgm3(
            20.0, gas.molar_mass_g_mol, T=temperature_c + 273.15, P=101325.0
        )
        ours = mg_m3_from_ppm(20.0, gas, molar_volume_l_mol=volume)
        assert ours == pytest.approx(theirs, rel=1e-9)
        assert ppm_from_mg_m3(ours, gas, molar_volume_l_mol=volume) == pytest.approx(20.0)


def test_carbon_monoxide_at_two_temperatures():
    """20 ppm: 23.288 mg/m3 at 20 degrees C, 22.898 at 25 (worked with `chemicals`)."""
    gas = find_gas("CO")

    at_25 = molar_volume_l_mol(temperature_c=25.0)
    assert mg_m3_from_ppm(20, gas) == pytest.approx(23.288, abs=5e-4)
    assert mg_m3_from_ppm(20, gas, molar_volume_l_mol=at_25) == pytest.approx(22.898, abs=5e-4)


def test_molar_volumes_are_those_of_the_gas_constant():
    """CODATA 2018: 8.314462618 J/(mol K). EH40 prints 24.05526, 6 ppm higher."""
    assert molar_volume_l_mol(temperature_c=20.0) == pytest.approx(24.055117, abs=1e-6)
    assert molar_volume_l_mol(temperature_c=25.0) == pytest.approx(24.465404, abs=1e-6)


@pytest.mark.parametrize(
    ("exact", "printed"),
    [(0.0775, 0.08), (0.0981, 0.1), (0.18625, 0.19), (1.249, 1.2), (99.4, 99), (116.44, 116),
     (9147.8, 9150), (0.1, 0.1), (100.4, 100), (0.0, 0.0)],
)  # fmt: skip
def test_rounding_as_the_guidance_says(exact, printed):
    """EH40 paragraph 69: one figure below 0.1, two below 100, three from there."""
    assert eh40_rounded(exact) == printed


@pytest.mark.parametrize(
    ("source", "vol_percent", "ppm"), [(IEC_2010, 0.88, 8800.0), (NFPA_2008, 1.0, 10000.0)]
)
def test_twenty_percent_lel_of_methane(source, vol_percent, ppm):
    """By definition: 20 % of 4.4 %vol (IEC 60079-20-1:2010), of 5.0 %vol (NFPA 497:2008)."""
    limits = find_gas("methane").limits_by(source)

    found = vol_percent_from_lel(20.0, limits)
    assert found == pytest.approx(vol_percent)
    assert ppm_from_vol_percent(found) == pytest.approx(ppm)
    assert lel_percent_from_vol(vol_percent_from_ppm(ppm), limits) == pytest.approx(20.0)


@pytest.mark.parametrize("row", FLAMMABLE_ROWS, ids=lambda row: row["gas"])
def test_one_scale_read_on_the_other(row):
    """100 %LEL by IEC on a scale by NFPA, as worked out beside the table."""
    if not row["iec_on_nfpa"]:
        assert find_gas(row["cas"]).limits_by(NFPA_2008) is None
        return
    gas = find_gas(row["cas"])
    full = vol_percent_from_lel(100.0, gas.limits_by(IEC_2010))

    found = lel_percent_from_vol(full, gas.limits_by(NFPA_2008))
    assert found == pytest.approx(float(row["iec_on_nfpa"]), abs=0.05 + 1e-9)


@pytest.mark.parametrize(
    ("inert", "oxygen"), [(1, 20.73654), (5, 19.8987), (10, 18.8514), (50, 10.4730)]
)
def test_inert_gas_displaces_oxygen(inert, oxygen):
    """Dilution, 20.946 x (1 - x/100), worked by hand."""
    assert oxygen_displaced_percent_vol(inert) == pytest.approx(oxygen)


@pytest.mark.parametrize(
    ("left", "air", "inert"),
    [(19.5, 20.946, 6.9035), (19.5, 20.9, 6.6986), (18, 20.9, 13.876), (17, 20.9, 18.660)],
)
def test_inert_gas_needed_for_an_oxygen_alarm(left, air, inert):
    """The same formula, turned round, worked by hand."""
    found = inert_to_reach_percent_vol(left, oxygen_vol_percent=air)
    assert found == pytest.approx(inert, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "formula"),
    [("NH3", "NH3"), ("ammonia", "NH3"), ("Ammonia", "NH3"), ("7664-41-7", "NH3"),
     ("R717", "NH3"), ("r-134a", "R134a"), ("R 134A", "R134a"), ("carbon  monoxide", "CO"),
     ("NO", "NO"), ("nitric oxide", "NO"), ("butane", "C4H10"), ("isobutane", "i-C4H10"),
     ("C4H10", "C4H10"), ("hydrogen sulfide", "H2S"), ("O2", "O2"), ("LPG", "LPG")],
)  # fmt: skip
def test_a_gas_is_found_by_any_of_its_names(text, formula):
    assert find_gas(text).formula == formula


@pytest.mark.parametrize("text", ["", "phlogiston", "C99", "7664-41-8"])
def test_an_unknown_gas_is_none(text):
    assert find_gas(text) is None


def test_names_lead_to_one_gas_each():
    keys = [
        key.casefold()
        for gas in GASES
        for key in {gas.formula.casefold(), gas.name, gas.cas, *gas.names}
    ]

    assert sorted(set(keys)) == sorted(keys)


def test_oxygen_by_any_name_is_oxygen():
    assert is_oxygen("oxygen")
    assert is_oxygen("O2")
    assert not is_oxygen("O3")


@pytest.mark.parametrize("cas", [gas.cas for gas in GASES])
def test_cas_numbers_check(cas):
    """The last digit of a CAS number is a check digit (CAS Registry rule)."""
    digits = cas.replace("-", "")
    total = sum(at * int(digit) for at, digit in enumerate(reversed(digits)) if at)

    assert total % 10 == int(digits[-1])


def test_a_mixture_has_no_molar_mass_to_convert_with():
    with pytest.raises(ValueError, match="mixture"):
        mg_m3_from_ppm(1000, find_gas("LPG"))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: molar_volume_l_mol(temperature_c=-273.15),
        lambda: molar_volume_l_mol(temperature_c=20, pressure_pa=0),
        lambda: oxygen_displaced_percent_vol(101),
        lambda: inert_to_reach_percent_vol(22),
    ],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match=r"above absolute zero|between"):
        wrong()
