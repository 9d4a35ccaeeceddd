"""What a person is told of a change to the detector bus, the mains or the panel's program."""

from typing import Final

from gaswitness_scenarios.words import called, number
from gaswitness_simulator.stimulus_bus import (
    BusBreak,
    BusMend,
    BusNoise,
    BusShort,
    BusStimulus,
    DeviceAddress,
    DeviceOff,
    DeviceType,
    TerminatorOff,
    WiresSwapped,
)
from gaswitness_sitefile.site import Site

WATCHDOG: Final = "The panel's program hangs, and its watchdog restarts it"


DISCOVERY: Final = "Ask the panel for a discovery while it offers one"


def change_words(site: Site, change: BusStimulus) -> str:
    """Change the bus."""
    match change:
        case BusBreak(to, _):
            return f"Open one wire of the bus cable to {called(site, to)}"
        case BusMend(to):
            return f"Mend the bus cable to {called(site, to)}"
        case BusShort(to, _):
            return f"Short the two wires of the bus cable to {called(site, to)}"
        case DeviceOff(tag, on):
            where = called(site, tag)
            return f"Take {where} off its base" if on else f"Put {where} back on its base"
        case DeviceType(tag, wrong):
            which = "a detector of another type" if wrong else "the right detector"
            return f"Fit {which} in the place of {called(site, tag)}"
        case DeviceAddress(tag, address):
            to = "its own address" if address is None else f"address {address}"
            return f"Set {called(site, tag)} to {to}"
        case WiresSwapped(tag):
            return f"Swap the two wires of the bus at {called(site, tag)}"
        case TerminatorOff(on):
            return "Take the line terminator away" if on else "Fit the line terminator"
        case BusNoise(percent):
            if percent == 0:
                return "End the noise on the bus"
            return f"Noise spoils {number(percent)} % of the answers on the bus"


def mains_words(*, on: bool, battery: bool) -> str:
    """Switch the mains."""
    stays = ", the battery stays connected" if battery and not on else ""
    return f"Switch the panel's mains {'on' if on else 'off'}{stays}"
