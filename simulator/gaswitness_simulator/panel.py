"""The virtual panel: what is done to it, and its scans, those that change nothing jumped over.

Pure: time is an argument, in seconds of the run. Bytes and Modbus are elsewhere.
"""

import math
import random
from collections import defaultdict
from collections.abc import Callable
from itertools import chain

from gaswitness_simulator.cause import Reader, reader_of
from gaswitness_simulator.cell import CellState
from gaswitness_simulator.channel import NEVER, ChannelState
from gaswitness_simulator.event_log import Event, EventLog
from gaswitness_simulator.image import RegisterImage
from gaswitness_simulator.level import TICK_S
from gaswitness_simulator.living import Living
from gaswitness_simulator.output import OutputState
from gaswitness_simulator.panel_life import Stage
from gaswitness_simulator.placing import Placing
from gaswitness_simulator.scanning import Scanning, last_instant
from gaswitness_simulator.state import PanelState
from gaswitness_simulator.stimulus import (
    ChannelFault,
    CylinderGas,
    Drift,
    DropOut,
    GasTo,
    Inhibit,
    InputSet,
    Key,
    Leak,
    LoopCurrent,
    OfChannel,
    PanelFault,
    Power,
    Press,
    Purge,
    RoomAir,
    SetpointTo,
    Stimulus,
)
from gaswitness_simulator.stimulus_bus import (
    BusStimulus,
    LifeStimulus,
    Mains,
    WatchdogRestart,
)
from gaswitness_simulator.stimulus_panel import Calibrate, ForceOutput, PutInTest
from gaswitness_sitefile.matrix import facts_of
from gaswitness_sitefile.site import InhibitActs, Site


class VirtualPanel:
    """A panel as the site file says it is meant to be.

    It starts at time 0, powered, in warm-up, evaluated once and with its register image made. The
    seed sets the phases of scan and refresh, and the noise. What is done to it counts from the next
    scan on, gas apart, which moves at once. `on_event` is told of all that its event log would say.
    """

    def __init__(
        self,
        site: Site,
        *,
        seed: int = 0,
        on_event: Callable[[Event], None] | None = None,
    ) -> None:
        self.site = site
        self.seed = seed
        self.now_s = 0.0
        self.power_ups = 1
        phases = random.Random(f"phases of {seed}")  # a phase, not a secret
        period_s = site.timing.scan_s
        scanning = Scanning(period_s, (1 - phases.random()) * period_s, seed, len(site.channels))
        self._refresh_phase_s = (1 - phases.random()) * site.timing.refresh_s
        self.state = _blank_state(site, scanning)
        self._cells: tuple[tuple[CellState, Reader], ...] = tuple(
            (cell, reader_of(cell.facts.cause_tree, self.state.counted))
            for cell in self.state.cells
        )
        self._cells_due_s: float | None = None  # when the next delay of a cell is over
        self.living = Living.of(site, self.state.channels, self.state.outputs, seed)
        self.state.living = self.living
        if self.living is not None:
            self.living.power_up(0.0)
        self.timed = tuple(
            one for one in self.state.outputs.values() if one.facts.timed_s is not None
        )
        self.log = _log_of(site, self.state, on_event)
        self.placing = Placing.of(site, self.state.channels) if site.rooms else None
        self._pressed: set[Key] = set()
        self._inputs_asked = dict.fromkeys(self.state.inputs, False)
        self._own_fault_asked = False
        self._touched: set[str] = set(self.state.channels)
        self._stirred = True
        self.image = RegisterImage(site, self.state, self.log)
        self._refreshed_s = 0.0
        if self.log is not None:
            self.log.power(0.0, on=True)
        self._still_s = 0.0  # before this no scan and no refresh comes
        self._scan(-1)
        if self.living is None or not self.living.dead_to_map:
            self.image.refresh(0.0)
        self._next = self._next_scan()

    @property
    def powered(self) -> bool:
        return self.state.powered

    def fact(self, name: str) -> bool:
        """Whether the fact is true after the last scan. ValueError where there is no such fact."""
        return self.state.shown(name)()

    def reading(self, tag: str) -> float:
        """What the channel shows, in its unit; NaN where it shows no number."""
        return self._channel(tag).reading

    def gas(self, tag: str) -> float:
        """The gas at the channel's detector, in its unit; the sensor meets it a dead time later."""
        channel = self._channel(tag)
        return channel.air.gas(self.now_s + channel.facts.dead_time_s)

    def room_share(self, room: str, gas: str) -> float:
        """The share of the room's air that is the gas. ValueError where there is no such room."""
        if self.placing is None:
            raise ValueError(f"this panel has no room {room!r}")
        return self.placing.rooms.share(room, gas, self.now_s)

    def setpoint(self, tag: str, level: str) -> float:
        """The level's setpoint in force, in the channel's unit."""
        return self._channel(tag).levels[level].setpoint

    def next_scan_s(self) -> float:
        """The next scan that may change a fact by itself; infinite where none will.

        Over-range and under-range count where they are causes, or were asked for (`watch_ranges`).
        """
        return self.state.scanning.at_s(self._next) if self._next < NEVER else math.inf

    def watch_ranges(self) -> None:
        """From now on look out for every change of over-range and under-range, cause or not."""
        for channel in self.state.channels.values():
            channel.ranges_count = True
        self._touched.update(self.state.channels)
        self._stirred = True
        self._next = self._next_scan()

    def advance(self, to_s: float) -> None:
        """Let time pass until `to_s`; a time that has passed already changes nothing."""
        if to_s <= self.now_s:
            return
        if to_s < self._still_s:
            self.now_s = to_s
            return
        refresh_s = self.site.timing.refresh_s
        if refresh_s > 0.0:
            n = last_instant(self._refresh_phase_s, refresh_s, to_s)
            self._refresh(self._refresh_phase_s + n * refresh_s)
            self._still_s = self._refresh_phase_s + (n + 1) * refresh_s
        self._run(to_s)
        if refresh_s == 0.0:
            self._refresh(to_s)
        scanning = self.state.scanning
        self._still_s = min(self._still_s, scanning.at_s(scanning.now + 1))
        if self.living is not None:
            self._still_s = min(self._still_s, self.living.power_event_s())
        self.now_s = to_s

    def apply(self, stimulus: Stimulus, at_s: float) -> None:
        """Do something to the panel at `at_s`, or now where that has passed.

        ValueError where it names what the site does not have.
        """
        self.advance(at_s)
        at_s = max(at_s, self.now_s)
        match stimulus:
            case RoomAir() | Leak() | Purge():
                self._stir_rooms(stimulus, at_s)
            case InputSet(tag, on):
                if tag not in self._inputs_asked:
                    raise ValueError(f"this panel has no input {tag!r}")
                self._inputs_asked[tag] = on
            case PanelFault(on):
                self._own_fault_asked = on
            case ForceOutput(tag, forced):
                if tag not in self.state.outputs:
                    raise ValueError(f"this panel has no output {tag!r}")
                self.state.outputs[tag].force_asked = forced if self.powered else None
            case Press(key):
                self._pressed |= {key} if self.powered else set()
            case Power(on):
                if self.living is not None:
                    self.living.restart_s, self.living.connected = math.inf, on
                self._switch(at_s, on=on)
            case _ if isinstance(stimulus, BusStimulus | LifeStimulus):
                self._live(stimulus, at_s)
            case _:
                self._do_to_channel(stimulus, at_s)
        self._stirred = True
        self._next = self._next_scan()

    def _live(self, stimulus: BusStimulus | LifeStimulus, at_s: float) -> None:
        if self.living is None:
            if not isinstance(stimulus, Mains):
                raise ValueError("this panel's site has no panel_life, and its bus no scan")
            self._switch(at_s, on=stimulus.on)
            return
        if isinstance(stimulus, WatchdogRestart) and not self.powered:
            return
        power = self.living.apply(stimulus, at_s)
        if power is not None:
            self._switch(at_s, on=power)
        self._run_fans(at_s)

    def _do_to_channel(self, stimulus: OfChannel, at_s: float) -> None:
        channel = self._channel(stimulus.channel)
        match stimulus:
            case GasTo(_, profile):
                channel.gas_to(profile, at_s)
                channel.on_cylinder = True
            case CylinderGas(_, reads, share, after_s):
                channel.cylinder_to(reads, share, at_s, after_s)
            case Drift(_, zero, span, over_s):
                channel.age(zero, span, at_s, over_s)
            case LoopCurrent(_, current_ma):
                channel.force_current(current_ma)
            case ChannelFault(_, on):
                channel.faulty = on
            case DropOut(_, on):
                channel.drop_out(on=on)
            case Inhibit(_, on):
                channel.inhibit_asked = on
            case PutInTest(_, on):
                channel.test_asked = on and self.powered
            case Calibrate(_, for_s):
                channel.calibrated_s = at_s + for_s if self.powered else None
            case SetpointTo(tag, level, setpoint):
                self._set_setpoint(tag, level, setpoint)
        self._touch(stimulus.channel)

    def _touch(self, tag: str) -> None:
        self._touched.add(tag)
        self.image.stir(tag)

    def _channel(self, tag: str) -> ChannelState:
        if tag not in self.state.channels:
            raise ValueError(f"this panel has no channel {tag!r}")
        return self.state.channels[tag]

    def _stir_rooms(self, stimulus: RoomAir | Leak | Purge, at_s: float) -> None:
        if self.placing is None:
            raise ValueError("this panel's site has no rooms")
        if isinstance(stimulus, RoomAir):
            self.placing.back_to_room(self._channel(stimulus.channel), at_s)
            self._touch(stimulus.channel)
            return
        self.placing.apply(stimulus, at_s)
        self._meet_rooms(at_s)

    def _run_fans(self, at_s: float) -> None:
        """Let the rooms know which outputs' devices run."""
        if self.placing is None:
            return
        dark = frozenset[str]() if self.living is None else self.living.dark
        if self.placing.run(self.state.outputs, at_s, dark):
            self._meet_rooms(at_s)

    def _meet_rooms(self, at_s: float) -> None:
        """Let detectors meet their rooms' air as it goes on from `at_s`."""
        if self.placing is None:
            return
        scan = self.state.scanning.now
        for channel in self.placing.meet(at_s):
            channel.due = min(channel.due, scan + 1)
            self.image.stir(channel.facts.tag)

    def _set_setpoint(self, tag: str, level: str, setpoint: float) -> None:
        channel = self._channel(tag)
        if level not in channel.levels:
            raise ValueError(f"channel {tag} has no level {level!r}")
        channel.set_setpoint(level, setpoint)

    def _switch(self, at_s: float, *, on: bool) -> None:
        state = self.state
        if on == state.powered:
            return
        state.powered = on
        if self.log is not None:
            self.log.power(at_s, on=on)
            self.image.stir("events")
        if on:
            self.power_ups += 1
            state.came_s = at_s
            if self.living is not None:
                self.living.power_up(at_s)
                self._pulse(self.living)
            state.warm_up = self._warming(at_s)
            self._touched.update(state.channels)
            self.image.stir_all()
            return
        if self.living is not None:
            self.living.power_off(at_s)
        state.cells = tuple(CellState(cell.facts) for cell in state.cells)
        self._cells_due_s = None
        self._cells = tuple(
            (fresh, reader) for fresh, (_, reader) in zip(state.cells, self._cells, strict=True)
        )
        for channel in state.channels.values():
            channel.power_off()
        for output in state.outputs.values():
            output.power_off()
        state.inputs.update(dict.fromkeys(state.inputs, False))
        state.own_fault = state.warm_up = state.unaccepted = False
        state.first_up.forget()
        self._pressed.clear()
        self._run_fans(at_s)
        self.image.forget()

    def _refresh(self, at_s: float) -> None:
        """Make the image of `at_s`, where that is later than the last."""
        if at_s <= self._refreshed_s:
            return
        self._run(at_s)
        self._refreshed_s = at_s
        scanned = self.state.scanning.at_s(self.state.scanning.now) > self.state.came_s
        dead = self.living is not None and self.living.dead_to_map
        if self.powered and (scanned or self.image.made) and not dead:
            self.image.refresh(at_s)

    def _run(self, to_s: float) -> None:
        scanning = self.state.scanning
        last = scanning.last(to_s)
        while True:
            if self.living is not None and self._power_event(self.living, to_s):
                continue
            if self._next > last:
                break
            self._scan(self._next)
            self._next = self._next_scan()
        scanning.now = max(scanning.now, last)

    def _power_event(self, living: Living, to_s: float) -> bool:
        """Let the power change by itself, where it does by then and before the next scan."""
        scanning, event_s = self.state.scanning, living.power_event_s()
        if event_s > to_s or scanning.last(event_s) >= self._next:
            return False
        scanning.now = max(scanning.now, scanning.last(event_s))
        self._switch(event_s, on=living.power_event(event_s))
        self._stirred = True
        self._next = self._next_scan()
        return True

    def _warming(self, at_s: float) -> bool:
        if self.living is not None and self.living.course is not None:
            return self.living.warming
        return at_s - self.state.came_s < self.site.timing.warm_up_s - TICK_S

    def _next_scan(self) -> int:
        """The next scan that may change anything."""
        state = self.state
        if not state.powered:
            return NEVER
        now = state.scanning.now
        if self._stirred:
            return now + 1
        ends = [self._cells_due_s, *(output.due_s for output in self.timed)]
        if self.living is not None:
            ends.append(self.living.next_s(state.scanning.at_s(now)))
        if state.warm_up and (self.living is None or self.living.course is None):
            ends.append(state.came_s + self.site.timing.warm_up_s)
        dues = [state.scanning.when_due(end) for end in ends if end is not None]
        dues += (channel.due for channel in state.channels.values())
        return max(now + 1, min(dues))

    def _scan(self, scan: int) -> None:
        """Scan: channels, then causes, cells and outputs (rule 2)."""
        state, now_s = self.state, self.state.scanning.at_s(scan)
        state.scanning.now = scan
        was_warming = state.warm_up
        if self.living is not None:
            self._follow_life(self.living, now_s)
        state.warm_up = self._warming(now_s)
        if "accept" in self._pressed:
            state.unaccepted = False
        stirred = self._stirred or was_warming != state.warm_up
        if was_warming != state.warm_up:
            self._touched.update(state.channels)
        stirred |= self._follow_channels(scan)
        own_fault = self._own_fault_asked or (self.living is not None and self.living.own_fault())
        if own_fault and not state.own_fault:
            state.unaccepted = True
        state.own_fault = own_fault
        if state.inputs != self._inputs_asked:
            self._changed(*state.inputs)
            state.inputs.update(self._inputs_asked)
        if "reset" in self._pressed:
            self._reset_levels()
        if stirred:
            reset = "reset" in self._pressed
            first_up = state.first_up
            self.image.stir(
                *first_up.follow(state.channels, unaccepted=state.unaccepted, reset=reset)
            )
        acts = stirred or self._any_due(scan)
        if acts:
            self._follow_cells(now_s)
        if self.living is not None and (acts or not self.living.supply.mains):
            self.living.settle(now_s)
            self._run_fans(now_s)
        if stirred:
            self._changed("panel", "any")
        if self.log is not None:
            self._log(self.log, now_s)
        self._pressed.clear()
        self._touched.clear()
        self._stirred = False

    def _pulse(self, living: Living) -> None:
        """Energise every output while relays are pulsed, and none in the self-test."""
        for tag, output in self.state.outputs.items():
            if output.pulse(on=living.stage is Stage.RELAY_PULSE):
                self.image.stir(tag)

    def _follow_life(self, living: Living, now_s: float) -> None:
        if "reset" in self._pressed:
            living.restarted = False
        changed = living.scan(now_s)
        self._stirred |= bool(changed)
        self._touched |= changed - {"panel"}

    def _any_due(self, scan: int) -> bool:
        """Whether a delay of a cell, or an output's own time, is over by that scan."""
        dues = chain((self._cells_due_s,), (output.due_s for output in self.timed))
        when_due = self.state.scanning.when_due
        return any(due_s is not None and when_due(due_s) <= scan for due_s in dues)

    def _changed(self, *subjects: str) -> None:
        """What the panel says of these may have changed in this scan."""
        self.image.stir(*subjects)
        if self.log is not None:
            self.log.touch(*subjects)

    def _log(self, log: EventLog, now_s: float) -> None:
        for key in sorted(self._pressed):
            log.note(now_s, "panel", key)
        if log.take(now_s) or self._pressed:
            self.image.stir("events")

    def _follow_channels(self, scan: int) -> bool:
        """Move on the channels that are due. Says whether anything changed that a cause reads."""
        state = self.state
        stirred = False
        for tag, channel in state.channels.items():
            if channel.due > scan and tag not in self._touched:
                continue
            before = channel.seen
            if channel.follow(warm_up=state.warm_up):
                state.unaccepted = True
            if tag in self._touched or channel.seen != before:
                stirred = True
                self._changed(tag)
        return stirred

    def _reset_levels(self) -> None:
        for tag, channel in self.state.channels.items():
            channel.reset()
            self._changed(tag)

    def _follow_cells(self, now_s: float) -> None:
        if self.living is not None and self.living.dead_to_map:
            self._pulse(self.living)
            return
        reset, mute = "reset" in self._pressed, "mute" in self._pressed
        driven: defaultdict[str, bool] = defaultdict(bool)
        anew: defaultdict[str, bool] = defaultdict(bool)
        for cell, cause in self._cells:
            effect = cell.facts.effect
            anew[effect] |= cell.follow(now_s, cause=cause(), reset=reset)
            driven[effect] |= cell.acting
        dues = (cell.due_s for cell in self.state.cells)
        self._cells_due_s = min((due_s for due_s in dues if due_s is not None), default=None)
        for tag, output in self.state.outputs.items():
            if output.follow(now_s, driven=driven[tag], anew=anew[tag], mute=mute):
                self._changed(tag)
        self._run_fans(now_s)


def _log_of(
    site: Site, state: PanelState, on_event: Callable[[Event], None] | None
) -> EventLog | None:
    if site.event_log is None and on_event is None:
        return None
    return EventLog(site, state, site.event_log.entries if site.event_log else 1, on_event)


def _blank_state(site: Site, scanning: Scanning) -> PanelState:
    ranged = {
        fact.subject
        for cell in site.matrix
        for fact in facts_of(cell.cause_tree)
        if fact.what in ("over_range", "under_range")
    }
    channels = {
        channel.tag: ChannelState.of(
            channel,
            index,
            scanning,
            inhibit_takes_levels=site.behaviour.inhibit is InhibitActs.LEVELS,
            ranges_count=channel.tag in ranged,
        )
        for index, channel in enumerate(site.channels)
    }
    return PanelState(
        scanning=scanning,
        channels=channels,
        outputs={output.tag: OutputState(output) for output in site.outputs},
        cells=tuple(CellState(cell) for cell in site.matrix),
        inputs=dict.fromkeys((one.tag for one in site.inputs), False),
    )
