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
    Expect,
    Fault,
    Gas,
    Hold,
    Inhibit,
    Input,
    LinkCleared,
    LinkSpoilt,
    Look,
    PanelFault,
    Power,
    Press,
    Say,
    Step,
)
from gaswitness_simulator import stimulus as sim
from gaswitness_sitefile.site import Site

ARRIVED: Final = 0.001
"""An exponential has arrived when this part of the channel's span remains."""


def stimulus_of(step: Step) -> sim.Stimulus | None:
    """What the step does to a virtual panel; None where it does nothing."""
    match step:
        case Gas():
            return sim.GasTo(step.channel, _profile(step.profile))
        case Fault(drop_out=True):
            return sim.DropOut(step.channel, step.on)
        case Fault():
            return sim.ChannelFault(step.channel, step.on)
        case Inhibit():
            return sim.Inhibit(step.channel, step.on)
        case Input():
            return sim.InputSet(step.tag, step.on)
        case Press():
            return sim.Press(step.key)
        case Power():
            return sim.Power(step.on)
        case PanelFault():
            return sim.PanelFault(step.on)
        case Say() | Hold() | Expect() | Look() | LinkSpoilt() | LinkCleared():
            return None


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

    def applied(self, step: Step, begun_s: float, done_s: float) -> done.Applied | None:
        """The step as an action that happened between the two instants; None where it is none."""
        action = self._action(step, begun_s, done_s)
        return None if action is None else done.Applied(begun_s, done_s, action)

    def _action(self, step: Step, begun_s: float, done_s: float) -> done.Action | None:
        match step:
            case Gas():
                return self._gas(step, begun_s, done_s)
            case Fault():
                return done.FaultMade(step.channel, step.on, step.drop_out)
            case Inhibit():
                return done.InhibitSet(step.channel, step.on)
            case Input():
                return done.InputMade(step.tag, step.on)
            case Press():
                return done.KeyPressed(step.key)
            case Power():
                return done.PowerSet(step.on)
            case PanelFault():
                return done.PanelFaultMade(step.on)
            case Say() | Hold() | Expect() | Look() | LinkSpoilt() | LinkCleared():
                return None

    def _gas(self, step: Gas, begun_s: float, done_s: float) -> done.GasApplied:
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


def expectation_of(step: Expect, number: int, from_s: float, script: str) -> done.Expectation:
    """The author's expectation, counted from `from_s` seconds of the run."""
    return done.Expectation(
        id=step.id or f"{script}/{number}",
        fact=step.fact,
        from_s=from_s,
        within_s=step.within_s,
        value=step.value,
        between=step.between,
        for_s=step.for_s,
    )
