"""Design rules that need to know the gas: directions for oxygen, published limits, units."""

import math
from typing import Final

from gaswitness_sitefile.channel import AlarmLevel, Channel, Direction, Unit
from gaswitness_sitefile.gases import ExposureLimit, find_gas, is_oxygen
from gaswitness_sitefile.rules.rule import PRACTICE, Findings, Kind, Rule
from gaswitness_sitefile.site import Site

HIGHEST_LEL_ALARM: Final = 60.0
_WHOLE: Final = {Unit.LEL: 100.0, Unit.VOL: 100.0, Unit.PPM: 1e6, Unit.PPB: 1e9}


def _wrong_way(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        if not (is_oxygen(channel.gas) and channel.unit is Unit.VOL):
            continue
        clean = channel.clean_reading
        for name, level in channel.levels.items():
            rising = level.direction is Direction.RISING
            if level.setpoint < clean if rising else level.setpoint > clean:
                kind = "depletion" if rising else "enrichment"
                what = (
                    f"{channel.tag}.{name}: oxygen {kind} at {level.setpoint:g} %vol (air has "
                    f"{clean:g}) is to be {'falling' if rising else 'rising'}, found "
                    f"{level.direction}"
                )
                yield ("channels", index, "levels", name), what


def _beyond_exposure_limit(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        gas = find_gas(channel.gas)
        if gas is None:
            continue
        twa, stel = gas.exposure_over(480), gas.exposure_over(15)
        for name, limit in (("A1", twa or stel), ("A2", stel)):
            level = channel.levels.get(name)
            if level is None or limit is None or level.direction is Direction.FALLING:
                continue
            most = _in_unit(limit, channel.unit, burns=gas.burns is not False)
            if most is None or _averaged(channel, limit, most):
                continue
            if level.setpoint > most * (1 + 1e-9):
                yield (
                    ("channels", index, "levels", name, "setpoint"),
                    _words(channel, name, level, limit, most),
                )


def _averaged(channel: Channel, limit: ExposureLimit, most: float) -> bool:
    """Whether an alarm of the channel's own stands at the limit or below, for the average."""
    own = channel.exposure.limits if channel.exposure is not None else {}
    return own.get("TWA" if limit.over_min == 480 else "STEL", math.inf) <= most * (1 + 1e-9)


def _in_unit(limit: ExposureLimit, unit: Unit, *, burns: bool) -> float | None:
    """The limit in the channel's unit; None where the channel watches for fire, not for health."""
    if unit is Unit.MG_M3:
        return limit.mg_m3
    if unit is Unit.VOL:
        return None if burns else limit.ppm / 1e4
    return {Unit.PPM: limit.ppm, Unit.PPB: limit.ppm * 1e3}.get(unit)


def _words(
    channel: Channel, name: str, level: AlarmLevel, limit: ExposureLimit, most: float
) -> str:
    return (
        f"{channel.tag}.{name}: {level.setpoint:g} {channel.unit} {channel.gas} is beyond the "
        f"{limit.name} of {most:g} {channel.unit} ({limit.source})"
    )


def _high_lel(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        for name, level in channel.levels.items():
            if channel.unit is Unit.LEL and level.setpoint > HIGHEST_LEL_ALARM:
                what = (
                    f"{channel.tag}.{name}: {level.setpoint:g} %LEL is above {HIGHEST_LEL_ALARM:g}"
                )
                yield ("channels", index, "levels", name, "setpoint"), what


def _odd_unit(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        gas = find_gas(channel.gas)
        loc = ("channels", index, "unit")
        if channel.unit is Unit.LEL and gas is not None and gas.burns is False:
            yield loc, f"{channel.tag}: {gas.name} does not burn, so it has no %LEL"
        whole = _WHOLE.get(channel.unit)
        if whole is not None and channel.range[1] > whole:
            what = (
                f"{channel.tag}: the range ends at {channel.range[1]:g} {channel.unit}, but "
                f"{'the scale ends' if channel.unit is Unit.LEL else 'there is no more than'} "
                f"{'at ' if channel.unit is Unit.LEL else ''}{whole:g}"
            )
            yield ("channels", index, "range"), what


def _unknown_gas(site: Site) -> Findings:
    for index, channel in enumerate(site.channels):
        if find_gas(channel.gas) is None:
            yield ("channels", index, "gas"), f"{channel.tag}: no data are known of {channel.gas!r}"


GAS_RULES: Final = (
    Rule(
        "GW301",
        _wrong_way,
        "too little oxygen alarms falling, too much alarms rising",
        "29 CFR 1910.146(b): hazardous below 19.5 % or above 23.5 % oxygen (through a secondary "
        "source)",
    ),
    Rule(
        "GW302",
        _beyond_exposure_limit,
        "people may be exposed beyond the limit without an alarm; the limits that bind are those "
        "of the place",
        "HSE EH40/2005, 4th edition 2020, Table 1",
    ),
    Rule(
        "GW303",
        _high_lel,
        "flammable alarms stand low enough to act before an explosive mixture is near",
        PRACTICE + " (IEC 60079-29-2 asks for alarms as low as practicable, from memory)",
    ),
    Rule("GW304", _odd_unit, "gas or unit is mistaken"),
    Rule(
        "GW305",
        _unknown_gas,
        "setpoints are not compared with published limits: look them up",
        PRACTICE,
        Kind.NOTE,
    ),
)
