"""One alarm level as a state machine: hysteresis, on-delay, latching (rules 3 and 10).

Works on readings that it is given; knows no channel, fault or inhibit.
"""

from dataclasses import dataclass

from gaswitness_sitefile.channel import AlarmLevel, Direction

TICK_S = 1e-9
"""Delays compare with this tolerance, so that a float's grain costs no scan."""


@dataclass(slots=True)
class Level:
    """`condition` is the comparison with hysteresis and delay; `on` what shows, latch included."""

    facts: AlarmLevel
    setpoint: float
    condition: bool = False
    on: bool = False
    since_s: float | None = None

    @classmethod
    def of(cls, facts: AlarmLevel) -> "Level":
        return cls(facts, facts.setpoint)

    def follow(self, reading: float, at_s: float) -> None:
        """Take the reading of a scan."""
        if self.beyond(reading):
            if self.since_s is None:
                self.since_s = at_s
            if at_s - self.since_s >= self.facts.on_delay_s - TICK_S:
                self.condition = True
        else:
            self.since_s = None
            if self.back(reading):
                self.condition = False
        self.on = self.condition or (self.facts.latching and self.on)

    def beyond(self, reading: float) -> bool:
        """Whether the reading is at the setpoint or on the alarm's side of it."""
        if self.facts.direction is Direction.RISING:
            return reading >= self.setpoint
        return reading <= self.setpoint

    def back(self, reading: float) -> bool:
        """Whether the reading is back by more than the hysteresis."""
        if self.facts.direction is Direction.RISING:
            return reading < self.setpoint - self.facts.hysteresis
        return reading > self.setpoint + self.facts.hysteresis

    def force(self, *, on: bool) -> None:
        """Come on or go off whatever the reading, latch or not; nothing is left running."""
        self.condition = self.on = on
        self.since_s = None

    def hold(self) -> None:
        """Stay as it is; a delay that runs is broken."""
        self.since_s = None

    def reset(self) -> None:
        """Let go of the latch, where the condition is off."""
        self.on = self.condition

    @property
    def due_s(self) -> float | None:
        """When the running on-delay is over."""
        if self.since_s is None or self.condition:
            return None
        return self.since_s + self.facts.on_delay_s

    def same_over(self, low: float, high: float) -> bool:
        """Whether no reading from `low` to `high` compares otherwise than another."""
        return self.beyond(low) == self.beyond(high) and self.back(low) == self.back(high)

    def edges(self) -> tuple[float, float]:
        """The two readings at which comparisons change."""
        if self.facts.direction is Direction.RISING:
            return self.setpoint, self.setpoint - self.facts.hysteresis
        return self.setpoint, self.setpoint + self.facts.hysteresis
