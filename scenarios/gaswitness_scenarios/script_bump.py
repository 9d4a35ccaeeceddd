"""Bump tests with a cylinder, from their records: what the gas is to each detector, and what a
person is told to do. How tube and flow act is the record's affair.
"""

from collections.abc import Iterator
from typing import Any, Protocol

from gaswitness_scenarios import bump_words, words
from gaswitness_scenarios.bump_record import BumpRecord
from gaswitness_scenarios.schedule import Planned
from gaswitness_scenarios.script import AdapterOff, Bump, Step
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.gas_amounts import fraction_per_unit
from gaswitness_sitefile.gases import find_gas
from gaswitness_sitefile.problems import Loc
from gaswitness_sitefile.rooms import gas_key
from gaswitness_sitefile.site import Site


class Within(Protocol):
    """What builds a script's steps: knows the site, and collects what is wrong. `adapters`: until
    when a channel's detector has the adapter on."""

    site: Site
    adapters: dict[str, float]

    def refuse(self, loc: Loc, what: str, remedy: str) -> None:
        """Note a problem."""

    def channels(self, names: tuple[str, ...] | None, loc: Loc) -> list[Channel]:
        """The channels of those tags; problems for those that are not there."""

    def gas_gone(self, tag: str) -> None:
        """From now on the channel's detector meets the air around it."""

    def level(self, written: float | str, channel: Channel, loc: Loc) -> float | None:
        """The level of gas in the channel's unit; a problem where it is none."""


def bump_steps(within: Within, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
    """Gas led to the detectors of the record; when its time is over, their adapters taken off."""
    record, loc = planned.record.bump, (*planned.loc, "bump")
    if record is None:
        return
    if planned.ends:
        yield from _adapters_off(within, record, base)
        return
    for channel in within.channels(record.channel, (*loc, "channel")):
        gas = record.gas or channel.gas
        level = _concentration(within, record, channel, gas, loc)
        if level is None or still_on(within, channel, base["at_s"], (*loc, "channel")):
            continue
        within.adapters[channel.tag] = base["at_s"] + record.over_s
        where = words.called(within.site, channel.tag)
        yield Bump(
            **base,
            words=bump_words.begin_words(record, channel, where, gas, level),
            channel=channel.tag,
            gas=gas,
            reads=reads(channel, gas, level),
            own=_own(channel, gas),
            share=record.share,
            dead_s=record.dead_s,
            in_room=channel.room is not None,
            caution=bump_words.caution(gas),
        )


def still_on(within: Within, channel: Channel, at_s: float, loc: Loc) -> bool:
    """Whether the channel's detector has an adapter on; a problem if so."""
    until_s = within.adapters.get(channel.tag, 0.0)
    if at_s >= until_s - 1e-6:
        return False
    what = f"{channel.tag} has the adapter of a bump test on until {words.number(until_s)} s"
    within.refuse(loc, what, "wait with hold_s until it is off")
    return True


def reads(channel: Channel, gas: str, level: float) -> float:
    """What `level` of the gas in clean air is to the channel's detector; both in its unit.

    Another gas shows by its cross-sensitivity, not at all without one, and takes the place of the
    clean air, of oxygen too.
    """
    if _own(channel, gas):
        return level
    shares = {gas_key(name): share for name, share in channel.cross_sensitivity.items()}
    taken = level * (fraction_per_unit(gas, channel.unit) or 0.0)
    left = channel.clean_reading * max(0.0, 1.0 - taken)
    return left + shares.get(gas_key(gas), 0.0) * level


def _own(channel: Channel, gas: str) -> bool:
    return gas_key(gas) == gas_key(channel.gas)


def _concentration(
    within: Within, record: BumpRecord, channel: Channel, gas: str, loc: Loc
) -> float | None:
    known = [channel.gas, *channel.cross_sensitivity]
    if find_gas(gas) is None and gas_key(gas) not in map(gas_key, known):
        what = f"no gas is called '{gas}', and {channel.tag} has no cross_sensitivity to it"
        within.refuse((*loc, "gas"), what, f"write its formula, or leave it out for {channel.gas}")
        return None
    if not _own(channel, gas) and isinstance(record.concentration, str):
        what = f"'{record.concentration}' is a level of {channel.gas}, not of {gas}"
        within.refuse((*loc, "concentration"), what, f"write a number, in {channel.unit} of {gas}")
        return None
    return within.level(record.concentration, channel, (*loc, "concentration"))


def _adapters_off(within: Within, record: BumpRecord, base: dict[str, Any]) -> Iterator[Step]:
    site = within.site
    tags = list(site.channel_of) if record.channel == ("all",) else record.channel
    for channel in (site.channel_of[tag] for tag in tags if tag in site.channel_of):
        within.gas_gone(channel.tag)
        yield AdapterOff(
            **{**base, "said": ""},
            words=bump_words.end_words(channel, words.called(site, channel.tag)),
            channel=channel.tag,
            clean=channel.clean_reading if channel.room is None else None,
        )
