"""Steps of a script into either side's language: a stimulus for the simulator, an action for the
probe. The simulator never sees an expectation, the probe never the panel.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gaswitness_probe import applied as done
from gaswitness_scenarios.gas_profile import (
    ExponentialTo,
    Profile,
    RampTo,
    Recorded,
    StepTo,
    bounds,
    gas_after,
    travel_s,
)
from gaswitness_scenarios.script import (
    AdapterOff,
    Bump,
    BusChange,
    Calibration,
    DiscoveryAsked,
    Drift,
    Expect,
    Fault,
    Gas,
    Hold,
    Inhibit,
    Input,
    InTest,
    Leak,
    LinkCleared,
    LinkSpoilt,
    Look,
    Loop,
    MainsSwitched,
    OutputTest,
    PanelFault,
    PlannedTest,
    Power,
    Press,
    Purge,
    RoomAir,
    Say,
    Step,
    WatchdogRestarts,
)
from gaswitness_scenarios.script_panel import panel_action, panel_stimulus
from gaswitness_simulator import stimulus as sim
from gaswitness_simulator.loop import Band, band
from gaswitness_simulator.stimulus_bus import AskDiscovery, Mains, WatchdogRestart
from gaswitness_sitefile.site import Site

ARRIVED: Final = 0.001
"""An exponential has arrived when this part of the channel's span remains."""


UNTOLD_S: Final = 1e9
"""Gas whose course nobody told the probe counts as on its way for so long: it never settles."""


def stimulus_of(step: Step) -> sim.Stimulus | None:
    """What the step does to a virtual panel; None where it does nothing."""
    match step:
        case Leak() | Purge() | RoomAir() | Bump() | AdapterOff() | Drift() | Loop():
            return _of_air(step)
        case Gas():
            return sim.GasTo(step.channel, _profile(step.profile))
        case Fault():
            made = sim.DropOut if step.drop_out else sim.ChannelFault
            return made(step.channel, step.on)
        case Inhibit():
            return sim.Inhibit(step.channel, step.on)
        case Input():
            return sim.InputSet(step.tag, step.on)
        case BusChange() | MainsSwitched() | DiscoveryAsked() | WatchdogRestarts():
            return _of_life(step)
        case Press() | Power() | PanelFault() | OutputTest() | InTest() | Calibration():
            return panel_stimulus(step)
        case Say() | PlannedTest() | Hold() | Expect() | Look() | LinkSpoilt() | LinkCleared():
            return None


def _of_life(
    step: BusChange | MainsSwitched | DiscoveryAsked | WatchdogRestarts,
) -> sim.Stimulus:
    match step:
        case BusChange():
            return step.change
        case MainsSwitched():
            return Mains(step.on)
        case DiscoveryAsked():
            return AskDiscovery()
        case WatchdogRestarts():
            return WatchdogRestart()


def _upset(step: BusChange | MainsSwitched | DiscoveryAsked | WatchdogRestarts) -> done.Action:
    """Without a battery the mains are the power; of all else the probe is only told that it was."""
    if isinstance(step, MainsSwitched) and not step.battery:
        return done.PowerSet(step.on)
    return done.PanelUpset(may_restart=isinstance(step, MainsSwitched | WatchdogRestarts))


def _of_air(
    step: Leak | Purge | RoomAir | Bump | AdapterOff | Drift | Loop,
) -> sim.Stimulus:
    match step:
        case Bump():
            return sim.CylinderGas(step.channel, step.reads, step.share, step.dead_s)
        case AdapterOff():
            back = None if step.clean is None else sim.Step(step.clean)
            return sim.RoomAir(step.channel) if back is None else sim.GasTo(step.channel, back)
        case Leak():
            return sim.Leak(step.room, step.gas, step.flow_m3_h)
        case Purge():
            return sim.Purge(step.room, step.flow_m3_h)
        case RoomAir():
            return sim.RoomAir(step.channel)
        case Drift():
            return sim.Drift(step.channel, step.zero, step.span, step.over_s)
        case Loop():
            return sim.LoopCurrent(step.channel, step.current_ma)


def _profile(profile: Profile) -> sim.Profile:
    match profile:
        case StepTo(level):
            return sim.Step(level)
        case RampTo(level, over_s):
            return sim.Ramp(level, over_s)
        case ExponentialTo(level, tau_s):
            return sim.Exponential(level, tau_s)
        case Recorded(_, times_s, levels):
            return sim.Trace(times_s, levels)


@dataclass(frozen=True, slots=True)
class _Moved:
    """The last gas at a channel: from somewhere within `starts`, begun within the instants."""

    begun_s: float
    done_s: float
    profile: Profile
    starts: tuple[float, float]


class Actions:
    """What was done, for the probe. Remembers the gas at each channel, since a profile goes on from
    wherever the one before had come to by the time that the step was really done."""

    def __init__(self, site: Site) -> None:
        self._channel_of = site.channel_of
        self._moved: dict[str, _Moved] = {}
        self._loops_failed: set[str] = set()

    def applied(self, step: Step, begun_s: float, done_s: float) -> done.Applied | None:
        """The step as an action that happened between the two instants; None where it is none."""
        action = self._action(step, begun_s, done_s)
        return None if action is None else done.Applied(begun_s, done_s, action)

    def _action(self, step: Step, begun_s: float, done_s: float) -> done.Action | None:
        match step:
            case Gas() | Bump() | AdapterOff():
                return self._gas(step, begun_s, done_s)
            case Leak() | Purge() | RoomAir() | Drift() | Loop():
                return self._of_air(step)
            case Fault():
                return done.FaultMade(step.channel, step.on, step.drop_out)
            case Inhibit():
                return done.InhibitSet(step.channel, step.on)
            case Input():
                return done.InputMade(step.tag, step.on)
            case BusChange() | MainsSwitched() | DiscoveryAsked() | WatchdogRestarts():
                return _upset(step)
            case Press() | Power() | PanelFault() | OutputTest() | InTest() | Calibration():
                return panel_action(step)
            case Say() | PlannedTest() | Hold() | Expect() | Look() | LinkSpoilt() | LinkCleared():
                return None

    def _of_air(self, step: Leak | Purge | RoomAir | Drift | Loop) -> done.Action | None:
        match step:
            case Loop():
                return self._loop(step)
            case RoomAir():
                return self._untold(step.channel)
            case Leak() | Purge() | Drift():
                return None

    def _loop(self, step: Loop) -> done.Action | None:
        """A current that says failure is a fault; any other is a measurement nobody was told of."""
        failed = step.channel in self._loops_failed
        found = Band.MEASURES if step.current_ma is None else band(step.current_ma)
        if found in (Band.FAILED_LOW, Band.FAILED_HIGH):
            self._loops_failed.add(step.channel)
            return done.FaultMade(step.channel, on=True)
        if step.current_ma is not None:
            return self._untold(step.channel)
        self._loops_failed.discard(step.channel)
        return done.FaultMade(step.channel, on=False) if failed else None

    def _untold(self, tag: str) -> done.GasApplied:
        """From now on the probe is not told what the channel measures."""
        self._moved.pop(tag, None)
        low, high = self._channel_of[tag].shown_limits
        return done.GasApplied(
            tag, self._channel_of[tag].clean_reading, UNTOLD_S, min(low, 0.0), high
        )

    def _bump(self, step: Bump | AdapterOff, begun_s: float, done_s: float) -> done.GasApplied:
        """Only the channel's own gas at full flow comes to a level that is known beforehand."""
        tag = step.channel
        if isinstance(step, AdapterOff):
            if step.clean is None:
                return self._untold(tag)
            self._moved[tag] = _Moved(begun_s, done_s, StepTo(step.clean), (step.clean,) * 2)
            return done.GasApplied(tag, step.clean, 0.0, step.clean, step.clean)
        if not step.own or (step.share < 1.0 and step.in_room):
            return self._untold(tag)
        starts = self._gas_between(tag, begun_s, done_s)
        if step.in_room:
            starts = self._channel_of[tag].shown_limits
        least, most = min(*starts, step.reads), max(*starts, step.reads)
        if step.share < 1.0:
            self._moved.pop(tag, None)
            return done.GasApplied(tag, step.reads, UNTOLD_S, least, most)
        self._moved[tag] = _Moved(begun_s, done_s, StepTo(step.reads), starts)
        return done.GasApplied(tag, step.reads, step.dead_s, least, most)

    def _gas(self, step: Gas | Bump | AdapterOff, begun_s: float, done_s: float) -> done.GasApplied:
        if not isinstance(step, Gas):
            return self._bump(step, begun_s, done_s)
        channel = self._channel_of[step.channel]
        starts = self._gas_between(step.channel, begun_s, done_s)
        self._moved[step.channel] = _Moved(begun_s, done_s, step.profile, starts)
        near = ARRIVED * channel.span
        return done.GasApplied(
            step.channel,
            step.profile.final,
            max(travel_s(step.profile, start, near) for start in starts),
            min(bounds(step.profile, start)[0] for start in starts),
            max(bounds(step.profile, start)[1] for start in starts),
        )

    def _gas_between(self, tag: str, begun_s: float, done_s: float) -> tuple[float, float]:
        """Lowest and highest gas that may have been there between the two instants."""
        moved = self._moved.get(tag)
        if moved is None:
            clean = self._channel_of[tag].clean_reading
            return clean, clean
        first, last = max(0.0, begun_s - moved.done_s), max(0.0, done_s - moved.begun_s)
        gases = [
            gas_after(moved.profile, start, elapsed_s)
            for start in moved.starts
            for elapsed_s in (first, last, *_corners(moved.profile, first, last))
        ]
        return min(gases), max(gases)


def _corners(profile: Profile, first_s: float, last_s: float) -> Iterator[float]:
    """Where between the two a profile may turn; the others go one way all along."""
    if isinstance(profile, Recorded):
        yield from (at_s for at_s in profile.times_s if first_s < at_s < last_s)


def expectation_of(
    step: Expect, number: int, from_s: float, script: str, since_s: float | None = None
) -> done.Expectation:
    """The author's expectation, counted from `from_s` seconds of the run; `since_s`: the earliest
    instant from which it may count."""
    return done.Expectation(
        id=step.id or f"{script}/{number}",
        fact=step.fact,
        from_s=from_s,
        within_s=step.within_s,
        value=step.value,
        between=step.between,
        for_s=step.for_s,
        since_s=since_s,
    )
