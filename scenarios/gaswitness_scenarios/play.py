"""Playing a script onto a virtual panel in this process, in whatever time the clock goes.

Also looks, where the script asks a person to: at the virtual output itself.
"""

from collections.abc import Callable, Sequence

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.driver import Told
from gaswitness_scenarios.script import LinkCleared, LinkSpoilt, Look, Portion, Script, Step
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel

Arrive = Callable[[float], None]
"""Lets what is on its way to the panel reach it, up to an instant of the run."""


def at_once(at_s: float) -> None:
    """Nothing is ever on its way: what is sent has arrived."""


async def play_portion(
    portion: Portion,
    panel: VirtualPanel,
    clock: Clock,
    told: Told,
    zero_s: float,
    *,
    arrive: Arrive = at_once,
    faults: FaultPlan | None = None,
) -> None:
    """Play steps of a script to their end, the first of them from `zero_s` on.

    `faults` of the link on which the panel is served; without it, its steps do nothing.
    """
    zero_s -= portion.begin_s
    for number, step in enumerate(portion.steps, portion.first):
        await clock.sleep_until(zero_s + step.at_s)
        at_s = clock.now()
        told.begun(number, step, at_s)
        looked = do_step(step, panel, at_s, arrive, faults)
        told.done(number, step, at_s, at_s, looked=looked)
    await clock.sleep_until(zero_s + portion.end_s)


def do_step(
    step: Step,
    panel: VirtualPanel,
    at_s: float,
    arrive: Arrive = at_once,
    faults: FaultPlan | None = None,
) -> bool | None:
    """Do the step to the panel, or to its link; what is seen, where it asks to look."""
    stimulus = stimulus_of(step)
    if stimulus is not None:
        arrive(at_s)
        panel.apply(stimulus, at_s)
    if isinstance(step, LinkSpoilt | LinkCleared) and faults is not None:
        arrive(at_s)
        _do_to_link(step, faults, at_s)
    if not isinstance(step, Look):
        return None
    arrive(at_s)
    panel.advance(at_s)
    return panel.fact(step.fact)


def _do_to_link(step: LinkSpoilt | LinkCleared, faults: FaultPlan, at_s: float) -> None:
    if isinstance(step, LinkSpoilt):
        faults.begin(step.fault, at_s)
    else:
        faults.clear(step.kind)


class SimulatedDriver:
    """Does to the virtual panel, and to its link, what the script says, from now on."""

    by_portions = True

    def __init__(
        self, panel: VirtualPanel, arrive: Arrive = at_once, faults: FaultPlan | None = None
    ) -> None:
        self._panel = panel
        self._arrive = arrive
        self._faults = faults

    async def play(
        self, script: Script, clock: Clock, told: Told, portion: Portion | None = None
    ) -> None:
        await play_portion(
            script.whole if portion is None else portion,
            self._panel,
            clock,
            told,
            clock.now(),
            arrive=self._arrive,
            faults=self._faults,
        )

    async def restore(self, steps: Sequence[Step], clock: Clock, told: Told) -> None:
        for step in steps:
            at_s = clock.now()
            told.begun(0, step, at_s)
            do_step(step, self._panel, at_s, self._arrive, self._faults)
            told.done(0, step, at_s, at_s)
