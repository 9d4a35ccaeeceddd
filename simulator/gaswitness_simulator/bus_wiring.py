"""What of a two-wire bus is connected: breaks, shorts and isolators, terminator, devices taken off.

Pure: which devices have power, and which can be heard. Voltages and scans are elsewhere.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from gaswitness_sitefile.bus import PANEL, Bus, Segment


@dataclass(slots=True)
class Wiring:
    """Segments are named by the node that they lead to.

    `moved`: devices set to another address than they should have. `wrong`: places where a device of
    another type sits.
    """

    bus: Bus
    broken: set[str] = field(default_factory=set)
    shorted: set[str] = field(default_factory=set)
    removed: set[str] = field(default_factory=set)
    wrong: set[str] = field(default_factory=set)
    moved: dict[str, int] = field(default_factory=dict)
    terminator_off: bool = False
    _from: dict[str, list[str]] = field(init=False)
    _into: dict[str, Segment] = field(init=False)
    _ended: tuple[tuple[object, ...], bool] | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self._from = defaultdict(list)
        for segment in self.bus.segments:
            self._from[segment.start].append(segment.to)
        self._into = {segment.to: segment for segment in self.bus.segments}

    @property
    def cable_faulty(self) -> bool:
        """Whether the panel sees a fault of the cable itself: a short, or no end of the line."""
        return bool(self.shorted) or not self.terminated

    @property
    def terminated(self) -> bool:
        """Whether the line has its end. An isolator that has opened ends the line where it sits."""
        if self.terminator_off or self.bus.terminator is None:
            return self.bus.terminator is None
        # Asked in every scan; a long line is not walked along each time.
        state = (frozenset(self.broken), frozenset(self.shorted))
        if self._ended is None or self._ended[0] != state:
            self._ended = (state, self._has_end(self.bus.terminator))
        return self._ended[1]

    def _has_end(self, end: str) -> bool:
        cut, isolated = self._cuts()
        return end in self._reached({PANEL}, cut) or any(
            end in {one, *self._reached({one}, set())} for one in isolated
        )

    def powered(self) -> frozenset[str]:
        """Nodes to which both wires lead, the voltage set aside."""
        return frozenset(self._reached({PANEL}, self._cuts()[0]))

    def address(self, tag: str) -> int:
        """The address to which the device is set."""
        return self.moved.get(tag, self.bus.device_of[tag].address)

    def heard(self, working: frozenset[str]) -> frozenset[str]:
        """Devices, of those that work, whose answers the panel understands at their own address.

        Of two at one address neither is understood; nobody is on a line without its end.
        """
        if not self.terminated:
            return frozenset()
        here = [one for one in self.bus.devices if one.tag in working]
        count = Counter(self.address(one.tag) for one in here)
        return frozenset(
            one.tag
            for one in here
            if self.address(one.tag) == one.address and count[one.address] == 1
        )

    def present(self) -> frozenset[str]:
        """Devices that sit in their places with both wires connected."""
        reached = self.powered()
        return frozenset(
            one.tag
            for one in self.bus.devices
            if one.tag in reached and one.tag not in self.removed
        )

    def _cuts(self) -> tuple[set[str], set[str]]:
        """Segments through which nothing passes, and those of them cut by their isolator."""
        cut, isolated = set(self.broken), set[str]()
        for shorted in self.shorted:
            chain = self._back_to_panel(shorted)
            if any(one.to in self.broken for one in chain[1:]):
                continue  # nothing reaches it
            opened = next((one.to for one in chain if one.isolator), None)
            if opened is None:
                cut |= {one.to for one in self.bus.segments if one.start == PANEL}
            else:
                isolated.add(opened)
        return cut | isolated, isolated

    def _back_to_panel(self, to: str) -> list[Segment]:
        chain = [self._into[to]]
        while chain[-1].start != PANEL:
            chain.append(self._into[chain[-1].start])
        return chain

    def _reached(self, new: set[str], cut: set[str]) -> set[str]:
        """Nodes to which something leads from those, but through no cut segment."""
        found: set[str] = set()
        while new:
            new = {to for node in new for to in self._from.get(node, ()) if to not in cut}
            found |= new
        return found
