"""Design rules of the cause-and-effect matrix and the devices that it drives."""

from collections.abc import Iterator
from itertools import product
from typing import Final

from gaswitness_sitefile.channel import LEVEL_NAMES, Direction
from gaswitness_sitefile.devices import Output, OutputKind
from gaswitness_sitefile.matrix import AllOf, AnyOf, Cause, Fact, Not, Vote, facts_of
from gaswitness_sitefile.rules.rule import Findings, Rule
from gaswitness_sitefile.site import Site

_MOST_NAMED: Final = 6
"""So many channels are named in one finding."""

_MOST_FACTS: Final = 12
"""Causes of more facts than this are not tried out in every combination."""


def _used(site: Site) -> set[str]:
    return {str(fact) for cell in site.matrix for fact in facts_of(cell.cause_tree)}


def _fault_drives_nothing(site: Site) -> Findings:
    used = _used(site)
    if used & {"panel.fault", "any.fault"}:
        return
    for index, channel in enumerate(site.channels):
        if f"{channel.tag}.fault" not in used:
            yield ("channels", index, "tag"), f"a fault of {channel.tag} drives no effect"


def _level_drives_nothing(site: Site) -> Findings:
    used = _used(site)
    for index, channel in enumerate(site.channels):
        for name in channel.levels:
            if not used & {f"{channel.tag}.{name}", f"any.{name}"}:
                yield ("channels", index, "levels", name), f"{channel.tag}.{name} drives no effect"


def _no_cause(site: Site) -> Findings:
    for index, output in enumerate(site.outputs):
        if not site.cells_of[output.tag]:
            yield (
                ("outputs", index, "tag"),
                f"nothing drives {output.tag}: no cell has it as effect",
            )


def _never_or_always(site: Site, *, always: bool) -> Findings:
    for index, cell in enumerate(site.matrix):
        values = set(_possible(site, cell.cause_tree))
        if always and values == {True}:
            yield ("matrix", index, "cause"), f"the cause {cell.cause} always stands"
        if not always and True not in values:
            why = _why_never(site, cell.cause_tree)
            yield ("matrix", index, "cause"), f"the cause {cell.cause} can never come{why}"


def _never(site: Site) -> Findings:
    return _never_or_always(site, always=False)


def _always(site: Site) -> Findings:
    return _never_or_always(site, always=True)


def _possible(site: Site, cause: Cause) -> Iterator[bool]:
    """Every value that the cause can have, over all combinations of its facts.

    None of a channel's facts counts while it is inhibited, its inhibit aside (panel's rule 5).
    """
    facts = sorted({str(fact): fact for fact in facts_of(cause)}.items())
    free = [name for name, fact in facts if not _impossible(site, fact)]
    if len(free) > _MOST_FACTS:
        yield from (True, False)
        return
    dead = {name: False for name, fact in facts if _impossible(site, fact)}
    for values in product((False, True), repeat=len(free)):
        shown = {**dead, **dict(zip(free, values, strict=True))}
        counted = {
            name: shown[name] and (fact.what == "inhibit" or not shown.get(_inhibit(fact), False))
            for name, fact in facts
        }
        yield _holds(cause, counted)


def _inhibit(fact: Fact) -> str:
    return f"{fact.subject}.inhibit"


def _holds(cause: Cause, facts: dict[str, bool]) -> bool:
    match cause:
        case Fact():
            return facts[str(cause)]
        case Not(term):
            return not _holds(term, facts)
        case AllOf(terms):
            return all(_holds(term, facts) for term in terms)
        case AnyOf(terms):
            return any(_holds(term, facts) for term in terms)
        case Vote(need, terms):
            return sum(_holds(term, facts) for term in terms) >= need


def _impossible(site: Site, fact: Fact) -> str:
    """Why the fact can never be true as a cause; empty where it can."""
    if fact.subject == "any":
        mine = [Fact(channel.tag, fact.what) for channel in site.channels]
        known = [
            f for f in mine if f.what == "fault" or f.what in site.channel_of[f.subject].levels
        ]
        whys = [_impossible(site, one) for one in known]
        return whys[0] if whys and all(whys) else ""
    channel = site.channel_of.get(fact.subject)
    if channel is None:
        return ""
    level = channel.levels.get(fact.what)
    if level is None:
        return ""
    low, high = channel.shown_limits
    if level.direction is Direction.RISING and level.setpoint > high:
        return f"{channel.tag} shows no more than {high:g}, and {fact} is at {level.setpoint:g}"
    if level.direction is Direction.FALLING and level.setpoint < low:
        return f"{channel.tag} shows no less than {low:g}, and {fact} is at {level.setpoint:g}"
    return ""


def _why_never(site: Site, cause: Cause) -> str:
    facts = list(facts_of(cause))
    whys = [why for fact in facts if (why := _impossible(site, fact))]
    if whys:
        return f": {whys[0]}"
    inhibit = next((str(fact) for fact in facts if fact.what == "inhibit"), None)
    if inhibit:
        return f": while {inhibit} stands, the channel's other facts do not count"
    return ": it contradicts itself"


def _is_fault(fact: Fact) -> bool:
    return fact.what == "fault"


def _fault_relay_not_failsafe(site: Site) -> Findings:
    for index, output in enumerate(site.outputs):
        if output.normally_energised or output.kind is not OutputKind.RELAY:
            continue
        for cell in site.cells_of[output.tag]:
            if all(_is_fault(fact) for fact in facts_of(cell.cause_tree)):
                yield (
                    ("outputs", index),
                    (f"{output.tag} acts on {cell.cause}, but is not normally energised"),
                )
                break


def _sounder_not_mutable(site: Site) -> Findings:
    for index, output in enumerate(site.outputs):
        if output.kind is OutputKind.SOUNDER and not output.mutable:
            yield ("outputs", index), f"the sounder {output.tag} cannot be muted"


def _latches_twice(site: Site) -> Findings:
    for index, cell in enumerate(site.matrix):
        if not cell.latching:
            continue
        twice = [
            str(fact)
            for fact in dict.fromkeys(facts_of(cell.cause_tree))
            if fact.what in LEVEL_NAMES
            and any(
                channel.levels[fact.what].latching
                for channel in site.channels
                if fact.what in channel.levels and fact.subject in (channel.tag, "any")
            )
        ]
        if twice:
            yield ("matrix", index), f"{cell.id}: both the cell and {twice[0]} latch"


def _idle_input(site: Site) -> Findings:
    used = _used(site)
    for index, found in enumerate(site.inputs):
        if f"{found.tag}.active" not in used:
            yield ("inputs", index, "tag"), f"the input {found.tag} is in no cause"


def _no_fault_relay(site: Site) -> Findings:
    """No relay acts on a fault of whichever channel."""
    relays = [one for one in site.outputs if one.kind is OutputKind.RELAY]
    unheard = [
        channel.tag
        for channel in site.channels
        if not any(
            _acts_on(site, relay, {f"{channel.tag}.fault", "any.fault", "panel.fault"})
            for relay in relays
        )
    ]
    if unheard:
        what = f"no relay acts on a fault of {', '.join(unheard[:_MOST_NAMED])}"
        yield ("outputs",), f"{what}{' and others' if unheard[_MOST_NAMED:] else ''}"


def _no_first_alarm_contact(site: Site) -> Findings:
    """Nothing but beacons and sounders acts on a first-level alarm of whichever channel."""
    contacts = [
        one
        for one in site.outputs
        if one.kind not in (OutputKind.BEACON, OutputKind.SOUNDER) and one.pulse_s is None
    ]
    unheard = [
        channel.tag
        for channel in site.channels
        if "A1" in channel.levels
        and not any(_acts_on(site, one, {f"{channel.tag}.A1", "any.A1"}) for one in contacts)
    ]
    if unheard:
        what = f"nothing but beacons and sounders acts on A1 of {', '.join(unheard[:_MOST_NAMED])}"
        yield ("outputs",), f"{what}{' and others' if unheard[_MOST_NAMED:] else ''}"


def _acts_on(site: Site, output: Output, true: set[str]) -> bool:
    """Whether the output acts where these facts are true and no others."""
    for cell in site.cells_of[output.tag]:
        values = {str(fact): str(fact) in true for fact in facts_of(cell.cause_tree)}
        if _holds(cell.cause_tree, values):
            return True
    return False


def _pulse_of_a_latch(site: Site) -> Findings:
    for index, cell in enumerate(site.matrix):
        output = site.output_of.get(cell.effect)
        if output is None or output.pulse_s is None:
            continue
        for named, given in (("latching", cell.latching), ("off_delay_s", cell.off_delay_s > 0)):
            if given:
                yield (
                    ("matrix", index, named),
                    f"{cell.id}: {named} does nothing, since {cell.effect} acts for its "
                    f"{output.pulse_s:g} s and no longer",
                )


MATRIX_RULES: Final = (
    Rule(
        "GW401",
        _fault_drives_nothing,
        "a dead detector would go unnoticed: fixed systems signal every fault",
        "IEC 60079-29-1, fault signals (from memory, clause not checked)",
    ),
    Rule("GW402", _no_cause, "the device does nothing, or a cell is missing"),
    Rule("GW403", _never, "the effect can never be tested, nor come when it is needed"),
    Rule(
        "GW404",
        _fault_relay_not_failsafe,
        "it stays silent when the supply is lost or the wire breaks",
        "common practice, no source (fail-safe: de-energise to signal a fault)",
    ),
    Rule("GW405", _sounder_not_mutable, "people who attend to an alarm cannot hear one another"),
    Rule(
        "GW406",
        _latches_twice,
        "a test cannot tell which of the two holds the effect; a broken latch stays hidden",
    ),
    Rule("GW407", _level_drives_nothing, "an alarm that does nothing is soon ignored"),
    Rule("GW408", _always, "the effect is on for ever"),
    Rule("GW409", _idle_input, "it is wired for nothing, or a cell is missing"),
    Rule(
        "GW410",
        _no_fault_relay,
        "one relay is kept for any fault, so that whoever watches the building hears of each",
    ),
    Rule(
        "GW411",
        _no_first_alarm_contact,
        "one relay is kept for any first-level alarm: else only those who see or hear it on the "
        "spot learn of it",
    ),
    Rule("GW412", _pulse_of_a_latch, "a test would look for what the panel cannot do"),
)
