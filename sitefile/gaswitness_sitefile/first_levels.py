"""Alarm levels that a panel gives a detector it has just found, by sensor type and exposure limit.

A beginning, not a design: real levels come from the risk assessment of the real place.
"""

from typing import Any, Final

from gaswitness_sitefile.bus import Sensor
from gaswitness_sitefile.channel import Unit
from gaswitness_sitefile.gases import EH40_2020, ExposureLimit, find_gas, is_oxygen

PRACTICE: Final = "common practice, no source"

Levels = dict[str, dict[str, Any]]

FLAMMABLE: Final[Levels] = {
    "A1": {"setpoint": 10.0, "hysteresis": 1.0},
    "A2": {"setpoint": 20.0, "hysteresis": 1.0},
}
"""In %LEL; common practice, no source."""

OXYGEN: Final[Levels] = {
    "A1": {"setpoint": 19.5, "direction": "falling", "hysteresis": 0.2},
    "A2": {"setpoint": 18.0, "direction": "falling", "hysteresis": 0.2},
    "A3": {"setpoint": 23.5, "direction": "rising", "hysteresis": 0.2},
}
"""In %vol: two for too little, one for too much; common practice, no source."""

TWA_MIN, STEL_MIN = 480, 15


def first_levels(sensor: Sensor) -> tuple[Levels, str]:
    """The levels, and where they come from; no levels, and why, where nothing is known.

    Toxic gas: A1 at the 8 h limit, A2 at the 15 min limit, one alone where there is but one.
    """
    low, high = sensor.range
    found, source = _levels(sensor)
    within = {name: one for name, one in found.items() if low < one["setpoint"] < high}
    if found and len(within) < len(found):
        lost = ", ".join(name for name in found if name not in within)
        return within, f"{source}; {lost} lies outside the range and is left out"
    return within, source


def _levels(sensor: Sensor) -> tuple[Levels, str]:
    if sensor.unit is Unit.LEL:
        return FLAMMABLE, PRACTICE
    if sensor.unit is Unit.VOL and is_oxygen(sensor.gas):
        return OXYGEN, PRACTICE
    gas = find_gas(sensor.gas)
    limits = [] if gas is None else [gas.exposure_over(TWA_MIN), gas.exposure_over(STEL_MIN)]
    setpoints = sorted({_in_unit(one, sensor.unit) for one in limits if one is not None})
    if not setpoints:
        return {}, "no exposure limit is tabled for it: state its levels"
    levels: Levels = {
        f"A{number}": {"setpoint": float(setpoint), "hysteresis": round(0.05 * setpoint, 9)}
        for number, setpoint in enumerate(setpoints, 1)
    }
    return levels, EH40_2020


def _in_unit(limit: ExposureLimit, unit: Unit) -> float:
    values = {
        Unit.PPM: limit.ppm,
        Unit.PPB: limit.ppm * 1000.0,
        Unit.MG_M3: limit.mg_m3,
        Unit.VOL: limit.ppm / 10_000.0,
    }
    return values[unit]
