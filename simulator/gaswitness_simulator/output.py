"""One output: driven by cells, mutable, energised or de-energised to act (rules 9 and 11)."""

from dataclasses import dataclass

from gaswitness_sitefile.devices import Output


@dataclass(slots=True)
class OutputState:
    """`energised` is false until the first scan after power-up, and with the power off."""

    facts: Output
    active: bool = False
    energised: bool = False
    muted: bool = False

    def follow(self, *, driven: bool, anew: bool, mute: bool) -> bool:
        """Take a scan: whether any cell acts, a cause came anew, mute was pressed.

        A cause that comes in the scan of the mute sounds: it was not heard when the key was
        pressed. Says whether anything changed.
        """
        before = (self.active, self.energised, self.muted)
        asked = self.muted or (mute and self.facts.mutable)
        self.muted = asked and driven and not anew
        self.active = driven and not self.muted
        self.energised = self.active != self.facts.normally_energised
        return before != (self.active, self.energised, self.muted)

    def pulse(self, *, on: bool) -> bool:
        """Energise the coil, or not, whatever the cells say. Says whether anything changed."""
        before = (self.active, self.energised, self.muted)
        self.active, self.energised, self.muted = False, on, False
        return before != (False, on, False)

    def power_off(self) -> None:
        self.active = self.energised = self.muted = False
