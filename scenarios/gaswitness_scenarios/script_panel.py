"""Steps of what people do to a panel beside its keys: outputs forced, channels put in test or
calibration; from their records, and into either side's language.
"""

from collections.abc import Iterator
from typing import Any, Final, Protocol

from gaswitness_probe import applied as done
from gaswitness_scenarios import words
from gaswitness_scenarios.schedule import Planned
from gaswitness_scenarios.script import (
    Calibration,
    InTest,
    OutputTest,
    PanelFault,
    Power,
    Press,
    Step,
)
from gaswitness_simulator import stimulus as sim
from gaswitness_simulator.stimulus_panel import Calibrate, ForceOutput, PutInTest
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.problems import Loc
from gaswitness_sitefile.site import Site

PANEL: Final = frozenset(("output_test", "test_mode", "end_test_mode"))
"""Keys of the steps made here; `calibrate` with a time is another."""

AtPanel = Press | Power | PanelFault | OutputTest | InTest | Calibration
"""Steps done at the panel, or to it as a whole."""

_MODES: Final = {"test_mode": True, "end_test_mode": False}


class Within(Protocol):
    """What builds a script's steps: knows the site, and collects what is wrong."""

    site: Site

    def channels(self, names: tuple[str, ...] | None, loc: Loc) -> list[Channel]:
        """The channels of those tags; problems for those that are not there."""

    def known(
        self, names: tuple[str, ...], loc: Loc, known: dict[str, Any], kind: str
    ) -> Iterator[str]:
        """Those of the tags that are known; problems for the others."""


def panel_steps(within: Within, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
    """The steps of one record of those in PANEL, or of a calibration that takes its time."""
    record, loc, site = planned.record, planned.loc, within.site
    for key, on in _MODES.items():
        for channel in within.channels(getattr(record, key), (*loc, key)):
            said = test_words(words.called(site, channel.tag), on=on)
            yield InTest(**base, words=said, channel=channel.tag, on=on)
    if record.calibrate is not None and record.calibrate.for_s is not None:
        for_s = record.calibrate.for_s
        for channel in within.channels(record.calibrate.channel, (*loc, "calibrate", "channel")):
            said = calibration_words(words.called(site, channel.tag), for_s)
            yield Calibration(**base, words=said, channel=channel.tag, for_s=for_s)
    if record.output_test is not None:
        names, forced = record.output_test.output, record.output_test.forced
        outputs = site.output_of
        names = tuple(outputs) if names == ("all",) else names
        for tag in within.known(names, (*loc, "output_test", "output"), outputs, "output"):
            said = output_test_words(words.called(site, tag), on=forced)
            yield OutputTest(**base, words=said, output=tag, on=forced)


def test_words(where: str, *, on: bool) -> str:
    """Put a channel in test, or take it out."""
    return f"Put {where} in test at the panel" if on else f"Take {where} out of test"


def calibration_words(where: str, for_s: float) -> str:
    """Calibrate a channel, with the panel told."""
    return f"Put {where} in calibration at the panel for {words.number(for_s)} s, and calibrate it"


def output_test_words(where: str, *, on: bool | None) -> str:
    """Force an output, or let it go."""
    if on is None:
        return f"End the output test of {where} at the panel"
    return f"Force the output {where} {'on' if on else 'off'} at the panel"


def panel_stimulus(step: AtPanel) -> sim.Stimulus:
    """What the step does to a virtual panel."""
    match step:
        case Press():
            return sim.Press(step.key)
        case Power():
            return sim.Power(step.on)
        case PanelFault():
            return sim.PanelFault(step.on)
        case OutputTest():
            return ForceOutput(step.output, step.on)
        case InTest():
            return PutInTest(step.channel, step.on)
        case Calibration():
            return Calibrate(step.channel, step.for_s)


def panel_action(step: AtPanel) -> done.Action:
    """What the probe is told of the step."""
    match step:
        case Press():
            return done.KeyPressed(step.key)
        case Power():
            return done.PowerSet(step.on)
        case PanelFault():
            return done.PanelFaultMade(step.on)
        case OutputTest():
            return done.OutputForced(step.output, step.on)
        case InTest():
            return done.InTestSet(step.channel, step.on)
        case Calibration():
            return done.Calibrated(step.channel, step.for_s)
