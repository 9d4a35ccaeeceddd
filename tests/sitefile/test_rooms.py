"""Rooms in the site file: one good site, broken in one place at a time."""

# ruff: noqa: E501  # a table reads best with one case a row

import jsonschema
import pytest

from gaswitness_sitefile.channel import Unit
from gaswitness_sitefile.gas_amounts import fraction_per_unit
from gaswitness_sitefile.rooms import Room
from gaswitness_sitefile.schema import site_schema
from gaswitness_sitefile.yaml_text import parse_yaml

SITE = """gaswitness_site: 1
panel: {tag: GDP-1}
rooms:
  - {tag: R-1, volume_m3: 80, fans: {F1: 6}, background_ppm: {CO2: 420}}
  - {tag: R-2, volume_m3: 30, air_changes_per_h: 2}
exchanges:
  - {between: [R-1, R-2], flow_m3_h: 15}
channels:
  - {tag: AT-1, gas: CO2, unit: ppm, range: [0, 20000], clean: 420, room: R-1, exposure: {twa: 5000, stel: 15000}}
  - {tag: AT-2, gas: CO, unit: ppm, range: [0, 300], room: R-2, signal: 4-20 mA, t50_s: 12, cross_sensitivity: {H2: 0.2}}
  - {tag: AT-3, gas: CH4, unit: "%LEL", range: [0, 100], room: R-2, over_range_latches: true}
outputs:
  - {tag: F1, kind: fan}
matrix:
  - {cause: AT-1.TWA OR AT-1.STEL, effect: F1, response_s: 3}
points:
  - {name: a, table: input register, address: 0, type: float32, shows: AT-1.TWA.average, unit: ppm}
  - {name: b, table: input register, address: 2, type: uint16, shows: AT-2.current, unit: mA, scale: 0.001}
  - {name: c, table: discrete input, address: 0, type: bit, shows: AT-1.STEL}
"""

# what is broken: (text in the good site, what stands there instead, line, words)
BROKEN = {
    "a room without air": ("volume_m3: 80", "volume_m3: 0", 4, "volume_m3 must be above 0"),
    "a room twice": ("tag: R-2,", "tag: R-1,", 5, "the room R-1 stands twice"),
    "a fan that is none": ("fans: {F1: 6}", "fans: {F2: 6}", 4, "fans names no output, found 'F2'"),
    "an exchange to nowhere": ("[R-1, R-2]", "[R-1, R-3]", 7, "between names no room, found 'R-3'"),
    "an exchange with itself": ("[R-1, R-2]", "[R-1, R-1]", 7, "between names R-1 twice"),
    "a channel in no room": ("room: R-2, over", "room: R-4, over", 11, "room names no room, found 'R-4'"),
    "air that is not clean": ("clean: 420, ", "", 9, "the fresh air of R-1 holds 420 ppm, but the channel's clean reading is 0"),
    "no limit for %LEL": ("gas: CH4", "gas: R32", 11, "no figure turns %LEL of R32 into a share"),
    "no molar mass": ("gas: CO, unit: ppm", "gas: LPG, unit: mg/m3", 10, "no figure turns mg/m3 of LPG"),
    "exposure to nothing": ("{twa: 5000, stel: 15000}", "{}", 9, "exposure has neither limit"),
    "an average without limit": ("{twa: 5000, stel: 15000}", "{twa: 5000}", 19, "AT-1 has no STEL"),
    "a current of the bus": ("signal: 4-20 mA, ", "", 18, "AT-2 has no loop current"),
    "a current in ppm": ("unit: mA", "unit: ppm", 18, "unit 'ppm' is not that of AT-2, mA"),
    "a failure that is none": ("signal: 4-20 mA", "signal: 4-20 mA, fail_ma: 4", 10, "fail_ma 4 is no failure by NAMUR NE 43"),
    "more air than there is room for": ("{CO2: 420}", "{CO2: 900000}", 4, "background_ppm comes to 1109000 ppm"),
    "a gas of the air twice": ("{CO2: 420}", "{CO2: 420, carbon dioxide: 500}", 4, "names one gas twice, CO2 and carbon dioxide"),
    "cross-sensitivity to itself": ("{H2: 0.2}", "{carbon monoxide: 0.2}", 10, "cross_sensitivity to carbon monoxide is to the channel's own gas"),
    "cross-sensitivity twice": ("{H2: 0.2}", "{H2: 0.2, hydrogen: 0.1}", 10, "cross_sensitivity to hydrogen is to H2"),
    "t50 after t90": ("t50_s: 12", "t50_s: 31", 10, "t50_s 31 does not fit t90_s 30"),
    "t50 too soon": ("t50_s: 12", "t50_s: 3", 10, "t50_s 3 does not fit t90_s 30"),
    "an average as a bit": ("type: float32", "type: string, length: 2", 17, "a TWA.average is a number"),
}  # fmt: skip


def test_the_good_site_loads_and_fits_the_schema(loaded):
    site = loaded(SITE).site
    assert [room.tag for room in site.rooms] == ["R-1", "R-2"]
    assert site.channel_of["AT-1"].exposure.limits == {"STEL": 15000.0, "TWA": 5000.0}
    jsonschema.validate(parse_yaml(SITE, "s").data, site_schema())


@pytest.mark.parametrize("case", BROKEN)
def test_what_is_wrong_is_named_with_its_line(broken, case):
    old, new, line, words = BROKEN[case]
    assert SITE.count(old) == 1
    problems = broken(SITE.replace(old, new))
    said = [(one.place.line, one.what) for one in problems]
    assert any(at == line and words in what for at, what in said), said
    assert all(one.remedy for one in problems)


def test_fresh_air_has_its_oxygen_whatever_it_is_called():
    room = Room(tag="R-1", volume_m3=1, background_ppm={"carbon dioxide": 420})
    assert [room.background_of(gas) for gas in ("O2", "oxygen", "CO2", "N2")] == [
        209_000, 209_000, 420, 0,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("gas", "unit", "amount", "share"),
    [
        # IEC 60079-20-1:2010: methane's lower limit is 4.4 %vol; 20 %LEL are 0.88 %vol.
        ("CH4", Unit.LEL, 20.0, 0.0088),
        ("CO", Unit.PPM, 30.0, 30e-6),
        ("O2", Unit.VOL, 20.9, 0.209),
        ("PH3", Unit.PPB, 300.0, 3e-7),
        # 23.288 mg/m3 of CO are 20 ppm at 20 degrees C (EH40 paragraph 68).
        ("CO", Unit.MG_M3, 23.288, 20e-6),
    ],
)
def test_an_amount_is_that_share_of_the_air(gas, unit, amount, share):
    assert amount * fraction_per_unit(gas, unit) == pytest.approx(share, rel=1e-4)


def test_a_limit_of_ones_own_stands_in_for_the_tables():
    assert fraction_per_unit("R32", Unit.LEL) is None
    assert fraction_per_unit("R32", Unit.LEL, 14.4) == pytest.approx(1.44e-3)


def test_a_table_of_channels_has_columns_for_exposure_and_cross_sensitivity(tmp_path, loaded):
    (tmp_path / "channels.csv").write_text(
        "tag,gas,unit,range_low,range_high,exposure.twa,cross_sensitivity\n"
        "AT-1,CO,ppm,0,300,20,H2=0.2; NO=0.01\n",
        encoding="utf-8",
    )
    site = loaded(
        "gaswitness_site: 1\npanel: {tag: P}\nchannels: {file: channels.csv}\n"
        "points:\n  - {name: a, table: discrete input, address: 0, type: bit, shows: AT-1.TWA}\n"
    ).site
    channel = site.channel_of["AT-1"]
    assert channel.cross_sensitivity == {"H2": 0.2, "NO": 0.01}
    assert channel.exposure.limits == {"TWA": 20.0}
