"""What the panel's own bus can feed: a test that draws more than that would see a good panel's
detectors drop out for want of voltage, and blame them.
"""

from collections.abc import Callable, Collection, Mapping, Sequence

from gaswitness_simulator.bus_supply import BusSupply
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.site import Site

Counts = Callable[[Cell], bool]
"""Whether a cell's cause stands."""


class PlanSupply:
    """The bus at its mains voltage, with what is on. Without a bus nothing is ever short."""

    def __init__(self, site: Site) -> None:
        self.site = site
        bus = site.bus
        self._supply = None if bus is None else BusSupply(site, bus)
        self._devices = frozenset(() if bus is None else (one.tag for one in bus.devices))
        if self._supply is not None:
            everything = frozenset(self._supply.carried)
            if not self._starved(self._devices, everything):
                self._supply = None

    @property
    def ample(self) -> bool:
        """Whether everything may be on at once."""
        return self._supply is None

    def short(self, acting: Collection[str], alarmed: Collection[str]) -> frozenset[str]:
        """Devices and outputs that have too little voltage while these outputs act and these
        channels have a level on."""
        bus = self.site.bus
        if self._supply is None or bus is None:
            return frozenset()
        devices = frozenset(
            one.tag for one in bus.devices if any(tag in alarmed for tag in one.carries)
        )
        energised = frozenset(
            one.tag
            for one in self.site.outputs
            if (one.tag in acting) is not one.normally_energised
        )
        return self._starved(devices, energised)

    def _starved(self, alarmed: frozenset[str], energised: frozenset[str]) -> frozenset[str]:
        bus = self.site.bus
        if self._supply is None or bus is None:
            return frozenset()
        return self._supply.fed(self._devices, alarmed, energised, bus.supply_v).starved

    def groups(
        self, tags: Sequence[str], effects_of: Mapping[str, Collection[str]]
    ) -> list[list[str]]:
        """The tags in as few groups as come of it, none of which draws too much. `effects_of`: the
        outputs that each moves."""
        if self.ample:
            return [list(tags)] if tags else []
        found: list[list[str]] = []
        for tag in tags:
            for group in found:
                whole = [*group, tag]
                acting = {effect for one in whole for effect in effects_of.get(one, ())}
                if not self.short(acting, whole):
                    group.append(tag)
                    break
            else:
                found.append([tag])
        return found


def short_words(short: Collection[str], acting: Collection[str]) -> str:
    """Why something is not planned, in words."""
    names = ", ".join(sorted(short))
    acts = ", ".join(sorted(acting)) or "nothing"
    return (
        f"while {acts} acts, the bus leaves {names} too little voltage: see gaswitness power, and "
        "mend the supply first"
    )
