"""The stages of a panel from power-up to normal, over time. Pure; what each does to outputs, alarms
and the map is the panel's affair.
"""

from dataclasses import dataclass
from enum import StrEnum

from gaswitness_simulator.level import TICK_S
from gaswitness_sitefile.panel_life import Discovers, PanelLife


class Stage(StrEnum):
    """Where the panel is in its life; all but the first two are also states in the map."""

    RELAY_PULSE = "relay_pulse"
    SELF_TEST = "self_test"
    DISCOVERY_OPEN = "discovery_open"
    DISCOVERING = "discovering"
    WARM_UP = "warm_up"
    NORMAL = "normal"


DEAD_TO_MAP = (Stage.RELAY_PULSE, Stage.SELF_TEST)


@dataclass(slots=True)
class LifeCourse:
    """`came_s`: the last power-up. `asked_s`: when a discovery was asked for, since then."""

    facts: PanelLife
    warm_up_s: float
    came_s: float = 0.0
    asked_s: float | None = None

    def power_up(self, at_s: float) -> None:
        """Begin anew."""
        self.came_s, self.asked_s = at_s, None

    def ask(self, at_s: float) -> bool:
        """Ask for a discovery. Says whether it was offered just then; else nothing comes of it."""
        if self.stage(at_s) is not Stage.DISCOVERY_OPEN:
            return False
        self.asked_s = at_s
        return True

    def ends(self) -> list[tuple[Stage, float]]:
        """The stages before normal, each with the instant at which it ends, in seconds."""
        facts = self.facts
        pulse_s = self.came_s + facts.relay_pulse_s
        test_s = pulse_s + facts.self_test_s
        open_s = test_s + facts.discovery_window_s if self.asked_s is None else self.asked_s
        found = [
            (Stage.RELAY_PULSE, pulse_s),
            (Stage.SELF_TEST, test_s),
            (Stage.DISCOVERY_OPEN, open_s),
        ]
        at_s = open_s
        if self.asked_s is not None or facts.discovers is Discovers.ALWAYS:
            at_s += facts.discovery_s
            found.append((Stage.DISCOVERING, at_s))
        return [*found, (Stage.WARM_UP, at_s + self.warm_up_s)]

    def stage(self, at_s: float) -> Stage:
        """Where the panel is at the instant."""
        for stage, end_s in self.ends():
            if at_s < end_s - TICK_S:
                return stage
        return Stage.NORMAL

    def next_s(self, at_s: float) -> float | None:
        """When the stage of that instant ends; None for normal."""
        return next((end_s for _, end_s in self.ends() if at_s < end_s - TICK_S), None)
