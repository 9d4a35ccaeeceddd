"""The record of a step that changes the detector bus; what it comes to is not known here."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from gaswitness_scenarios.on_off import OnOff
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
from gaswitness_sitefile.model import Number, Record, Tag, Whole


class Readdressed(Record):
    """A device, and the address to which it is set."""

    device: Tag
    to: Annotated[Whole, Field(ge=0, le=65_535)]


class BusRecord(Record):
    """One change of the detector bus. A cable is named by the device or junction it leads to.

    `break`, `short`, `mend`: the cable. `take_off`, `put_back`: a device. `wrong_type`,
    `right_type`: another detector in its place, or the right one again. `address`,
    `own_address`: to which a device is set. `swap_wires`: the two wires at a device, which works
    either way round. `terminator`: on or off. `noise_percent`: the part of all answers that noise
    spoils.
    """

    break_: Annotated[Tag | None, Field(alias="break", default=None)]
    short: Tag | None = None
    mend: Tag | None = None
    take_off: Tag | None = None
    put_back: Tag | None = None
    wrong_type: Tag | None = None
    right_type: Tag | None = None
    address: Readdressed | None = None
    own_address: Tag | None = None
    swap_wires: Tag | None = None
    terminator: OnOff | None = None
    noise_percent: Annotated[Number | None, Field(ge=0, le=100, default=None)]

    @model_validator(mode="after")
    def _one_change(self) -> Self:
        if not self.model_fields_set:
            raise ValueError("bus changes nothing: write break, short, mend, take_off or another")
        if len(self.model_fields_set) != 1:
            raise ValueError("bus takes one change in a step: write a step of its own for each")
        return self

    @property
    def change(self) -> BusStimulus:
        """What is done to the bus."""
        made: tuple[BusStimulus | None, ...] = (
            None if self.break_ is None else BusBreak(self.break_, on=True),
            None if self.short is None else BusShort(self.short, on=True),
            None if self.mend is None else BusMend(self.mend),
            None if self.take_off is None else DeviceOff(self.take_off, on=True),
            None if self.put_back is None else DeviceOff(self.put_back, on=False),
            None if self.wrong_type is None else DeviceType(self.wrong_type, wrong=True),
            None if self.right_type is None else DeviceType(self.right_type, wrong=False),
            None if self.address is None else DeviceAddress(self.address.device, self.address.to),
            None if self.own_address is None else DeviceAddress(self.own_address, None),
            None if self.swap_wires is None else WiresSwapped(self.swap_wires),
            None if self.terminator is None else TerminatorOff(on=not self.terminator),
            None if self.noise_percent is None else BusNoise(self.noise_percent),
        )
        return next(one for one in made if one is not None)
