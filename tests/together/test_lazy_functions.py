"""A panel that jumps over quiet scans says what one says that looks at everything in every scan:
machines at random with pulses, tests, calibrations and first-up, compared by all their events.
"""

import pytest
from memory_run import script_of, site_of
from random_functions import with_functions

from gaswitness_scenarios.translate import stimulus_of
from gaswitness_simulator.channel import NEVER
from gaswitness_simulator.panel import VirtualPanel


class Diligent(VirtualPanel):
    """Jumps over nothing, and follows every channel and every cell in each scan."""

    def _next_scan(self):
        return self.state.scanning.now + 1 if self.powered else NEVER

    def _scan(self, scan):
        for channel in self.state.channels.values():
            channel.due = -1
        self._stirred = True
        super()._scan(scan)


def told(kind, number):
    machine = with_functions(number)
    site = site_of(machine, 1000.0)
    script = script_of(machine, site)
    events, firsts = [], []

    def heard(event):
        events.append((event.at_s, event.subject, event.what))

    panel = kind(site, seed=machine.seed, on_event=heard)
    for step in script.steps:
        stimulus = stimulus_of(step)
        panel.advance(step.at_s)
        firsts.append((step.at_s, panel.state.first_up.tag))
        if stimulus is not None:
            panel.apply(stimulus, step.at_s)
    panel.advance(script.length_s + 60.0)
    return [*events, *firsts, panel.state.first_up.tag]


@pytest.mark.parametrize("numbers", [range(at, at + 20) for at in range(0, 120, 20)], ids=str)
def test_quiet_scans_are_jumped_over_and_nothing_is_missed(numbers):
    for number in numbers:
        assert told(VirtualPanel, number) == told(Diligent, number), number


def test_there_is_something_to_be_missed():
    said = {what for number in range(120) for _, _, what in events_of(number)}
    assert {"active off", "forced on", "calibration off", "test off", "muted on"} <= said


def events_of(number):
    return [one for one in told(VirtualPanel, number) if len(one) == 3]
