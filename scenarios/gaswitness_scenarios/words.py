"""What a person is told to do at a step, in one sentence each."""

from gaswitness_scenarios.gas_profile import ExponentialTo, Profile, RampTo, Recorded, StepTo
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.devices import DigitalInput
from gaswitness_sitefile.link_fault import FaultKind, LinkFault, summary
from gaswitness_sitefile.link_fault_text import kind_name, written_fault
from gaswitness_sitefile.site import Site


def called(site: Site, tag: str) -> str:
    """The tag with its name beside it, where it has one."""
    found = site.channel_of.get(tag) or site.input_of.get(tag) or site.output_of.get(tag)
    return f"{tag} ({found.name})" if found is not None and found.name else tag


def number(value: float) -> str:
    """A number as people write it: six digits, no zeros behind."""
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"


def gas_words(channel: Channel, where: str, start: float, profile: Profile) -> str:
    """Apply this gas."""
    unit, gas = channel.unit, channel.gas
    end = f"{number(profile.final)} {unit} {gas}"
    way = "rising" if profile.final >= start else "falling"
    match profile:
        case StepTo(level):
            if level == channel.clean_reading:
                return f"Return {where} to clean air"
            return f"Apply {end} to {where}"
        case RampTo(_, over_s):
            verb = "Raise" if profile.final >= start else "Lower"
            return (
                f"{verb} {gas} at {where} slowly from {number(start)} to "
                f"{number(profile.final)} {unit} over {_time(over_s)}"
            )
        case ExponentialTo(_, tau_s):
            return f"Apply {end} to {where}, {way} with a time constant of {number(tau_s)} s"
        case Recorded(name, times_s, _):
            return (
                f"Play the recorded gas {name} to {where}: {number(times_s[-1])} s, ending at {end}"
            )


def _time(seconds: float) -> str:
    """Seconds; whole and half minutes from two minutes on."""
    minutes = seconds / 60
    return f"{number(minutes)} min" if minutes >= 2 and not seconds % 30 else f"{number(seconds)} s"


def fault_words(where: str, *, on: bool, drop_out: bool) -> str:
    """Put in fault, mend, take off the bus, bring back."""
    if drop_out:
        return f"Take the detector {where} off its bus" if on else f"Put {where} back on its bus"
    return f"Put {where} in sensor fault" if on else f"Mend the sensor fault of {where}"


def inhibit_words(where: str, *, on: bool) -> str:
    """Set or take away an inhibit."""
    return f"Inhibit {where}" if on else f"Take the inhibit of {where} away"


def input_words(found: DigitalInput, where: str, *, on: bool) -> str:
    """Make a contact active or not."""
    return f"Make the {found.kind} {where} {'active' if on else 'inactive'}"


def power_words(*, on: bool) -> str:
    """Switch the supply."""
    return f"Switch the panel's supply {'on' if on else 'off, battery included'}"


def panel_fault_words(*, on: bool) -> str:
    """Make or mend a fault of the panel."""
    return "Make a fault of the panel itself" if on else "Mend the fault of the panel itself"


def leak_words(room: str, gas: str, flow_m3_h: float) -> str:
    """Let gas into a room, or stop it."""
    if flow_m3_h == 0:
        return f"Stop the leak of {gas} into {room}"
    return f"Let {gas} leak into {room}, {number(flow_m3_h)} m3/h"


def purge_words(room: str, flow_m3_h: float) -> str:
    """Blow fresh air through a room, or stop it."""
    if flow_m3_h == 0:
        return f"Stop purging {room}"
    return f"Purge {room} with {number(flow_m3_h)} m3/h of fresh air"


def drift_words(
    channel: Channel, where: str, zero: float | None, span: float | None, over_s: float
) -> str:
    """Let a sensor age, or calibrate it."""
    if (zero, span, over_s) == (0.0, 1.0, 0.0):
        return f"Calibrate {where}"
    errors = [] if zero is None else [f"zero {number(zero)} {channel.unit}"]
    errors += [] if span is None else [f"span {number(100 * span)} %"]
    over = f" over {number(over_s)} s" if over_s else ""
    return f"Let the sensor of {where} go to {', '.join(errors)}{over}"


def loop_words(where: str, current_ma: float | None) -> str:
    """Force a loop's current, or leave it."""
    if current_ma is None:
        return f"Give the loop of {where} back to its detector"
    return f"Force the loop of {where} to {number(current_ma)} mA"


def link_fault_words(fault: LinkFault) -> str:
    """Disturb the link."""
    return f"Disturb the link ({written_fault(fault)}): {summary(type(fault.kind))}"


def link_clear_words(kind: type[FaultKind] | None) -> str:
    """Leave the link alone."""
    return (
        "End every fault of the link" if kind is None else f"End the link fault {kind_name(kind)}"
    )
