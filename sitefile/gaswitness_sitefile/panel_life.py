"""The stages of a panel's life from power-up to normal, and how long each takes.

States durations and choices; which stage a panel is in at an instant is worked out elsewhere.
"""

from enum import StrEnum
from typing import Annotated, Final

from pydantic import Field

from gaswitness_sitefile.model import Number, PositiveSeconds, Record, Seconds

OXYGEN_WARM_UP_S: Final = 900.0
"""15 min, set by oxygen cells, the slowest to settle; common practice, no source."""

OTHER_WARM_UP_S: Final = 180.0
"""Where no oxygen cell is fitted; an assumption."""

OXYGEN_CELL: Final = "oxygen cell"


class Discovers(StrEnum):
    """When a panel looks for its detectors after power-up.

    `asked`: only where somebody asks for it while that is offered. `always`: without being asked.
    """

    ASKED = "asked"
    ALWAYS = "always"


class PanelLife(Record):
    """How the panel comes up: relays pulsed, self-test, discovery offered, discovery, warm-up.

    `relay_pulse_s`: for how long every relay is energised once. `discovery_window_s`: how long a
    discovery is offered; 10 s is common practice, no source. `warm_up_s`: left out, as
    `timing.warm_up_s` where that is above 0, else 15 min with an oxygen cell and 3 min without.
    `restart_s`: how long the panel is dead when its watchdog restarts it. `battery_low`: the part
    of the battery's charge below which the panel warns. `recharge_h`: from empty to full. What has
    no source beside it is an assumption.
    """

    relay_pulse_s: Seconds = 1.0
    self_test_s: Seconds = 4.0
    discovery_window_s: Seconds = 10.0
    discovers: Discovers = Discovers.ASKED
    discovery_s: PositiveSeconds = 20.0
    warm_up_s: Seconds | None = None
    restart_s: PositiveSeconds = 2.0
    battery_low: Annotated[Number, Field(ge=0, le=1)] = 0.2
    recharge_h: Annotated[Number, Field(gt=0)] = 24.0

    @property
    def dead_to_map_s(self) -> float:
        """From power-up until the map is served: relay pulse and self-test, in seconds."""
        return self.relay_pulse_s + self.self_test_s

    @property
    def longest_before_warm_up_s(self) -> float:
        """From power-up to the warm-up, a discovery included, in seconds."""
        return self.dead_to_map_s + self.discovery_window_s + self.discovery_s


def warm_up_by_sensors(detectors: tuple[str, ...]) -> float:
    """How long detectors of these sensor types take to settle, in seconds."""
    return OXYGEN_WARM_UP_S if OXYGEN_CELL in detectors else OTHER_WARM_UP_S
