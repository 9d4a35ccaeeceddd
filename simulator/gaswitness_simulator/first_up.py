"""Which channel was the first in alarm since the panel was clear (rule 26)."""

from collections.abc import Mapping
from dataclasses import dataclass

from gaswitness_simulator.channel import ChannelState


@dataclass(slots=True)
class FirstUp:
    """`tag`: of the channel that was first; empty where the panel is clear."""

    tag: str = ""

    def follow(
        self, channels: Mapping[str, ChannelState], *, unaccepted: bool, reset: bool
    ) -> tuple[str, ...]:
        """Take a scan, its levels evaluated. Says of which channels the flag changed."""
        before = self.tag
        if not before:
            self.tag = next((tag for tag, one in channels.items() if one.in_alarm), "")
        elif (reset or not unaccepted) and not any(one.in_alarm for one in channels.values()):
            self.tag = ""
        return () if self.tag == before else tuple(tag for tag in (before, self.tag) if tag)

    def forget(self) -> None:
        """The power is off."""
        self.tag = ""

    def number(self, channels: Mapping[str, ChannelState]) -> int:
        """The channel's place in the site file, from 1 on; 0 where the panel is clear."""
        return channels[self.tag].index + 1 if self.tag else 0
