"""What a discovery finds on the bus, and how it differs from the stored setup. Values only."""

from dataclasses import dataclass

from gaswitness_simulator.bus_wiring import Wiring


@dataclass(frozen=True, slots=True)
class Discovered:
    """Tags of the setup's devices: `missing`, of another type, and `strangers`: devices that answer
    at an address at which the setup has none. `found`: how many devices were understood."""

    missing: frozenset[str] = frozenset()
    wrong_type: frozenset[str] = frozenset()
    strangers: frozenset[str] = frozenset()
    found: int = 0

    @property
    def differences(self) -> int:
        """How many things are not as in the setup."""
        return len(self.missing) + len(self.wrong_type) + len(self.strangers)


def discover(wiring: Wiring, working: frozenset[str]) -> Discovered:
    """Ask every address. `working`: devices that have power and their voltage."""
    heard = wiring.heard(working)
    stored = {device.address for device in wiring.bus.devices}
    asked = {tag: wiring.address(tag) for tag in working} if wiring.terminated else {}
    elsewhere = {tag: address for tag, address in asked.items() if address not in stored}
    alone = [tag for tag, at in elsewhere.items() if list(elsewhere.values()).count(at) == 1]
    return Discovered(
        missing=frozenset(one.tag for one in wiring.bus.devices) - heard,
        wrong_type=heard & wiring.wrong,
        strangers=frozenset(alone),
        found=len(heard) + len(alone),
    )
