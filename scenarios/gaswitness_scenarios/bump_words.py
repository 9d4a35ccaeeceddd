"""What a person is told to do for a bump test with a cylinder, and what to beware of."""

from typing import Final

from gaswitness_scenarios.bump_record import BumpRecord
from gaswitness_scenarios.words import number
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.gases import find_gas, is_oxygen

_ALWAYS: Final = (
    "The cylinder is under pressure, and only people trained for its gas use it. Air the place, "
    "and tell those whom the alarm reaches."
)


def begin_words(
    record: BumpRecord, channel: Channel, where: str, gas: str, concentration: float
) -> str:
    """Fit the adapter, let the gas come, leave it on for so long."""
    tube = f"{number(record.tube_m)} m of {number(record.tube_mm)} mm tube"
    weak = record.share < 1.0
    short = f", of {number(record.needs_l_min)} l/min that the detector needs" if weak else ""
    return (
        f"Fit the adapter to {where}; open the regulator of the cylinder with "
        f"{number(concentration)} {channel.unit} {gas} at {number(record.flow_l_min)} l/min"
        f"{short}. Through {tube} the gas comes after {record.dead_s:.1f} s; leave it on for "
        f"{number(record.for_s)} s"
    )


def end_words(channel: Channel, where: str) -> str:
    """Take the adapter off."""
    air = f"the air of {channel.room}" if channel.room is not None else "clean air"
    return f"Close the regulator and take the adapter off {where}, back to {air}"


def caution(gas: str) -> str:
    """What to beware of with the gas, in one paragraph."""
    found = find_gas(gas)
    said = [_ALWAYS]
    if found is not None and found.exposure:
        said.append(f"{gas} is toxic: do not breathe it, and lead it away from people.")
    if found is not None and (found.flammable or found.burns):
        said.append(f"{gas} burns: no flame or spark near it.")
    if found is None or is_oxygen(gas) or not (found.exposure or found.flammable or found.burns):
        said.append("What flows out may take the place of the air that people breathe.")
    return " ".join(said)
