"""Which detectors stand in which rooms, and what each meets there.

Between the rooms' air, which knows no detector, and channels, which know no room.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.gas import Air
from gaswitness_simulator.output import OutputState
from gaswitness_simulator.rooms import Rooms, seen_by
from gaswitness_simulator.stimulus import Leak, Purge, Sum
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.gas_amounts import fraction_per_unit
from gaswitness_sitefile.rooms import gas_key
from gaswitness_sitefile.site import Site

_S_PER_H = 3600.0


@dataclass(slots=True)
class Placing:
    """`placed`: channels in rooms, each with what a whole share of each gas makes it show."""

    rooms: Rooms
    placed: tuple[tuple[ChannelState, str, Mapping[str, float]], ...]

    @classmethod
    def of(cls, site: Site, channels: Mapping[str, ChannelState]) -> "Placing":
        """The site's rooms in fresh air, its detectors at rest in them."""
        placed = tuple(
            (channels[one.tag], one.room, _per_share(one))
            for one in site.channels
            if one.room is not None
        )
        gases = {gas for _, _, shares in placed for gas in shares}
        made = cls(Rooms.of(site.rooms, site.exchanges, sorted(gases)), placed)
        for channel, room, shares in placed:
            level = seen_by(made.rooms, room, shares, 0.0).level
            channel.air = Air.at_rest(level, channel.facts.tau_s)
        return made

    def apply(self, stimulus: Leak | Purge, at_s: float) -> None:
        """Let the leak or the purge begin. ValueError where there is no such room."""
        flow_m3_s = stimulus.flow_m3_h / _S_PER_H
        if isinstance(stimulus, Leak):
            self.rooms.leak(stimulus.room, stimulus.gas, flow_m3_s, at_s)
        else:
            self.rooms.purge(stimulus.room, flow_m3_s, at_s)

    def run(
        self, outputs: Mapping[str, OutputState], at_s: float, dark: frozenset[str] = frozenset()
    ) -> bool:
        """Say what the outputs drive now. Says whether any room's air goes on otherwise.

        `dark`: outputs without supply, whatever the panel drives. A device that is normally
        energised acts when its supply is lost, too.
        """
        running = (
            tag
            for tag, one in outputs.items()
            if (one.energised and tag not in dark) != one.facts.normally_energised
        )
        return self.rooms.run(frozenset(running), at_s)

    def meet(self, at_s: float) -> Iterator[ChannelState]:
        """Let every detector that is not on a cylinder meet its room from `at_s` on."""
        for channel, room, shares in self.placed:
            if not channel.on_cylinder:
                self._meet(channel, room, shares, at_s)
                yield channel

    def back_to_room(self, channel: ChannelState, at_s: float) -> None:
        """Take the cylinder away. ValueError where the detector stands in no room."""
        for one, room, shares in self.placed:
            if one is channel:
                channel.on_cylinder = False
                self._meet(channel, room, shares, at_s)
                return
        raise ValueError(f"channel {channel.facts.tag} stands in no room")

    def _meet(
        self, channel: ChannelState, room: str, shares: Mapping[str, float], at_s: float
    ) -> None:
        air = seen_by(self.rooms, room, shares, at_s)
        channel.gas_to(Sum(air.level, air.terms), at_s)


def _per_share(channel: Channel) -> dict[str, float]:
    own = fraction_per_unit(channel.gas, channel.unit, channel.lfl_vol_percent)
    if own is None:
        raise ValueError(f"no figure turns {channel.unit} of {channel.gas} into a share of the air")
    found = {gas_key(channel.gas): 1.0 / own}
    for gas, share in channel.cross_sensitivity.items():
        # Its own lower limit where the tables have one: the channel's is that of the channel's gas.
        per_unit = fraction_per_unit(gas, channel.unit) or fraction_per_unit(
            gas, channel.unit, channel.lfl_vol_percent
        )
        if per_unit is not None:
            found[gas_key(gas)] = found.get(gas_key(gas), 0.0) + share / per_unit
    return found
