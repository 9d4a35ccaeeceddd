"""One cell of the matrix as a state machine: on-delay, off-delay, latching (rules 8 and 10)."""

from dataclasses import dataclass

from gaswitness_simulator.level import TICK_S
from gaswitness_sitefile.matrix import Cell


@dataclass(slots=True)
class CellState:
    """`delayed`: the cause with its on-delay over. `kept`: that, and its off-delay after it.

    `acting`: the cell drives its output, be it by its latch alone.
    """

    facts: Cell
    delayed: bool = False
    kept: bool = False
    acting: bool = False
    since_s: float | None = None
    gone_s: float | None = None

    def follow(self, at_s: float, *, cause: bool, reset: bool) -> bool:
        """Take the cause of a scan. Says whether the cause came anew, its on-delay over."""
        before = self.delayed
        self._delay(at_s, cause=cause)
        self._keep(at_s)
        self.acting = self.kept or (self.facts.latching and self.acting and not reset)
        return self.delayed and not before

    def _delay(self, at_s: float, *, cause: bool) -> None:
        if not cause:
            self.since_s = None
            self.delayed = False
            return
        if self.since_s is None:
            self.since_s = at_s
        self.delayed = at_s - self.since_s >= self.facts.on_delay_s - TICK_S

    def _keep(self, at_s: float) -> None:
        if self.delayed:
            self.kept = True
            self.gone_s = None
        elif self.kept:
            if self.gone_s is None:
                self.gone_s = at_s
            if at_s - self.gone_s >= self.facts.off_delay_s - TICK_S:
                self.kept = False
                self.gone_s = None

    @property
    def due_s(self) -> float | None:
        """When the next running delay is over."""
        ends = []
        if self.since_s is not None and not self.delayed:
            ends.append(self.since_s + self.facts.on_delay_s)
        if self.gone_s is not None:
            ends.append(self.gone_s + self.facts.off_delay_s)
        return min(ends, default=None)
