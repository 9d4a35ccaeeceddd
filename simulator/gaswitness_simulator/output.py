"""One output: driven by cells, mutable, timed, forced, energised or de-energised to act.

Rules 9, 11, 27 and 28.
"""

from dataclasses import dataclass

from gaswitness_simulator.level import TICK_S
from gaswitness_sitefile.devices import Output


@dataclass(slots=True)
class OutputState:
    """`energised` is false until the first scan after power-up, and with the power off.

    `forced`: what somebody holds it at since the last scan; None where nobody does. `anew_s`: when
    a cause came anew last, while the time that this gives the output runs.
    """

    facts: Output
    active: bool = False
    energised: bool = False
    muted: bool = False
    force_asked: bool | None = None
    forced: bool | None = None
    anew_s: float | None = None

    def follow(self, at_s: float, *, driven: bool, anew: bool, mute: bool) -> bool:
        """Take a scan: whether any cell acts, a cause came anew, mute was pressed.

        A cause that comes in the scan of the mute sounds: it was not heard when the key was
        pressed. Says whether anything changed.
        """
        before = (self.active, self.energised, self.muted, self.forced)
        self.forced = self.force_asked
        if self.facts.timed_s is not None:
            driven = self._timed(at_s, self.facts.timed_s, driven=driven, anew=anew)
        hears = mute and self.facts.mutable and self.forced is None
        self.muted = (self.muted or hears) and driven and not anew
        self.active = driven and not self.muted if self.forced is None else self.forced
        self.energised = self.active != self.facts.normally_energised
        return before != (self.active, self.energised, self.muted, self.forced)

    def _timed(self, at_s: float, timed_s: float, *, driven: bool, anew: bool) -> bool:
        """Whether the output is to act, its own time counted."""
        if anew:
            self.anew_s = at_s
        if self.anew_s is not None and at_s - self.anew_s >= timed_s - TICK_S:
            self.anew_s = None
        runs = self.anew_s is not None
        return runs if self.facts.pulse_s is not None else driven or runs

    @property
    def due_s(self) -> float | None:
        """When the output's own time is over."""
        timed_s = self.facts.timed_s
        return None if timed_s is None or self.anew_s is None else self.anew_s + timed_s

    def pulse(self, *, on: bool) -> bool:
        """Energise the coil, or not, whatever the cells say. Says whether anything changed."""
        before = (self.active, self.energised, self.muted)
        self.active, self.energised, self.muted = False, on, False
        return before != (False, on, False)

    def power_off(self) -> None:
        self.active = self.energised = self.muted = False
        self.force_asked = self.forced = self.anew_s = None
