"""Playing a script onto a virtual panel in this process, in whatever time the clock goes.

Also looks, where the script asks a person to: at the virtual output itself.
"""

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.driver import Told
from gaswitness_scenarios.script import Look, Script
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.panel import VirtualPanel


async def play_script(
    script: Script, panel: VirtualPanel, clock: Clock, told: Told, zero_s: float
) -> None:
    """Play the script to its end, each step at its instant after `zero_s`."""
    for number, step in enumerate(script.steps, 1):
        await clock.sleep_until(zero_s + step.at_s)
        at_s = clock.now()
        told.begun(number, step, at_s)
        stimulus = stimulus_of(step)
        if stimulus is not None:
            panel.apply(stimulus, at_s)
        looked = _look(panel, step.fact, at_s) if isinstance(step, Look) else None
        told.done(number, step, at_s, at_s, looked=looked)
    await clock.sleep_until(zero_s + script.length_s)


def _look(panel: VirtualPanel, fact: str, at_s: float) -> bool:
    panel.advance(at_s)
    return panel.fact(fact)


class SimulatedDriver:
    """Does to the virtual panel what the script says, from now on."""

    def __init__(self, panel: VirtualPanel) -> None:
        self._panel = panel

    async def play(self, script: Script, clock: Clock, told: Told) -> None:
        await play_script(script, self._panel, clock, told, clock.now())
