"""All that a powered panel knows after its last scan, and its facts by name (rules 5 and 7).

Nothing here changes state; the scan does that.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Final

from gaswitness_simulator.cause import Reader
from gaswitness_simulator.cell import CellState
from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.first_up import FirstUp
from gaswitness_simulator.living import Living
from gaswitness_simulator.output import OutputState
from gaswitness_simulator.scanning import Scanning
from gaswitness_sitefile.channel import EXPOSURES, LEVEL_NAMES
from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS
from gaswitness_sitefile.matrix import Fact
from gaswitness_sitefile.mode_facts import CHANNEL_MODES, FIRST_UP, FORCED, IN_TEST
from gaswitness_sitefile.points import CHANNEL_STATES

CHANNEL_FLAGS: Final = {
    "fault": "fault",
    "inhibit": "inhibited",
    "test": "testing",
    "calibration": "calibrating",
    "over_range": "over_range",
    "under_range": "under_range",
}
"""Aspects of a channel that are told straight from its state, and where they stand there."""

ALWAYS_COUNT: Final = ("inhibit", *CHANNEL_MODES)
"""What a channel that drives nothing else still says as a cause."""

OUTPUT_FLAGS: Final = ("active", "energised", "muted")


@dataclass(slots=True)
class PanelState:
    """`inputs` and `own_fault` are as of the last scan. `came_s`: when the power came last."""

    scanning: Scanning
    channels: dict[str, ChannelState]
    outputs: dict[str, OutputState]
    cells: tuple[CellState, ...] = ()
    inputs: dict[str, bool] = field(default_factory=dict)
    own_fault: bool = False
    warm_up: bool = False
    unaccepted: bool = False
    first_up: FirstUp = field(default_factory=FirstUp)
    powered: bool = True
    came_s: float = 0.0
    living: Living | None = None

    def fault(self) -> bool:
        """The panel's own fault, or that of any channel that counts."""
        return self.own_fault or self.any_counts("fault")

    def any_counts(self, what: str) -> bool:
        """Whether the aspect of any channel counts."""
        if what == "fault":
            return any(one.fault and not one.silent for one in self.channels.values())
        return any(one.level_on(what) and not one.silent for one in self.channels.values())

    def shown(self, name: str) -> Reader:
        """The reader of a fact as the panel shows it. ValueError where there is no such fact."""
        subject, _, what = name.partition(".")
        found = self._reader(subject, what)
        if found is None:
            raise ValueError(
                f"{name!r} is no fact of this panel: write TAG.aspect, such as AT-101.A1, "
                "K1.active, panel.fault"
            )
        return found

    def counted(self, fact: Fact) -> Reader:
        """The reader of a fact as a cause: false for a channel that drives nothing, but for the
        facts that say so."""
        shown = self.shown(str(fact))
        channel = self.channels.get(fact.subject)
        if channel is None or fact.what in ALWAYS_COUNT:
            return shown
        return lambda: shown() and not channel.silent

    def _reader(self, subject: str, what: str) -> Reader | None:
        if subject in self.channels and what == FIRST_UP:
            return lambda: self.first_up.tag == subject
        if subject in self.channels:
            return _channel_reader(self.channels[subject], what)
        if subject in self.outputs and what in OUTPUT_FLAGS:
            return _flag(self.outputs[subject], what)
        if subject in self.outputs and what == FORCED:
            output = self.outputs[subject]
            return lambda: output.forced is not None
        if subject in self.inputs and what == "active":
            return lambda: self.inputs[subject]
        if subject == "any" and what in (*LEVEL_NAMES, "fault"):
            return lambda: self.any_counts(what)
        if subject == "panel":
            return self._panel_reader(what)
        return None

    def _panel_reader(self, what: str) -> Reader | None:
        readers: dict[str, Reader] = {
            "fault": self.fault,
            "warm_up": lambda: self.warm_up,
            "unaccepted": lambda: self.unaccepted,
            "inhibit": lambda: any(one.inhibited for one in self.channels.values()),
            IN_TEST: lambda: any(one.forced is not None for one in self.outputs.values()),
        }
        if what in LIFE_FLAGS:
            return lambda: self.powered and self.living is not None and self.living.flag(what)
        return readers.get(what)

    def panel_state(self) -> str:
        """Of PANEL_STATES: the stage of the panel's life."""
        if self.living is not None and self.living.course is not None:
            return str(self.living.stage)
        return "warm_up" if self.warm_up else "normal"

    def panel_number(self, what: str) -> float:
        """One of LIFE_NUMBERS, or `first_up`; 0 where nothing is known of it."""
        if what == FIRST_UP:
            return float(self.first_up.number(self.channels))
        return 0.0 if self.living is None else self.living.number(what)

    def channel_state(self, tag: str, among: Callable[[str], bool] = lambda _: True) -> str:
        """The first of CHANNEL_STATES' order that applies to the channel and is `among` those
        that can be said; `normal` applies always."""
        levels = ("A3", "A2", "A1")
        order = ("warm_up", *ALWAYS_COUNT, "fault", *levels, "over_range", "under_range")
        for state in order:
            if among(state) and self._applies(tag, state):
                return state
        return CHANNEL_STATES[0]

    def _applies(self, tag: str, state: str) -> bool:
        reader = (lambda: self.warm_up) if state == "warm_up" else self._reader(tag, state)
        return reader is not None and reader()


def _flag(of: object, name: str) -> Reader:
    get = attrgetter(name)
    return lambda: bool(get(of))


def _channel_reader(channel: ChannelState, what: str) -> Reader | None:
    if what in LEVEL_NAMES:
        level = channel.levels.get(what)
        return (lambda: False) if level is None else _flag(level, "on")
    if what in EXPOSURES:
        exposure = channel.exposure
        if exposure is None or what not in exposure.averages:
            return None
        return _flag(exposure.averages[what], "on")
    if what in BUS_FLAGS:
        return _flag(channel, what)
    if what in CHANNEL_FLAGS:
        return _flag(channel, CHANNEL_FLAGS[what])
    return None
