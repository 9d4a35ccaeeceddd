"""How a panel is reached, the pace at which it may be asked, and the panel's own timing."""

from dataclasses import replace
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from gaswitness_sitefile.link_address import LinkAddress, parse_link
from gaswitness_sitefile.model import PositiveSeconds, Record, Seconds, Whole

DEFAULT_UNIT = 1


class Link(Record):
    """One way to reach the panel. `unit` is the unit id on it."""

    name: str
    address: str
    unit: Annotated[Whole, Field(ge=0, le=255)] = DEFAULT_UNIT
    note: str = ""

    @field_validator("address")
    @classmethod
    def _address_reads(cls, text: str) -> str:
        parse_link(text)
        return text

    @property
    def where(self) -> LinkAddress:
        """The address, read; its unit is this link's unless the address names one."""
        found = parse_link(self.address)
        unit = self.unit if found.unit is None else found.unit
        return replace(found, unit=unit)


class Fast(Record):
    """What is asked for more often than the rest: every `period_s`.

    `what`: any of readings, levels, faults, inhibits, inputs, outputs, or the tags of channels,
    inputs and outputs.
    """

    period_s: PositiveSeconds
    what: Annotated[tuple[str, ...], Field(min_length=1)]


class Pace(Record):
    """How fast and how much the panel may be asked; the probe never exceeds it.

    Every point is read each `poll_period_s`, those named in `fast` more often.
    """

    poll_period_s: PositiveSeconds = 0.5
    fast: Fast | None = None
    request_gap_s: Seconds = 0.0
    timeout_s: PositiveSeconds = 1.0
    largest_read_registers: Annotated[Whole, Field(ge=1, le=125)] = 125
    largest_read_bits: Annotated[Whole, Field(ge=1, le=2000)] = 2000

    @model_validator(mode="after")
    def _fast_is_faster(self) -> Self:
        if self.fast is not None and self.fast.period_s >= self.poll_period_s:
            raise ValueError(
                "fast must have a period_s shorter than poll_period_s, or it is no faster than "
                f"the rest: write less than {self.poll_period_s:g}"
            )
        return self

    @property
    def shortest_period_s(self) -> float:
        """The period of what is asked for most often."""
        return self.poll_period_s if self.fast is None else self.fast.period_s


class Timing(Record):
    """The panel's own timing, which bounds what can be proven about it.

    `scan_s`: between two evaluations of all channels. `refresh_s`: between two updates of the
    register image. `shortest_dwell_s`: no state of the panel lasts shorter than this, so two equal
    samples closer than this mean that it held between them. `heartbeat_s`: between two changes of
    the heartbeat. `warm_up_s`: after power-up, before alarms count. `level_response_s`: from a
    reading beyond a setpoint (its delay over) to the level's flag; left out, two scans and a
    refresh. `flag_response_s`: from a fault, inhibit or contact to its flag. `key_response_s`: from
    a key or command to what it does. `answer_s`: from the end of a request to the beginning of its
    answer; the default is an allowance, to be replaced by what was measured.
    """

    scan_s: PositiveSeconds = 0.5
    refresh_s: Seconds = 0.1
    shortest_dwell_s: PositiveSeconds = 2.0
    heartbeat_s: PositiveSeconds | None = None
    warm_up_s: Seconds = 0.0
    level_response_s: PositiveSeconds | None = None
    flag_response_s: PositiveSeconds = 2.0
    key_response_s: PositiveSeconds = 2.0
    answer_s: Seconds = 0.02

    @model_validator(mode="after")
    def _refresh_within_dwell(self) -> Self:
        if self.shortest_dwell_s <= self.refresh_s:
            raise ValueError(
                "shortest_dwell_s must be longer than refresh_s, or states pass unseen by the map: "
                f"write more than {self.refresh_s:g}"
            )
        return self

    @property
    def level_allowance_s(self) -> float:
        """How long after its reading a level may come, its own delay aside, in seconds."""
        if self.level_response_s is not None:
            return self.level_response_s
        return 2 * self.scan_s + self.refresh_s
