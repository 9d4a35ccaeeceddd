"""Whether a fact that a cause or a point names is one that this panel has."""

from collections.abc import Iterable
from typing import Any

from gaswitness_sitefile.channel import EXPOSURES, LEVEL_NAMES, Channel, SignalKind
from gaswitness_sitefile.draft import Draft, Section
from gaswitness_sitefile.event_log import EVENT_PARTS, is_event_number
from gaswitness_sitefile.matrix import ANY_CAUSES, CHANNEL_CAUSES, PANEL_CAUSES, Fact
from gaswitness_sitefile.points import (
    ANY_SHOWS,
    CHANNEL_SHOWS,
    COMMANDS,
    INPUT_SHOWS,
    OUTPUT_SHOWS,
    PANEL_SHOWS,
    PLAIN_SHOWS,
)
from gaswitness_sitefile.problems import one_of

Fault = tuple[str, str] | None
"""What is wrong and the remedy, or nothing."""


def cause_fault(draft: Draft, fact: Fact) -> Fault:
    """What is wrong with a fact in a cause."""
    subject, aspect = fact.subject, fact.what
    if subject == "panel":
        return _aspect(fact, PANEL_CAUSES)
    if subject == "any":
        return _aspect(fact, ANY_CAUSES) or _any_level(draft, aspect)
    if subject in draft.channels.names("tag"):
        return _aspect(fact, CHANNEL_CAUSES) or _level(draft, subject, aspect)
    if subject in draft.inputs.names("tag"):
        return _aspect(fact, INPUT_SHOWS)
    if subject in draft.outputs.names("tag"):
        what = f"{subject} is an output, and outputs are effects"
        return what, "write the causes that drive it instead"
    if not _sure(draft, outputs=False):
        return None
    known = [*draft.channels.names("tag"), *draft.inputs.names("tag"), "panel", "any"]
    return f"{subject!r} is no known tag", one_of(subject, known)


def shown_fault(draft: Draft, shows: str) -> Fault:
    """What is wrong with what a point, or a bit of one, shows."""
    subject, dot, aspect = shows.partition(".")
    if not dot:
        return None if subject in PLAIN_SHOWS else _plain(draft, shows)
    fact = Fact(subject, aspect)
    if subject == "panel":
        return _aspect(fact, (*PANEL_SHOWS, *(name.partition(".")[2] for name in COMMANDS)))
    if subject == "any":
        return _aspect(fact, ANY_SHOWS) or _any_level(draft, aspect)
    if subject == "events":
        if is_event_number(aspect):
            return None
        parts = (f"events.1.{part}" for part in EVENT_PARTS)
        return f"{shows!r} is not in the event log", one_of(shows, ("events.count", *parts))
    if subject in draft.channels.names("tag"):
        return _aspect(fact, CHANNEL_SHOWS) or _level(draft, subject, aspect)
    if subject in draft.inputs.names("tag"):
        return _aspect(fact, INPUT_SHOWS)
    if subject in draft.outputs.names("tag"):
        return _aspect(fact, OUTPUT_SHOWS)
    if not _sure(draft, outputs=True):
        return None
    return f"{subject!r} is no known tag", one_of(subject, (*_tags(draft), "panel", "any"))


def _plain(draft: Draft, shows: str) -> Fault:
    if shows in (*_tags(draft), "panel", "any"):
        devices = (*draft.inputs.names("tag"), *draft.outputs.names("tag"))
        aspect = "active" if shows in devices else "fault"
        return f"shows {shows!r} does not say which aspect", f"write for example {shows}.{aspect}"
    return f"shows {shows!r} is not known", one_of(shows, (*PLAIN_SHOWS, *_readings(draft)))


def _readings(draft: Draft) -> list[str]:
    return [f"{tag}.reading" for tag in draft.channels.names("tag")]


def _tags(draft: Draft) -> list[str]:
    return [
        *draft.channels.names("tag"),
        *draft.inputs.names("tag"),
        *draft.outputs.names("tag"),
    ]


def _sure(draft: Draft, *, outputs: bool) -> bool:
    """Whether the lists of tags were read, so that a tag not in them is unknown."""
    sections: list[Section[Any]] = [draft.channels, draft.inputs]
    if outputs:
        sections.append(draft.outputs)
    return all(section.tags_are_all for section in sections)


def _aspect(fact: Fact, known: Iterable[str]) -> Fault:
    names = list(known)
    if fact.what in names:
        return None
    what = f"{fact.subject} has no aspect {fact.what!r}"
    return what, one_of(str(fact), [f"{fact.subject}.{name}" for name in names])


def _level(draft: Draft, tag: str, aspect: str) -> Fault:
    name = aspect.partition(".")[0]
    mine = [c for c in draft.channels.good.values() if c.tag == tag]
    if mine and name in EXPOSURES:
        return _exposure(mine[0], name)
    if mine and name == "current" and mine[0].signal is not SignalKind.LOOP:
        return f"{tag} has no loop current", "write signal: 4-20 mA for the channel"
    if name not in LEVEL_NAMES:
        return None
    if not mine or name in mine[0].levels:
        return None
    has = ", ".join(mine[0].levels) or "none"
    return f"{tag} has no alarm level {name}", f"its levels: {has}; add {name}, or name another"


def _exposure(channel: Channel, name: str) -> Fault:
    if channel.exposure is not None and name in channel.exposure.limits:
        return None
    what = f"{channel.tag} has no {name}"
    return what, f"write exposure: {{{name.lower()}: LIMIT}} for the channel"


def _any_level(draft: Draft, aspect: str) -> Fault:
    if aspect not in LEVEL_NAMES or not draft.channels.whole or not draft.channels.raw:
        return None
    if any(aspect in channel.levels for channel in draft.channels.good.values()):
        return None
    return f"no channel has an alarm level {aspect}", "name a level that channels have"
