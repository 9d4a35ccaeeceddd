"""Every single change of a panel's copy of a site file that a full test has to fail, with its name.

Pure. Which changes there are follows from the site file alone: its cells, votes, levels, channels
and outputs, one thing changed each.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations

import panel_changes as changes

from gaswitness_sitefile.channel import Direction, LevelsOnFault, ReadingOnFault
from gaswitness_sitefile.matrix import (
    AllOf,
    AnyOf,
    Cause,
    Fact,
    Not,
    Vote,
    facts_of,
)
from gaswitness_sitefile.points import FLOATS
from gaswitness_sitefile.site import InhibitActs, Site

MORE_S = 4.0
"""By how much more than a cell's allowance its delays are made longer, in seconds."""


@dataclass(frozen=True)
class SingleChange:
    """`kind` and `words` say what is changed. `named`: ids of verdicts, at least one of which has
    to be failed; `subjects`: tags that any failed verdict may name instead. `effect`: the output
    that a changed cell drives, whose verdict tells what is wrong where its cells cannot be told
    apart.
    """

    kind: str
    words: str
    change: Callable[[Site], Site] = field(repr=False)
    named: tuple[str, ...]
    subjects: tuple[str, ...] = ()
    effect: str = ""

    def is_named_by(self, verdict_id: str) -> bool:
        """Whether a failed verdict of this id leads to what was changed."""
        if verdict_id in self.named:
            return True
        kind, _, rest = verdict_id.partition("/")
        if kind == "cell":
            return rest.rpartition(" > ")[2] in self.subjects
        return kind in ("output", "flag", "point") and any(
            rest == tag or rest.startswith((f"{tag}.", f"{tag} ")) for tag in self.subjects
        )


def single_changes(site: Site) -> Iterator[SingleChange]:
    """All of them, in the order of the site file."""
    yield from _cells(site)
    yield from _swaps(site)
    yield from _causes(site)
    yield from _levels(site)
    yield from _channels(site)
    yield from _outputs(site)
    yield from _panel(site)


def extra_cells(site: Site) -> Iterator[SingleChange]:
    """Every crossing of the matrix that is empty, filled: an effect that nobody asked for."""
    causes = list(dict.fromkeys(cell.cause for cell in site.matrix))
    there = {(cell.cause, cell.effect) for cell in site.matrix}
    for cause in causes:
        for output in site.outputs:
            if (cause, output.tag) not in there:
                yield SingleChange(
                    "unasked effect",
                    f"{cause} drives {output.tag}, too",
                    _with_cell(cause, output.tag),
                    (f"output/{output.tag}",),
                    (output.tag,),
                )


def _with_cell(cause: str, effect: str) -> Callable[[Site], Site]:
    def change(site: Site) -> Site:
        more = site.matrix[0].model_copy(
            update={
                "cause": cause,
                "effect": effect,
                "on_delay_s": 0.0,
                "off_delay_s": 0.0,
                "latching": False,
            }
        )
        more.__dict__.pop("cause_tree", None)
        return site.model_copy(update={"matrix": (*site.matrix, more)})

    return change


def _cells(site: Site) -> Iterator[SingleChange]:
    for cell in site.matrix:
        named = (f"cell/{cell.id}",)
        later_s = cell.on_delay_s + cell.response_s + MORE_S
        longer_s = cell.off_delay_s + cell.response_s + MORE_S
        yield SingleChange(
            "cell missing", cell.id, changes.missing(cell.id), named, effect=cell.effect
        )
        updates = [("on-delay", {"on_delay_s": later_s}), ("off-delay", {"off_delay_s": longer_s})]
        if cell.on_delay_s > cell.response_s:
            updates.append(("on-delay", {"on_delay_s": 0.0}))
        if cell.off_delay_s > cell.response_s:
            updates.append(("off-delay", {"off_delay_s": 0.0}))
        updates.append(("latch", {"latching": not cell.latching}))
        for what, update in updates:
            (value,) = update.values()
            yield SingleChange(
                f"cell {what}",
                f"{cell.id}: {value}",
                changes.cell(cell.id, **update),
                named,
                effect=cell.effect,
            )


def _swaps(site: Site) -> Iterator[SingleChange]:
    driven = [output.tag for output in site.outputs if site.cells_of[output.tag]]
    for one, other in combinations(driven, 2):
        if _what_drives(site, one) == _what_drives(site, other):
            continue
        yield SingleChange(
            "outputs swapped", f"{one} and {other}", changes.crossed(one, other), (), (one, other)
        )


def _what_drives(site: Site, tag: str) -> set[str]:
    """The output's cells, without which output it is: where two have the same, none is swapped."""
    return {
        cell.model_copy(update={"effect": "", "note": ""}).model_dump_json()
        for cell in site.cells_of[tag]
    }


def _causes(site: Site) -> Iterator[SingleChange]:
    for cell in site.matrix:
        for cause in _other_causes(site, cell.cause_tree):
            yield SingleChange(
                "cause",
                f"{cell.id}: caused by {cause}",
                _caused(cell.id, str(cause)),
                (f"cell/{cell.id}",),
                effect=cell.effect,
            )


def _caused(name: str, cause: str) -> Callable[[Site], Site]:
    def change(site: Site) -> Site:
        changed = changes.cell(name, cause=cause)(site)
        for cell in changed.matrix:
            cell.__dict__.pop("cause_tree", None)
        return changed

    return change


def _other_causes(site: Site, cause: Cause) -> Iterator[Cause]:
    """The cause with one thing in it changed."""
    match cause:
        case Fact():
            yield from _other_levels(site, cause)
        case Vote():
            yield from _other_votes(site, cause)
        case AllOf(terms) | AnyOf(terms):
            for at in range(len(terms)):
                rest = (*terms[:at], *terms[at + 1 :])
                yield type(cause)(rest) if len(rest) > 1 else rest[0]
            yield from _in_one_term(site, terms, type(cause))
        case Not(term):
            yield term


def _other_levels(site: Site, fact: Fact) -> Iterator[Cause]:
    channel = site.channel_of.get(fact.subject)
    names = tuple(channel.levels) if channel is not None else ("A1", "A2")
    if fact.what in names:
        yield from (Fact(fact.subject, name) for name in names if name != fact.what)


def _other_votes(site: Site, vote: Vote) -> Iterator[Cause]:
    """One more or one fewer needed; a member left out, at another level, or of another channel."""
    need, terms = vote.need, vote.terms
    if need > 1:
        yield Vote(need - 1, terms)
    if need < len(terms):
        yield Vote(need + 1, terms)
        for at in range(len(terms)):
            yield Vote(need, (*terms[:at], *terms[at + 1 :]))
    yield from _in_one_term(site, terms, lambda found: Vote(need, found))
    inside = {fact.subject for fact in facts_of(vote)}
    for at, term in enumerate(terms):
        strangers = [
            Fact(channel.tag, term.what)
            for channel in site.channels
            if isinstance(term, Fact) and term.what in channel.levels and channel.tag not in inside
        ]
        for other in strangers[:1]:
            yield Vote(need, (*terms[:at], other, *terms[at + 1 :]))


def _in_one_term(
    site: Site, terms: tuple[Cause, ...], made: Callable[[tuple[Cause, ...]], Cause]
) -> Iterator[Cause]:
    for at, term in enumerate(terms):
        for other in _other_causes(site, term):
            yield made((*terms[:at], other, *terms[at + 1 :]))


def _levels(site: Site) -> Iterator[SingleChange]:
    for channel in site.channels:
        for name, level in channel.levels.items():
            turned = {Direction.RISING: Direction.FALLING, Direction.FALLING: Direction.RISING}
            updates = [
                ("setpoint", {"setpoint": level.setpoint * 1.1}),
                ("setpoint", {"setpoint": level.setpoint * 0.9}),
                ("hysteresis", {"hysteresis": level.hysteresis * 4}),
                ("hysteresis", {"hysteresis": 0.0}),
                ("direction", {"direction": turned[level.direction]}),
                ("latch", {"latching": not level.latching}),
                ("on-delay", {"on_delay_s": level.on_delay_s + 10.0}),
            ]
            if level.on_delay_s:
                updates.append(("on-delay", {"on_delay_s": 0.0}))
            for what, update in updates:
                (value,) = update.values()
                yield SingleChange(
                    f"level {what}",
                    f"{channel.tag}.{name}: {value}",
                    changes.level(channel.tag, name, **update),
                    (f"level/{channel.tag}.{name}",),
                )


def _channels(site: Site) -> Iterator[SingleChange]:
    for channel in site.channels:
        levels = tuple(f"level/{channel.tag}.{name}" for name in channel.levels)
        points = [one for one in site.points if one.shows == f"{channel.tag}.reading"]
        floats = all(one.type in FLOATS for one in points)
        marked = all(one.sentinel is not None for one in points)
        for rule in LevelsOnFault:
            if rule is not channel.levels_on_fault and levels:
                yield SingleChange(
                    "levels on fault",
                    f"{channel.tag}: {rule}",
                    changes.channel(channel.tag, levels_on_fault=rule),
                    levels,
                )
        shown = (f"reading/{channel.tag}", *(f"point/{one.name}" for one in points))
        for reads in ReadingOnFault:
            possible = {ReadingOnFault.NAN: floats, ReadingOnFault.SENTINEL: marked}
            if reads is not channel.on_fault and possible.get(reads, True) and points:
                yield SingleChange(
                    "reading on fault",
                    f"{channel.tag}: {reads}",
                    changes.channel(channel.tag, on_fault=reads),
                    shown,
                )
        yield SingleChange(
            "fault delay",
            f"{channel.tag}: {channel.fault_delay_s + 10:g}",
            changes.channel(channel.tag, fault_delay_s=channel.fault_delay_s + 10.0),
            (f"flag/{channel.tag}.fault",),
        )


def _outputs(site: Site) -> Iterator[SingleChange]:
    for output in site.outputs:
        for what in ("normally_energised", "mutable"):
            value = not getattr(output, what)
            yield SingleChange(
                what,
                f"{output.tag}: {value}",
                changes.output(output.tag, **{what: value}),
                (),
                (output.tag,),
            )


def _panel(site: Site) -> Iterator[SingleChange]:
    other = {
        InhibitActs.EFFECTS: InhibitActs.LEVELS,
        InhibitActs.LEVELS: InhibitActs.EFFECTS,
    }[site.behaviour.inhibit]
    yield SingleChange(
        "inhibit",
        str(other),
        lambda found: found.model_copy(
            update={"behaviour": found.behaviour.model_copy(update={"inhibit": other})}
        ),
        tuple(f"level/{one.tag}.{name}" for one in site.channels for name in one.levels),
    )
    for factor in (0.3, 2.0):
        if not site.timing.warm_up_s:
            continue
        yield SingleChange(
            "warm-up",
            f"{factor:g} times as long",
            _warm_up(factor),
            ("flag/panel.warm_up",),
        )


def _warm_up(factor: float) -> Callable[[Site], Site]:
    def change(site: Site) -> Site:
        timing = site.timing.model_copy(update={"warm_up_s": site.timing.warm_up_s * factor})
        return site.model_copy(update={"timing": timing})

    return change
