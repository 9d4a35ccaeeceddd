"""Rooms around detectors: volumes, what airs them, and openings between them. Only a virtual panel
has them; no concentration is computed here.
"""

from typing import Annotated, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.gases import find_gas, is_oxygen
from gaswitness_sitefile.model import Number, Record, Tag

_NotNegative = Annotated[Number, Field(ge=0)]
_Positive = Annotated[Number, Field(gt=0)]

OXYGEN_PPM = 209_000.0
"""Oxygen of the outside air where a room says nothing else: the 20.9 %vol that panels idle at."""


def gas_key(text: str) -> str:
    """One name for a gas, however it is written: its formula where it is known."""
    gas = find_gas(text)
    return gas.formula if gas is not None else " ".join(text.split()).casefold()


class Room(Record):
    """A space whose air is well mixed.

    `air_changes_per_h` is the fresh air at rest; `fans` adds to it while an output's device runs,
    by the output's tag. `background_ppm` is what the fresh air holds, by gas: left out, 209 000 ppm
    oxygen and nothing else.
    """

    tag: Tag
    name: str = ""
    volume_m3: _Positive
    air_changes_per_h: _NotNegative = 0.0
    fans: Annotated[dict[str, _NotNegative], Field(default_factory=dict)]
    background_ppm: Annotated[
        dict[str, Annotated[Number, Field(ge=0, le=1e6)]], Field(default_factory=dict)
    ]

    @model_validator(mode="after")
    def _air_holds_itself(self) -> Self:
        seen: dict[str, str] = {}
        for gas in self.background_ppm:
            before = seen.setdefault(gas_key(gas), gas)
            if before != gas:
                raise ValueError(
                    f"background_ppm names one gas twice, {before} and {gas}: keep one"
                )
        gases = dict.fromkeys([*self.background_ppm, *(() if "O2" in seen else ("O2",))])
        whole = sum(self.background_of(gas) for gas in gases)
        if whole > 1e6:
            raise ValueError(
                f"background_ppm comes to {whole:.7g} ppm with the oxygen: write at most 1000000 "
                "in all, O2 included"
            )
        return self

    def background_of(self, gas: str) -> float:
        """The gas in the room's fresh air, in ppm by volume."""
        for name, ppm in self.background_ppm.items():
            if gas_key(name) == gas_key(gas):
                return ppm
        return OXYGEN_PPM if is_oxygen(gas) else 0.0


class Exchange(Record):
    """An opening between two rooms through which `flow_m3_h` goes each way."""

    between: tuple[Tag, Tag]
    flow_m3_h: _Positive

    @model_validator(mode="after")
    def _between_two(self) -> Self:
        if self.between[0] == self.between[1]:
            raise ValueError(f"between names {self.between[0]} twice: name two rooms")
        return self
