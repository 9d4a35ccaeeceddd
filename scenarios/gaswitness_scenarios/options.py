"""What a person may choose about a run. Values and their defaults; nothing is done here."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Final

from gaswitness_scenarios.equipment import Equipment
from gaswitness_scenarios.person import Person
from gaswitness_scenarios.resume import Earlier
from gaswitness_simulator.units import UnknownUnit
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.link_fault import LinkFault
from gaswitness_sitefile.site import Site

REHEARSAL_SPEED: Final = 20.0
"""Seconds of the panel in one real second, over a real loopback socket."""


@dataclass(frozen=True, slots=True)
class Latency:
    """How long bytes travel one way, in seconds, evenly spread from `low_s` to `high_s`."""

    low_s: float = 0.002
    high_s: float = 0.020


class RehearsalLink(StrEnum):
    """How probe and virtual panel talk in a rehearsal."""

    MEMORY = "memory"
    MEMORY_RTU = "memory-rtu"
    TCP = "tcp"


class DriverChoice(StrEnum):
    """Who plays a script in a witness run."""

    PERSON = "person"
    AUTO = "auto"


class Start(StrEnum):
    """When a served panel begins to play its scripts."""

    CONTROL = "control"
    NOW = "now"


@dataclass(frozen=True, slots=True)
class RehearsalOptions:
    """`evidence`: the record to write, None for none. `speed`: for a real socket only.
    `panel_site`: what the virtual panel is built from, where it differs from the probe's site.
    `faults`: what the link does wrong from the start on, beyond what the panel's site says.
    `tests`: ids of the tests of a plan that are played, None for all.
    """

    evidence: Path | None = None
    link: RehearsalLink = RehearsalLink.MEMORY
    seed: int = 0
    speed: float = REHEARSAL_SPEED
    panel_site: Site | None = None
    latency: Latency = Latency()
    faults: tuple[LinkFault, ...] = ()
    tests: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class WitnessOptions:
    """`slack_s`: where something else plays the script and does not say when, the doubt about its
    beginning, either way. `person`: whom to ask, None for the one at this terminal.

    Of a plan: `equipment` says who takes part and what with, `tests` which are played (None: all),
    `earlier` what an earlier part of the run left, and `notes` what else the record says of it.
    """

    link: LinkAddress
    driver: DriverChoice = DriverChoice.PERSON
    evidence: Path | None = None
    slack_s: float = 2.0
    person: Person | None = None
    equipment: Equipment | None = None
    tests: frozenset[str] | None = None
    earlier: Earlier | None = None
    notes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SurveyOptions:
    """`evidence`: the record to write, None for none."""

    link: LinkAddress
    evidence: Path | None = None


@dataclass(frozen=True, slots=True)
class ServeOptions:
    """`listen`: every link to be served; port 0 takes any that is free, the serial device `pty` a
    new pseudo-terminal. `unknown_unit`: what asking for a unit that is not there gets over TCP.
    `writers`: the roles of client certificates that may write over tls links. `faults`: what the
    links do wrong from the start on, beyond what the site files say.
    """

    listen: tuple[LinkAddress, ...] = (LinkAddress("tcp", "127.0.0.1"),)
    speed: float = 1.0
    seed: int = 0
    start: Start = Start.CONTROL
    beyond_loopback: bool = False
    unknown_unit: UnknownUnit = UnknownUnit.SILENCE
    writers: tuple[str, ...] = ()
    faults: tuple[LinkFault, ...] = ()
