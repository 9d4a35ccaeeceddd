"""The two-wire detector bus: its cable, the devices on it, what they draw, and what feeds them.

States what is installed; voltages, drop-outs and battery sizes are worked out elsewhere.
"""

from enum import StrEnum
from functools import cached_property
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from gaswitness_sitefile.cable_data import table_ohm_per_km
from gaswitness_sitefile.channel import DetectorType, Unit
from gaswitness_sitefile.devices import OutputKind
from gaswitness_sitefile.model import Number, PositiveSeconds, Record, Tag, Whole

PANEL: Final = "panel"
"""The end of a segment that is the panel itself."""

Positive = Annotated[Number, Field(gt=0)]
NotNegative = Annotated[Number, Field(ge=0)]
Share = Annotated[Number, Field(gt=0, le=1)]


class Draw(Record):
    """What a consumer takes: a constant current, a constant power, or both together."""

    current_a: NotNegative = 0.0
    power_w: NotNegative = 0.0

    @model_validator(mode="after")
    def _something_is_said(self) -> Self:
        if not self.model_fields_set:
            raise ValueError(
                "draws states neither current nor power: write current_a or power_w, 0 where it "
                "takes nothing"
            )
        return self


class Cable(Record):
    """A pair of copper conductors. In a segment, what is left out is as in the bus's `cable`.

    `conductor_class`: 1 solid, 2 stranded, 5 flexible (IEC 60228). `coated`: tinned or otherwise
    metal-coated. `ohm_per_km`: the maker's figure for one conductor at 20 °C, in place of the
    table's. `temperature_c`: of the conductor; 30 °C is the reference ambient of IEC 60364-5-52
    (from memory), and a bus carries too little to heat its cable.
    """

    cross_section_mm2: Positive = 1.5
    conductor_class: Literal[1, 2, 5] = 2
    coated: bool = False
    ohm_per_km: Positive | None = None
    temperature_c: Annotated[Number, Field(ge=-60, le=150)] = 30.0

    @property
    def ohm_per_km_at_20_c(self) -> float | None:
        """Of one conductor; None where neither the maker nor the table says it."""
        if self.ohm_per_km is not None:
            return self.ohm_per_km
        return table_ohm_per_km(self.cross_section_mm2, self.conductor_class, coated=self.coated)

    def changed_by(self, own: "Cable | None") -> "Cable":
        """This cable with what `own` states; the maker's figure stays only for the same wire."""
        if own is None:
            return self
        stated = {name: getattr(own, name) for name in own.model_fields_set}
        another_wire = stated.keys() & {"cross_section_mm2", "conductor_class", "coated"}
        if another_wire and "ohm_per_km" not in stated:
            stated["ohm_per_km"] = None
        return self.model_copy(update=stated)


class Segment(Record):
    """A run of cable, `from` the end nearer to the panel. `isolator`: one sits at that end."""

    start: Annotated[Tag, Field(alias="from")]
    to: Tag
    length_m: Positive
    cable: Cable | None = None
    isolator: bool = False


class PortUse(StrEnum):
    """What a port of a detector serves beside a switched output."""

    CURRENT_INPUT = "4-20 mA input"
    CONTACT_INPUT = "contact input"


class Sensor(Record):
    """What a detector measures, as configured by its maker. `tag`: left out, the device's."""

    tag: Tag | None = None
    gas: str
    unit: Unit
    range: tuple[Number, Number]
    detector: DetectorType


class BusDevice(Record):
    """A detector, or another addressed device, on the bus.

    `tag` is its channel's; a device with several channels, or none, says so in `channels`.
    `draws_in_alarm`: left out, as `draws`. `least_v`: the lowest voltage at which it works; 18 V is
    common practice, no source. `holds`: how it was configured before it came to site, sensor by
    sensor; left out, as its channels are. `ports`: what each of its ports serves: an output
    (relay, beacon, sounder, valve, fan), `4-20 mA input`, or `contact input`.
    """

    tag: Tag
    address: Annotated[Whole, Field(ge=0, le=65_535)]
    channels: tuple[Tag, ...] | None = None
    draws: Draw
    draws_in_alarm: Draw | None = None
    least_v: Positive = 18.0
    holds: tuple[Sensor, ...] = ()
    ports: tuple[PortUse | OutputKind, ...] = ()

    @property
    def carries(self) -> tuple[str, ...]:
        """The tags of its channels."""
        return (self.tag,) if self.channels is None else self.channels


class OutputSupply(Record):
    """What an output takes while energised: at its detector, or at the panel.

    `least_v`: below it the output does nothing; left out, as the detector that carries it.
    """

    output: Tag
    draws: Draw
    least_v: Positive | None = None


class BusScan(Record):
    """How the panel asks its devices: one after the other in order of address, then anew.

    `device_s`: what one device takes. `missed`: after so many scans without an answer in a row a
    device is in communication fault. Both figures are assumptions.
    """

    device_s: PositiveSeconds = 0.05
    missed: Annotated[Whole, Field(ge=1)] = 3


class PanelDraw(Record):
    """What the panel itself takes at its supply voltage, in ampere: at rest, and in full alarm."""

    rest_a: NotNegative = 0.0
    alarm_a: NotNegative | None = None

    @property
    def most_a(self) -> float:
        """In full alarm; as at rest where it is not stated."""
        return self.rest_a if self.alarm_a is None else self.alarm_a


class Spur(Record):
    """The fused spur that feeds the panel.

    `fuse_a`: 3 A is common practice, no source. `charger_w`: what charging the battery takes at the
    panel's supply. `efficiency`, `power_factor`: of the panel's power supply; both are assumptions.
    """

    fuse_a: Positive = 3.0
    volts: Positive = 230.0
    charger_w: NotNegative = 0.0
    efficiency: Share = 0.8
    power_factor: Share = 0.6


class Battery(Record):
    """The standby battery, sized as BS 5839-1 annex D does it for fire alarms (from memory).

    That annex is an analogy: no standard is known to fix it for gas panels. `capacity_ah`: what is
    fitted; left out, the size is worked out and nothing is judged. `ageing_factor` 1.25,
    `discharge_factor` 1.75 (of the capacity at the rate of the alarm): the annex's. `end_v`: where
    discharge ends; left out, 1.75 V for each cell of 2 V, common practice, no source. `regulated`:
    the panel holds its supply voltage on battery, with `efficiency`; if not, the bus has the
    battery's own voltage.
    """

    capacity_ah: Positive | None = None
    standby_h: Positive = 24.0
    alarm_min: Positive = 30.0
    ageing_factor: Annotated[Number, Field(ge=1)] = 1.25
    discharge_factor: Annotated[Number, Field(ge=1)] = 1.75
    nominal_v: Positive = 24.0
    end_v: Positive | None = None
    regulated: bool = False
    efficiency: Share = 0.85

    @property
    def lowest_v(self) -> float:
        """The voltage at the end of discharge."""
        return 0.875 * self.nominal_v if self.end_v is None else self.end_v

    @model_validator(mode="after")
    def _ends_below_where_it_began(self) -> Self:
        if self.lowest_v > self.nominal_v:
            raise ValueError(
                f"end_v cannot be above nominal_v: write at most {self.nominal_v:g}, or correct "
                "nominal_v"
            )
        return self


class Bus(Record):
    """One two-wire bus: power and data on the same pair, from the panel out, as a tree.

    `supply_v`: at the panel's terminals. `limit_a`: the most that its bus output gives. `margin_v`:
    how far above its least voltage every device is wanted. `terminator`: the device that carries
    the line terminator; where one is named, nothing communicates without it. `scan`: given, a
    virtual panel lives on this bus: readings age, devices are lost and come back. `isolator_ohm`:
    what one isolator adds to the loop; 0.2 is an assumption. `junctions`: boxes where cables meet
    and nothing is connected.
    """

    supply_v: Positive = 24.0
    limit_a: Positive | None = None
    margin_v: NotNegative = 1.0
    cable: Cable = Cable()
    isolator_ohm: NotNegative = 0.2
    devices: Annotated[tuple[BusDevice, ...], Field(min_length=1)]
    segments: Annotated[tuple[Segment, ...], Field(min_length=1)]
    junctions: tuple[Tag, ...] = ()
    terminator: Tag | None = None
    scan: BusScan | None = None
    outputs: tuple[OutputSupply, ...] = ()
    panel: PanelDraw = PanelDraw()
    spur: Spur = Spur()
    battery: Battery | None = None

    @cached_property
    def device_of(self) -> dict[str, BusDevice]:
        """Devices by the tag of each of their channels, and by their own."""
        found = {device.tag: device for device in self.devices}
        return {tag: one for one in self.devices for tag in one.carries} | found

    @cached_property
    def ends(self) -> tuple[str, ...]:
        """Devices and junctions from which no cable goes on."""
        starts = {segment.start for segment in self.segments}
        return tuple(segment.to for segment in self.segments if segment.to not in starts)

    def cable_of(self, segment: Segment) -> Cable:
        """The segment's cable, whole."""
        return self.cable.changed_by(segment.cable)
