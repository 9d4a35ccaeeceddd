"""From a site file to its bus as a tree, and to who draws what at rest and in full alarm."""

from typing import Final

from gaswitness_simulator.bus_power import PANEL_NODE, Consumer, Load, Node
from gaswitness_simulator.cable import loop_ohm
from gaswitness_simulator.cause import Reader, reader_of
from gaswitness_sitefile.bus import PANEL, Bus, BusDevice, Draw, OutputSupply
from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.matrix import Fact
from gaswitness_sitefile.site import Site

FREE: Final = Draw(current_a=0.0)


def bus_tree(bus: Bus) -> tuple[Node, ...]:
    """Devices and junctions, each after its feeder, line after line from the panel out.

    Raises ValueError where segments do not all lead from the panel; loading refuses such.
    """
    nodes: list[Node] = []
    index_of = {PANEL: PANEL_NODE}
    waiting = [one for one in reversed(bus.segments) if one.start == PANEL]
    while waiting:
        segment = waiting.pop()
        if segment.to in index_of:
            raise ValueError(f"two segments lead to {segment.to}")
        index_of[segment.to] = len(nodes)
        nodes.append(Node(segment.to, index_of[segment.start], loop_ohm(bus, segment)))
        waiting += [one for one in reversed(bus.segments) if one.start == segment.to]
    if len(nodes) < len(bus.segments):
        names = ", ".join(one.to for one in bus.segments if one.to not in index_of)
        raise ValueError(f"no cable leads to {names}")
    return tuple(nodes)


def energised_outputs(site: Site, *, full_alarm: bool) -> frozenset[str]:
    """Tags of the outputs whose coil is energised, as far as the matrix alone can tell.

    At rest nothing is on: no level, input or fault. In full alarm every channel has its first level
    on, then its second too, then all, each with no fault and contact and with all of them; what is
    energised in any of these counts, and so does every output that no cell drives. So a fail-safe
    output that drops at the second level is still held when the first one sounds. That is too much
    rather than too little, though a cause with NOT, or some channels in alarm and others not, may
    have a worse moment than these.
    """
    if not full_alarm:
        return _energised(site, (), others=False)
    undriven = frozenset(one.tag for one in site.outputs if not site.cells_of[one.tag])
    moments = [
        _energised(site, LEVEL_NAMES[:count], others=on)
        for count in range(1, len(LEVEL_NAMES) + 1)
        for on in (False, True)
    ]
    return undriven.union(*moments)


def _energised(site: Site, levels: tuple[str, ...], *, others: bool) -> frozenset[str]:
    def counted(fact: Fact) -> Reader:
        if fact.what in LEVEL_NAMES:
            on = fact.what in levels
            return lambda: on
        return lambda: others and fact.what not in ("inhibit", "warm_up")

    def acts(output: Output) -> bool:
        return any(reader_of(cell.cause_tree, counted)() for cell in site.cells_of[output.tag])

    return frozenset(one.tag for one in site.outputs if acts(one) is not one.normally_energised)


def carrier_of(bus: Bus, output: Output) -> BusDevice | None:
    """The device on the bus that carries the output; None where it sits at the panel."""
    return None if output.at is None else bus.device_of.get(output.at)


def consumers(
    site: Site, bus: Bus, tree: tuple[Node, ...], *, full_alarm: bool
) -> tuple[Consumer, ...]:
    """Every device on the bus, and every energised output that one of them carries."""
    node_of = {node.name: index for index, node in enumerate(tree)}
    supplies = {entry.output: entry for entry in bus.outputs}
    energised = energised_outputs(site, full_alarm=full_alarm)
    found: list[Consumer] = []
    for device in bus.devices:
        carried = [
            output
            for output in site.outputs
            if output.tag in energised and carrier_of(bus, output) is device
        ]
        own = (device.draws_in_alarm if full_alarm else None) or device.draws
        names = tuple(output.tag for output in carried)
        node = node_of[device.tag]
        found.append(Consumer(device.tag, node, _load(own), device.least_v, names))
        for output in carried:
            draws, least_v = _supply(supplies.get(output.tag), device)
            found.append(Consumer(output.tag, node, _load(draws), least_v))
    return tuple(found)


def _supply(entry: OutputSupply | None, device: BusDevice) -> tuple[Draw, float]:
    if entry is None:
        return FREE, device.least_v
    return entry.draws, device.least_v if entry.least_v is None else entry.least_v


def panel_side(site: Site, bus: Bus, *, full_alarm: bool) -> Load:
    """What the panel and its own energised outputs take from the supply, beside the bus."""
    energised = energised_outputs(site, full_alarm=full_alarm)
    current_a, power_w = bus.panel.most_a if full_alarm else bus.panel.rest_a, 0.0
    for entry in bus.outputs:
        output = site.output_of[entry.output]
        if output.tag in energised and carrier_of(bus, output) is None:
            current_a += entry.draws.current_a
            power_w += entry.draws.power_w
    return Load(current_a, power_w)


def unstated_outputs(site: Site, bus: Bus) -> tuple[str, ...]:
    """Outputs that a device on the bus carries, and of which nobody says what they draw."""
    stated = {entry.output for entry in bus.outputs}
    return tuple(
        output.tag
        for output in site.outputs
        if carrier_of(bus, output) is not None and output.tag not in stated
    )


def _load(draw: Draw) -> Load:
    return Load(draw.current_a, draw.power_w)
