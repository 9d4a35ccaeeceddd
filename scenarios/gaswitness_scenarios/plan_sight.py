"""What people are asked to look at. An output that a point shows is looked at once, acting and at
rest. Of one that no point shows, each cell needs looks of its own: nothing else tells that it
drives the output.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Final

from gaswitness_scenarios.plan_bench import Bench
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.devices import Output, OutputKind
from gaswitness_sitefile.matrix import Cell, facts_of

ACTING: Final = "witnessed acting"
AT_REST: Final = "witnessed at rest"
"""What a test claims of a cell, or of an output, that a person looks at."""


def cause_unseen(ground: Ground, cell: Cell) -> str:
    """Why no link can tell whether the cell's cause stands; empty where it can."""
    return "; ".join(_unseen(ground, cell))


def untold(ground: Ground, cell: Cell) -> str:
    """Why nothing of the cell can be proven: no link can tell whether its cause stands; or nothing
    but looks shows its output, and no link can tell whether another cell moves it."""
    own = cause_unseen(ground, cell)
    if own or ground.output_seen(cell.effect):
        return own
    others = [cause_unseen(ground, one) for one in ground.site.cells_of[cell.effect]]
    found = "; ".join(dict.fromkeys(why for why in others if why))
    return f"{found}, which moves {cell.effect}, too" if found else ""


def _unseen(ground: Ground, cell: Cell) -> Iterator[str]:
    for fact in dict.fromkeys(facts_of(ground.index.cause_of[cell.id])):
        if fact.what not in LEVEL_NAMES or fact.subject not in ground.site.channel_of:
            continue
        if not ground.level_known(fact.subject, fact.what):
            yield f"no point shows {fact} or the reading of {fact.subject}"
    if "panel.fault" in map(str, facts_of(cell.cause_tree)) and "panel.fault" not in ground.shown:
        yield "no point shows panel.fault"


def look_now(ground: Ground, bench: Bench, effects: Iterable[str]) -> None:
    """Ask a person about outputs that act now: each that was not yet looked at, and each for every
    cell of its own where no point shows it."""
    for tag in effects:
        if ground.looks == "none" or (ground.looks == "unshown" and ground.output_seen(tag)):
            continue
        own = not ground.output_seen(tag) and _for_cell(ground, bench, tag)
        if own or tag not in ground.looked:
            ground.looked.add(tag)
            bench.look(f"{tag}.active", question(ground.site.output_of[tag], acts=True))


def look_at_rest(ground: Ground, bench: Bench, tag: str) -> None:
    """Ask about an output that has gone to rest, if it was looked at while it acted: once, and for
    every cell of its own where no point shows it."""
    own = not ground.output_seen(tag) and _cell_gone(ground, bench, tag)
    if own or (tag in ground.looked and tag not in ground.seen_at_rest):
        ground.seen_at_rest.add(tag)
        bench.look(f"{tag}.active", question(ground.site.output_of[tag], acts=False))


def unseen_at_rest(ground: Ground, bench: Bench, effects: Iterable[str]) -> None:
    """Look at those of them that no point shows before another cell of theirs has its turn."""
    waiting = [tag for tag in dict.fromkeys(effects) if tag in bench.eyes_on]
    if waiting:
        bench.hold(max(0.0, bench.rests_in_s(waiting)))
    for tag in waiting:
        look_at_rest(ground, bench, tag)


def _for_cell(ground: Ground, bench: Bench, tag: str) -> bool:
    """Whether the output acts for one cell alone that nobody looked at it for."""
    acting = bench.acting.get(tag, set()) | bench.latched.get(tag, set())
    if len(acting) != 1 or acting <= ground.looked_for:
        return False
    (one,) = acting
    ground.looked_for.add(one)
    bench.eyes_on[tag] = (one, len(bench.came.get(tag, ())))
    _claim(ground, bench, tag, one, ACTING)
    return True


def _cell_gone(ground: Ground, bench: Bench, tag: str) -> bool:
    """Whether the output was looked at for a cell, and is at rest."""
    if tag not in bench.eyes_on or not bench.at_rest(tag):
        return False
    one, count = bench.eyes_on.pop(tag)
    if all(other == one for other in bench.came.get(tag, ())[count:]):
        _claim(ground, bench, tag, one, AT_REST)
    return True


def _claim(ground: Ground, bench: Bench, tag: str, cell_id: str, aspect: str) -> None:
    cell = next(one for one in ground.site.cells_of[tag] if one.id == cell_id)
    if not untold(ground, cell):
        bench.cover(cell_id, aspect)
        bench.claim(f"cell/{cell_id}: {aspect}")


_ACTS: Mapping[OutputKind, Callable[[Output], str]] = {
    OutputKind.SOUNDER: lambda one: f"Does {_named(one)} sound?",
    OutputKind.BEACON: lambda one: f"Is {_named(one)} lit?",
    OutputKind.VALVE: lambda one: f"Has {_named(one)} moved to its safe side?",
    OutputKind.FAN: lambda one: f"Does {_named(one)} run?",
    OutputKind.RELAY: lambda one: f"Has {_named(one)} switched, and what it drives with it?",
}
_RESTS: Mapping[OutputKind, Callable[[Output], str]] = {
    OutputKind.SOUNDER: lambda one: f"Does {_named(one)} still sound?",
    OutputKind.BEACON: lambda one: f"Is {_named(one)} still lit?",
    OutputKind.VALVE: lambda one: f"Is {_named(one)} still on its safe side?",
    OutputKind.FAN: lambda one: f"Does {_named(one)} still run?",
    OutputKind.RELAY: lambda one: f"Is {_named(one)} still switched over?",
}


def question(output: Output, *, acts: bool) -> str:
    """What a person is asked; a yes means that the output acts."""
    return (_ACTS if acts else _RESTS)[output.kind](output)


def _named(output: Output) -> str:
    return f"{output.tag} ({output.name})" if output.name else output.tag
