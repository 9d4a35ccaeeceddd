"""What of a two-wire bus is connected: breaks, shorts and isolators, terminator, devices taken off.

Pure: which devices have power, and which can be heard. Voltages and scans are elsewhere.
"""

from collections import Counter
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

    @property
    def cable_faulty(self) -> bool:
        """Whether the panel sees a fault of the cable itself: a short, or no end of the line."""
        return bool(self.shorted) or not self.terminated

    @property
    def terminated(self) -> bool:
        """Whether the line has its end. An isolator that has opened ends the line where it sits."""
        end = self.bus.terminator
        if end is None:
            return True
        if self.terminator_off:
            return False
        cut, isolated = self._cuts()
        return end in self._reached(cut) or any(end in self._beyond(one) for one in isolated)

    def powered(self) -> frozenset[str]:
        """Nodes to which both wires lead, the voltage set aside."""
        return frozenset(self._reached(self._cuts()[0]))

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
        into = {segment.to: segment for segment in self.bus.segments}
        for shorted in self.shorted:
            chain = self._back_to_panel(into, shorted)
            if any(one.to in self.broken for one in chain[1:]):
                continue  # nothing reaches it
            opened = next((one.to for one in chain if one.isolator), None)
            if opened is None:
                cut |= {one.to for one in self.bus.segments if one.start == PANEL}
            else:
                isolated.add(opened)
        return cut | isolated, isolated

    @staticmethod
    def _back_to_panel(into: dict[str, Segment], to: str) -> list[Segment]:
        chain = [into[to]]
        while chain[-1].start != PANEL:
            chain.append(into[chain[-1].start])
        return chain

    def _reached(self, cut: set[str]) -> set[str]:
        found: set[str] = set()
        new = {PANEL}
        while new:
            new = {s.to for s in self.bus.segments if s.start in new and s.to not in cut}
            found |= new
        return found

    def _beyond(self, to: str) -> set[str]:
        found, new = {to}, {to}
        while new:
            new = {s.to for s in self.bus.segments if s.start in new}
            found |= new
        return found
