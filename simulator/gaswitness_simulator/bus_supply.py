"""Which devices and outputs of a bus have too little voltage, with what is really on just now."""

from collections.abc import Mapping
from dataclasses import dataclass

from gaswitness_simulator.bus_loads import bus_tree, carrier_of
from gaswitness_simulator.bus_power import Consumer, Load, settle
from gaswitness_sitefile.bus import Bus, Draw
from gaswitness_sitefile.site import Site


@dataclass(frozen=True, slots=True)
class Fed:
    """`starved`: tags of devices and outputs that fall out. `feed_a`: what the bus then takes.
    `wired_v`: the voltage that each device would have with all of them on; empty where none of
    them would have any."""

    starved: frozenset[str]
    feed_a: float
    wired_v: Mapping[str, float]


class BusSupply:
    """The bus's consumers, by what draws them in. Settles anew from everything on each time."""

    def __init__(self, site: Site, bus: Bus) -> None:
        self._bus = bus
        self._tree = bus_tree(bus)
        nodes = {node.name: index for index, node in enumerate(self._tree)}
        supplies = {entry.output: entry for entry in bus.outputs}
        self._at = {one.tag: nodes[one.tag] for one in bus.devices}
        self._outputs: dict[str, tuple[str, Load, float]] = {}
        for output in site.outputs:
            carrier, entry = carrier_of(bus, output), supplies.get(output.tag)
            if carrier is not None:
                own = None if entry is None else entry.least_v
                draws = Draw(current_a=0.0) if entry is None else entry.draws
                least_v = carrier.least_v if own is None else own
                self._outputs[output.tag] = (carrier.tag, _load(draws), least_v)
        self._known: dict[tuple[object, ...], Fed] = {}

    @property
    def carried(self) -> tuple[str, ...]:
        """Tags of the outputs that devices on the bus carry."""
        return tuple(self._outputs)

    def fed(
        self,
        present: frozenset[str],
        alarmed: frozenset[str],
        energised: frozenset[str],
        supply_v: float,
    ) -> Fed:
        """Who falls out, and what the bus then takes.

        `present`: devices connected; `alarmed`: those in alarm; `energised`: outputs that are on.
        """
        on = frozenset(energised & self._outputs.keys())
        key = (present, alarmed & present, on, supply_v)
        if key not in self._known:
            if len(self._known) > 256:
                self._known.clear()
            self._known[key] = self._settled(present, alarmed, on, supply_v)
        return self._known[key]

    def dark(self, present: frozenset[str], starved: frozenset[str]) -> frozenset[str]:
        """Outputs that get nothing: starved themselves, or their device is, or it has left."""
        fed = present - starved
        return frozenset(
            tag
            for tag, (carrier, _, _) in self._outputs.items()
            if tag in starved or carrier not in fed
        )

    def _settled(
        self, present: frozenset[str], alarmed: frozenset[str], on: frozenset[str], supply_v: float
    ) -> Fed:
        found: list[Consumer] = []
        for device in self._bus.devices:
            if device.tag not in present:
                continue
            carried = [tag for tag in sorted(on) if self._outputs[tag][0] == device.tag]
            draws = (device.draws_in_alarm if device.tag in alarmed else None) or device.draws
            node = self._at[device.tag]
            found.append(Consumer(device.tag, node, _load(draws), device.least_v, tuple(carried)))
            for tag in carried:
                _, load, least_v = self._outputs[tag]
                found.append(Consumer(tag, node, load, least_v))
        settled = settle(self._tree, found, supply_v)
        left = {one.name for one in settled.on}
        starved = frozenset(one.name for one in found if one.name not in left)
        wired = settled.as_wired
        volts = {} if wired is None else {tag: wired[node] for tag, node in self._at.items()}
        return Fed(starved, settled.feed_a, volts)


def _load(draw: Draw) -> Load:
    return Load(draw.current_a, draw.power_w)
