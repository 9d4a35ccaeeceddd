"""How much gas for how long brings an exposure average over its limit (EH40/2005, 4th edition:
the dose counts, over 15 min for STEL, over 8 h for TWA)."""

from dataclasses import dataclass
from typing import Final

from gaswitness_sitefile.channel import Channel

WINDOW_S: Final = {"STEL": 15 * 60.0, "TWA": 8 * 3600.0}
OVER: Final = 1.15
"""So much more than the limit, for lag, clean air before, and the ten seconds between samples."""

OF_RANGE: Final = 0.9
"""Gas at this part of the range."""

LONGEST_S: Final = 7200.0
"""A plan holds gas no longer."""


@dataclass(frozen=True, slots=True)
class Dose:
    """`amount` in the channel's unit, for `hold_s`."""

    amount: float
    hold_s: float

    @property
    def fits(self) -> bool:
        """Whether a plan may hold it."""
        return self.hold_s <= LONGEST_S


def has_limit(channel: Channel, what: str) -> bool:
    """Whether the channel has that exposure limit."""
    return channel.exposure is not None and what in channel.exposure.limits


def dose_of(channel: Channel, what: str) -> Dose:
    """The dose for STEL or TWA of a channel that has that limit."""
    limits = channel.exposure.limits if channel.exposure is not None else {}
    limit = limits.get(what, channel.range[1])
    amount = round(channel.range[0] + OF_RANGE * channel.span, 3)
    return Dose(amount, OVER * limit * WINDOW_S[what] / amount + channel.slowest_t90_s)
