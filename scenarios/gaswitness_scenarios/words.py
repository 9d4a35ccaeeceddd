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
            return (
                f"Apply {gas} to {where}, {way} from {number(start)} to "
                f"{number(profile.final)} {unit} over {number(over_s)} s"
            )
        case ExponentialTo(_, tau_s):
            return f"Apply {end} to {where}, {way} with a time constant of {number(tau_s)} s"
        case Recorded(name, times_s, _):
            return (
                f"Play the recorded gas {name} to {where}: {number(times_s[-1])} s, ending at {end}"
            )


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


def link_fault_words(fault: LinkFault) -> str:
    """Disturb the link."""
    return f"Disturb the link ({written_fault(fault)}): {summary(type(fault.kind))}"


def link_clear_words(kind: type[FaultKind] | None) -> str:
    """Leave the link alone."""
    return (
        "End every fault of the link" if kind is None else f"End the link fault {kind_name(kind)}"
    )
