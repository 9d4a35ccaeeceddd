"""Mains and standby battery of a running panel: the charge over time, the voltage, when it ends.

Pure. Sums in ampere-hours as the battery's sizing has them; sizes are worked out elsewhere.
"""

import math
from dataclasses import dataclass
from typing import Final

from gaswitness_sitefile.bus import Battery

STEPS: Final = 20
"""The voltage of a discharging battery falls in so many equal steps; a panel sees it no finer."""


@dataclass(slots=True)
class Supply:
    """`usable_ah`: what an aged battery still gives. `charge_ah`: what of it is there at `at_s`.

    `battery`: None where the panel has none, or none that has a size.
    """

    battery: Battery | None
    usable_ah: float
    supply_v: float
    recharge_h: float
    mains: bool = True
    charge_ah: float = 0.0
    drain_a: float = 0.0
    at_s: float = 0.0

    @classmethod
    def of(
        cls, battery: Battery | None, capacity_ah: float | None, supply_v: float, recharge_h: float
    ) -> "Supply":
        """A full battery and the mains."""
        if battery is None or capacity_ah is None:
            return cls(None, 0.0, supply_v, recharge_h)
        usable = capacity_ah / battery.ageing_factor
        return cls(battery, usable, supply_v, recharge_h, charge_ah=usable)

    @property
    def on_battery(self) -> bool:
        return not self.mains and self.charge_ah > 0.0

    @property
    def share(self) -> float:
        """The charge as a part of the full one, 0 to 1."""
        return self.charge_ah / self.usable_ah if self.usable_ah else 0.0

    @property
    def volts(self) -> float:
        """What the panel gives to its bus: on battery in steps from nominal down to its end."""
        if self.battery is None or self.mains or self.battery.regulated:
            return self.supply_v
        fall_v = self.battery.nominal_v - self.battery.lowest_v
        step = math.ceil(self.share * STEPS - 1e-9) / STEPS
        return self.battery.lowest_v + fall_v * step

    def advance(self, to_s: float) -> None:
        """Let time pass until then."""
        hours = max(0.0, to_s - self.at_s) / 3600.0
        self.at_s = max(self.at_s, to_s)
        if self.mains:
            gained = self.usable_ah * hours / self.recharge_h
            self.charge_ah = min(self.usable_ah, self.charge_ah + gained)
        else:
            self.charge_ah = max(0.0, self.charge_ah - self.drain_a * hours)
            if self.charge_ah < 1e-9 * self.usable_ah:
                self.charge_ah = 0.0

    def switch(self, at_s: float, *, mains: bool) -> None:
        """The mains come or go."""
        self.advance(at_s)
        self.mains = mains

    def take(self, supply_a: float, at_s: float, *, alarm: bool) -> None:
        """What the panel and its bus take from now on, in ampere at the voltage of now.

        In an alarm the battery loses `discharge_factor` times as much, as its sizing has it.
        """
        self.advance(at_s)
        if self.battery is None:
            return
        if self.battery.regulated:
            supply_a *= self.supply_v / (self.battery.nominal_v * self.battery.efficiency)
        self.drain_a = supply_a * (self.battery.discharge_factor if alarm else 1.0)

    def empty_s(self) -> float:
        """When the battery is empty as things stand; infinite on mains."""
        if self.mains or self.battery is None or self.drain_a <= 0.0:
            return math.inf
        return self.at_s + self.charge_ah / self.drain_a * 3600.0

    def crosses_s(self, shares: tuple[float, ...]) -> float | None:
        """When the charge next passes one of these parts of the full one, or a voltage step."""
        if not self.usable_ah:
            return None
        rate = self.usable_ah / self.recharge_h if self.mains else -self.drain_a
        if rate == 0.0 or (self.mains and self.charge_ah >= self.usable_ah):
            return None
        marks = [*shares] if self.mains else [*shares, *(n / STEPS for n in range(1, STEPS))]
        ahead = [mark * self.usable_ah - self.charge_ah for mark in marks]
        times = [one / rate * 3600.0 for one in ahead if one / rate > 1e-9]
        return self.at_s + min(times) if times else None
