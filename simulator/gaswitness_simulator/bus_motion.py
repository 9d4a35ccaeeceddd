"""The detector bus of a running panel: what is done to it, who is heard, what its channels say.

Puts wiring, voltages, scan and discovery together. Levels, causes and outputs are not known here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gaswitness_simulator.bus_polls import Polls
from gaswitness_simulator.bus_supply import BusSupply
from gaswitness_simulator.bus_wiring import Wiring
from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.discovery import Discovered, discover
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
from gaswitness_sitefile.bus import Bus, BusScan
from gaswitness_sitefile.site import Site


@dataclass(slots=True)
class BusMotion:
    """`starved`: devices and outputs without their voltage. `dark`: outputs without supply, for
    want of voltage or of the device that carries them. `feed_a`: what the bus takes.
    `wired_v`: the voltage of each device if all that is switched on stayed on."""

    bus: Bus
    wiring: Wiring
    polls: Polls
    supply: BusSupply
    channels: Mapping[str, ChannelState]
    starved: frozenset[str] = frozenset()
    dark: frozenset[str] = frozenset()
    feed_a: float = 0.0
    wired_v: Mapping[str, float] = field(default_factory=dict)
    discovered: Discovered | None = None
    _drawn: tuple[frozenset[str], frozenset[str], float] | None = field(default=None)
    _told: tuple[int, frozenset[str], Discovered] | None = field(default=None)

    @classmethod
    def of(
        cls, site: Site, scan: BusScan, channels: Mapping[str, ChannelState], seed: int
    ) -> "BusMotion":
        """The bus as installed, everybody heard. ValueError for a site without a bus."""
        if site.bus is None:
            raise ValueError("the site has no bus")
        polls = Polls.of(site.bus, scan.device_s, scan.missed, seed)
        made = cls(site.bus, Wiring(site.bus), polls, BusSupply(site, site.bus), channels)
        for device in site.bus.devices:
            for tag in device.carries:
                channels[tag].on_bus(polls, device.tag)
        return made

    def apply(self, stimulus: BusStimulus, at_s: float) -> None:
        """Do it to the bus. ValueError where it names what the bus does not have."""
        wiring = self.wiring
        match stimulus:
            case BusBreak(to, on):
                _put(wiring.broken, self._segment(to), on=on)
            case BusShort(to, on):
                _put(wiring.shorted, self._segment(to), on=on)
            case BusMend(to):
                wiring.broken.discard(self._segment(to))
                wiring.shorted.discard(to)
            case DeviceOff(tag, on):
                _put(wiring.removed, self._device(tag), on=on)
            case DeviceType(tag, wrong):
                _put(wiring.wrong, self._device(tag), on=wrong)
            case DeviceAddress(tag, address):
                own = wiring.bus.device_of[self._device(tag)].address
                wiring.moved[tag] = own if address is None else address
            case WiresSwapped(tag):
                self._device(tag)  # nothing comes of it: common practice, no source
            case TerminatorOff(on):
                wiring.terminator_off = on
            case BusNoise(percent):
                self.polls.disturb(percent / 100.0, at_s)
        self._meet(at_s)

    def power_up(self, at_s: float) -> set[str]:
        """Begin anew: nothing missed or discovered. Says of which channels something changed."""
        self.polls.begin(at_s)
        self.discovered = None
        return self._tell()

    def scan(self, at_s: float) -> set[str]:
        """Hear what was asked until now. Says of which channels something changed."""
        self.polls.advance(at_s)
        return self._tell()

    def discover(self) -> None:
        """Compare what is there with the setup; the next scan says what was found."""
        self.discovered = discover(self.wiring, self._working())

    def settle(
        self, energised: frozenset[str], alarmed: frozenset[str], volts: float, at_s: float
    ) -> None:
        """Let the voltages follow what is on now. `alarmed`: tags of channels with a level on."""
        devices = frozenset(
            one.tag for one in self.bus.devices if any(tag in alarmed for tag in one.carries)
        )
        drawn = (energised, devices, volts)
        if drawn != self._drawn:
            self._drawn = drawn
            self._meet(at_s)

    def _working(self) -> frozenset[str]:
        return self.wiring.present() - self.starved

    def _meet(self, at_s: float) -> None:
        if self._drawn is not None:
            energised, alarmed, volts = self._drawn
            present = self.wiring.present()
            fed = self.supply.fed(present, alarmed, energised, volts)
            self.starved, self.feed_a, self.wired_v = fed.starved, fed.feed_a, fed.wired_v
            self.dark = self.supply.dark(present, self.starved)
        self.polls.hear(self.wiring.heard(self._working()), at_s)

    def _tell(self) -> set[str]:
        """Let the channels know. Says of which of them something changed."""
        found = self.discovered or Discovered()
        known = (self.polls.changes, frozenset(self.wiring.wrong), found)
        if known == self._told:
            return set()
        self._told = known
        touched: set[str] = set()
        for device in self.bus.devices:
            line = self.polls.lines[device.tag]
            wrong = line.heard and device.tag in self.wiring.wrong
            says = (line.lost, device.tag in found.missing, wrong)
            for tag in device.carries:
                channel = self.channels[tag]
                if (channel.comms_fault, channel.missing, channel.wrong_type) != says:
                    channel.comms_fault, channel.missing, channel.wrong_type = says
                    touched.add(tag)
        return touched

    def _segment(self, to: str) -> str:
        known = [segment.to for segment in self.bus.segments]
        if to not in known:
            raise ValueError(f"no segment of the bus leads to {to!r}: name one of {known}")
        return to

    def _device(self, tag: str) -> str:
        if tag not in self.polls.lines:
            raise ValueError(f"the bus has no device {tag!r}: name one of {list(self.polls.lines)}")
        return tag


def _put(names: set[str], name: str, *, on: bool) -> None:
    if on:
        names.add(name)
    else:
        names.discard(name)
