"""The record of a bump test with a cylinder, and what its tube and its flow come to."""

from math import pi
from typing import Annotated, Final

from pydantic import Field

from gaswitness_scenarios.tags_and_levels import Level, Name, Names
from gaswitness_sitefile.model import Number, PositiveSeconds, Record

NEEDS_L_MIN: Final = 0.5
"""The flow that most gas adapters are made for (common practice, no source): the maker of the
detector says his own."""

_Positive = Annotated[Number, Field(gt=0)]
_NotNegative = Annotated[Number, Field(ge=0)]


class BumpRecord(Record):
    """A bump test: gas of a cylinder through a tube and an adapter to detectors.

    `channel`: a tag, a list of tags, or `all`, each with a cylinder of its own. `gas`: the
    cylinder's, left out the channel's own; another one acts by the channel's `cross_sensitivity`.
    `concentration`: in the channel's unit, or of its own gas words such as `past A2`. The gas comes
    once it has filled `tube_m` of tube, `tube_mm` wide inside, at `flow_l_min`; it stays `for_s`,
    then the adapter comes off. Of a flow below `needs_l_min` the detector breathes that much, and
    for the rest the air around it (common practice, no source).
    """

    channel: Names
    gas: Name | None = None
    concentration: Level
    flow_l_min: _Positive = NEEDS_L_MIN
    needs_l_min: _Positive = NEEDS_L_MIN
    tube_m: _NotNegative = 2.0
    tube_mm: _Positive = 4.0
    for_s: PositiveSeconds = 60.0

    @property
    def dead_s(self) -> float:
        """Seconds until the gas has filled the tube: its volume by the flow."""
        litres = pi / 4 * (self.tube_mm / 1000) ** 2 * self.tube_m * 1000
        return round(litres / self.flow_l_min * 60, 3)

    @property
    def share(self) -> float:
        """The part of what the detector breathes that is the cylinder's gas."""
        return min(1.0, self.flow_l_min / self.needs_l_min)

    @property
    def over_s(self) -> float:
        """Seconds until the adapter comes off."""
        return self.dead_s + self.for_s
