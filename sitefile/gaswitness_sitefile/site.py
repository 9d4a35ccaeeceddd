"""The site file as a whole: one panel."""

from enum import StrEnum
from functools import cached_property
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from gaswitness_sitefile.bus import Bus
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.devices import DigitalInput, Output
from gaswitness_sitefile.event_log import EventLog
from gaswitness_sitefile.link import Link, Pace, Timing
from gaswitness_sitefile.link_fault import LinkFault
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.model import Record, Tag
from gaswitness_sitefile.panel_life import PanelLife, warm_up_by_sensors
from gaswitness_sitefile.points import MapRules, Point
from gaswitness_sitefile.rooms import Exchange, Room


class InhibitActs(StrEnum):
    """What inhibiting a channel takes away.

    `effects`: its levels and fault still show, but drive nothing. `levels`: its levels go off too.
    """

    EFFECTS = "effects"
    LEVELS = "levels"


class Behaviour(Record):
    """Panel-wide choices in which good panels differ."""

    inhibit: InhibitActs = InhibitActs.EFFECTS


def _readable(text: str) -> str:
    parse_link_fault(text)
    return text


FaultText = Annotated[str, AfterValidator(_readable)]
"""A link fault on one line, such as `late 0.2..1.5 s, 5 %`."""


class PanelIdentity(Record):
    """Who the panel is. `vendor`, `product`, `revision`: as Device Identification says them."""

    tag: Tag
    name: str = ""
    vendor: str = ""
    product: str = ""
    revision: str = ""
    location: str = ""
    document: str = ""
    document_revision: str = ""
    text: str = ""


class Site(Record):
    """One panel: what it is, how it is reached, what it measures, drives, and shows.

    `panel_life`: how it comes up, where that is more than a warm-up. `event_log`: what it keeps of
    what happened. `link_faults`: what the link of a virtual panel of this site does wrong from its
    start on; `rooms` and `exchanges`: the air around its detectors. The probe reads none of the
    last three.
    """

    gaswitness_site: Literal[1]
    panel: PanelIdentity
    links: tuple[Link, ...] = ()
    pace: Pace = Pace()
    timing: Timing = Timing()
    behaviour: Behaviour = Behaviour()
    panel_life: PanelLife | None = None
    event_log: EventLog | None = None
    channels: Annotated[tuple[Channel, ...], Field(min_length=1)]
    inputs: tuple[DigitalInput, ...] = ()
    outputs: tuple[Output, ...] = ()
    bus: Bus | None = None
    matrix: tuple[Cell, ...] = ()
    map: MapRules = MapRules()
    points: Annotated[tuple[Point, ...], Field(min_length=1)]
    link_faults: tuple[FaultText, ...] = ()
    rooms: tuple[Room, ...] = ()
    exchanges: tuple[Exchange, ...] = ()

    @cached_property
    def oldest_reading_s(self) -> float:
        """How old a device's answer may be that still shows as a good reading, in seconds: the
        scans of the bus that it may miss before it counts as lost."""
        if self.bus is None or self.bus.scan is None:
            return 0.0
        scan = self.bus.scan
        return scan.device_s * len(self.bus.devices) * scan.missed

    @cached_property
    def warm_up_s(self) -> float:
        """How long the warm-up itself takes, in seconds."""
        life = self.panel_life
        if life is None:
            return self.timing.warm_up_s
        if life.warm_up_s is not None:
            return life.warm_up_s
        sensors = tuple(str(channel.detector) for channel in self.channels)
        return self.timing.warm_up_s or warm_up_by_sensors(sensors)

    @cached_property
    def alarms_count_after_s(self) -> float:
        """From power-up until alarms count, at the longest, in seconds."""
        life = self.panel_life
        return self.warm_up_s + (0.0 if life is None else life.longest_before_warm_up_s)

    @property
    def faults_of_link(self) -> tuple[LinkFault, ...]:
        """The link faults, read."""
        return tuple(parse_link_fault(text) for text in self.link_faults)

    @cached_property
    def channel_of(self) -> dict[str, Channel]:
        """Channels by tag."""
        return {channel.tag: channel for channel in self.channels}

    @cached_property
    def input_of(self) -> dict[str, DigitalInput]:
        """Digital inputs by tag."""
        return {found.tag: found for found in self.inputs}

    @cached_property
    def output_of(self) -> dict[str, Output]:
        """Outputs by tag."""
        return {output.tag: output for output in self.outputs}

    @cached_property
    def cells_of(self) -> dict[str, tuple[Cell, ...]]:
        """The cells that drive each output, by its tag; empty where nothing does."""
        return {
            output.tag: tuple(cell for cell in self.matrix if cell.effect == output.tag)
            for output in self.outputs
        }
