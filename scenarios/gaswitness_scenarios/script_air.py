"""Steps that change the air of rooms, or sensors and loops, from their records. No panel here."""

from collections.abc import Iterator
from typing import Any, Final, Protocol

from gaswitness_scenarios import words
from gaswitness_scenarios.schedule import Planned
from gaswitness_scenarios.script import Drift, Leak, Loop, Purge, RoomAir, Step
from gaswitness_scenarios.script_file import GasRecord
from gaswitness_simulator.loop import Band, band
from gaswitness_sitefile.channel import Channel, SignalKind
from gaswitness_sitefile.gases import find_gas
from gaswitness_sitefile.problems import Loc, one_of
from gaswitness_sitefile.rooms import gas_key
from gaswitness_sitefile.site import Site

AIR: Final = frozenset(("leak", "purge", "drift", "calibrate", "loop"))
"""Keys of the steps made here."""


class Within(Protocol):
    """What builds a script's steps: knows the site, and collects what is wrong."""

    site: Site

    def refuse(self, loc: Loc, what: str, remedy: str) -> None:
        """Note a problem."""

    def channels(self, names: tuple[str, ...] | None, loc: Loc) -> list[Channel]:
        """The channels of those tags; problems for those that are not there."""


def air_steps(within: Within, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
    """The steps of one record of those in AIR."""
    record, loc = planned.record, planned.loc
    if record.leak is not None:
        leak = record.leak
        named = _named_gas(within, leak.gas, (*loc, "leak", "gas"))
        if _known(within, leak.room, (*loc, "leak", "room")) and named:
            said = words.leak_words(_called(within, leak.room), leak.gas, leak.flow_m3_h)
            yield Leak(**base, words=said, **leak.model_dump())
    elif record.purge is not None:
        purge = record.purge
        if _known(within, purge.room, (*loc, "purge", "room")):
            said = words.purge_words(_called(within, purge.room), purge.flow_m3_h)
            yield Purge(**base, words=said, **purge.model_dump())
    elif record.drift is not None:
        drift = record.drift
        span = None if drift.span_percent is None else drift.span_percent / 100
        names = within.channels(drift.channel, (*loc, "drift", "channel"))
        yield from _drifts(within, names, base, drift.zero, span, drift.over_s or 0.0)
    elif record.calibrate is not None:
        names = within.channels(record.calibrate.channel, (*loc, "calibrate", "channel"))
        yield from _drifts(within, names, base, 0.0, 1.0, 0.0)
    elif record.loop is not None:
        yield from _loops(within, planned, base)


def _named_gas(within: Within, name: str, loc: Loc) -> bool:
    """Whether the gas is one that the tables, the rooms or a detector of the site know."""
    site = within.site
    known = [channel.gas for channel in site.channels]
    known += [gas for channel in site.channels for gas in channel.cross_sensitivity]
    known += [gas for room in site.rooms for gas in room.background_ppm]
    if find_gas(name) is not None or gas_key(name) in map(gas_key, known):
        return True
    within.refuse(loc, f"no gas is called '{name}'", one_of(name, dict.fromkeys(known)))
    return False


def room_steps(within: Within, record: GasRecord, loc: Loc, base: dict[str, Any]) -> Iterator[Step]:
    """Gas taken away from detectors that stand in rooms."""
    for channel in within.channels(record.channel, (*loc, "channel")):
        if channel.room is None:
            what = f"{channel.tag} stands in no room"
            within.refuse((*loc, "to"), what, "write to: clean, or room: for the channel")
            continue
        where = words.called(within.site, channel.tag)
        said = f"Take the gas away from {where}, back to the air of {channel.room}"
        yield RoomAir(**base, words=said, channel=channel.tag)


def _drifts(
    within: Within,
    channels: list[Channel],
    base: dict[str, Any],
    zero: float | None,
    span: float | None,
    over_s: float,
) -> Iterator[Step]:
    for channel in channels:
        where = words.called(within.site, channel.tag)
        said = words.drift_words(channel, where, zero, span, over_s)
        yield Drift(**base, words=said, channel=channel.tag, zero=zero, span=span, over_s=over_s)


def _loops(within: Within, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
    record, loc = planned.record.loop, (*planned.loc, "loop")
    if record is None:
        return
    for channel in within.channels(record.channel, (*loc, "channel")):
        if channel.signal is not SignalKind.LOOP:
            what = f"{channel.tag} has no loop"
            within.refuse((*loc, "channel"), what, "write signal: 4-20 mA for the channel")
            continue
        asked = [record.current_ma]
        if record.current_ma is not None and band(record.current_ma) is Band.MEASURES:
            # Mending a failure and measuring something else are two things to tell the probe.
            asked = [None, *asked]
        for current_ma in asked:
            said = words.loop_words(words.called(within.site, channel.tag), current_ma)
            yield Loop(**base, words=said, channel=channel.tag, current_ma=current_ma)


def _known(within: Within, tag: str, loc: Loc) -> bool:
    known = [room.tag for room in within.site.rooms]
    if tag in known:
        return True
    if "{" not in tag:
        remedy = one_of(tag, known) if known else "add it to rooms: of the site file"
        within.refuse(loc, f"the site has no room '{tag}'", remedy)
    return False


def _called(within: Within, tag: str) -> str:
    name = next(room.name for room in within.site.rooms if room.tag == tag)
    return f"{tag} ({name})" if name else tag
