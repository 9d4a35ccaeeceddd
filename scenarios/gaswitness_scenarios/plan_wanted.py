"""What is to be shown of each cell: the kinds that apply to it, and why others do not.

From the site alone; which test shows it is another module's affair.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_sight import ACTING, AT_REST, untold
from gaswitness_scenarios.plan_stimuli import is_exposure, is_free, is_gas
from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.life_facts import BUS_FLAGS
from gaswitness_sitefile.matrix import Cell, Fact, facts_of

KINDS: Final = {
    "R": "rises in time, for each source that turns it alone",
    "U": "stays off just under the setpoint",
    "F": "falls with its cause",
    "L": "latches",
    "P": "stays through a reset with the cause present",
    "A": "goes by a reset after",
    "V": "each combination turns it, and one less does not",
    "M": "is muted",
    "S": "sounds again for a new cause",
    "I": "an inhibited channel moves nothing",
    "X": "a channel's fault",
    "D": "a detector's drop-out and return",
    "W": "power loss and return",
}
"""The kinds of a cell's proof, by the letter that the plan prints."""


@dataclass(frozen=True, slots=True)
class Want:
    """One kind of one cell. `shown`: whether a test of the plan shows it; else `why` not."""

    cell: Cell
    kind: str
    shown: bool
    why: str = ""


def kinds_of(ground: Ground, cell: Cell) -> Iterator[str]:
    """The kinds that apply to the cell, as `KINDS` orders them."""
    facts = dict.fromkeys(facts_of(ground.index.cause_of[cell.id]))
    channels = [one for one in facts if one.subject in ground.site.channel_of]
    levels = [one for one in channels if one.what in LEVEL_NAMES]
    output = ground.site.output_of[cell.effect]
    turns = ground.turns_of[cell.id]
    yield "R"
    if levels:
        yield "U"
    if output.pulse_s is None:
        yield "L" if cell.latching else "F"
        yield "P"
    if output.pulse_s is None and (cell.latching or any(latches(ground, fact) for fact in levels)):
        yield "A"
    if any(turn.standing for turn in turns):
        yield "V"
    if output.mutable:
        yield "M"
        yield "S"
    if channels:
        yield "I"
        yield "X"
        yield "D"
    yield "W"


def latches(ground: Ground, fact: Fact) -> bool:
    """Whether the level stays on until reset."""
    level = ground.site.channel_of[fact.subject].levels.get(fact.what)
    return level is not None and level.latching


def cannot_make(ground: Ground, fact: Fact) -> str:
    """Why a plan does not make the fact; empty where it does."""
    site = ground.site
    if is_exposure(fact):
        if fact in ground.exposures:
            return ""
        return f"{fact} takes {ground.exposure_words(fact)}"
    if fact.what in ("over_range", "under_range"):
        return f"{fact} is no alarm level: put gas there by hand, and add it to the plan"
    if is_free(site, fact):
        return ""
    if is_gas(site, fact):
        if fact.subject in ground.starving:
            return ground.starving[fact.subject]
        on = {
            name for ladder in ground.ladders[fact.subject] for rung in ladder for name in rung.on
        }
        return (
            ""
            if fact.what in on
            else f"{fact} stands in clean air, or lies beyond it the other way"
        )
    if fact.what in BUS_FLAGS:
        return f"{fact}: what is wrong on the bus is not planned: write its steps by hand"
    if fact.what == "warm_up":
        return f"{fact} comes with each return of the supply only"
    return f"{fact}: mains, battery and restarts are not planned: write their steps by hand"


def wants(ground: Ground, covers: frozenset[tuple[str, str]]) -> Iterator[Want]:
    """Every kind of every cell, and whether the plan shows it."""
    for cell in ground.site.matrix:
        facts = dict.fromkeys(facts_of(ground.index.cause_of[cell.id]))
        reasons = [why for fact in facts if (why := cannot_make(ground, fact))]
        blind = untold(ground, cell)
        for kind in kinds_of(ground, cell):
            why = _missing(ground, cell, kind, covers)
            if not why and (unseen := blind or _out_of_sight(ground, cell, kind, covers)):
                yield Want(cell, kind, shown=False, why=unseen)
                continue
            if why:
                why = "; ".join(dict.fromkeys(reasons)) or why
            yield Want(cell, kind, not why, why)


def _out_of_sight(ground: Ground, cell: Cell, kind: str, covers: frozenset[tuple[str, str]]) -> str:
    """Why what a test does is seen by nobody; empty where a point shows the output, or a person
    looks at it for that."""
    if ground.output_seen(cell.effect):
        return ""
    no = f"no point shows {cell.effect}.active"
    if (cell.id, ACTING) not in covers:
        return f"{no}, and no test has it act for this cell alone and asks a person to look"
    match kind:
        case "R":
            return f"{no}: a person's look tells that it acts, not within which time"
        case "F" | "A":
            return "" if (cell.id, AT_REST) in covers else f"{no}, and nobody looks at it then"
        case "M" | "S":
            return ""
        case _:
            return f"{no}, and nobody looks at it then"


def _missing(ground: Ground, cell: Cell, kind: str, covers: frozenset[tuple[str, str]]) -> str:
    """What the tests lack of a kind of the cell, in words; empty where it is all there."""
    facts = dict.fromkeys(facts_of(ground.index.cause_of[cell.id]))
    match kind:
        case "R" | "V":
            open_ = [
                turn
                for turn in ground.turns_of[cell.id]
                if bool(turn.standing) is (kind == "V") and (cell.id, turn) not in ground.done
            ]
            if kind == "R" and not ground.turns_of[cell.id]:
                return "nothing turns it alone"
            return "; ".join(
                f"{' with '.join(map(str, (turn.fact, *turn.standing)))} cannot move it with "
                "nothing else at its output"
                for turn in open_
            )
        case "U":
            missing = [
                fact
                for fact in facts
                if fact.what in LEVEL_NAMES and (str(fact), "U") not in covers
            ]
            dark = [one for one in missing if not ground.level_tells(one.subject, one.what)]
            if dark:
                return f"no point shows {', '.join(map(str, dark))}, nor what it drives"
            return f"no test of {', '.join(map(str, missing))}" if missing else ""
        case "X" | "D":
            tags = dict.fromkeys(f.subject for f in facts if f.subject in ground.site.channel_of)
            missing_tags = [tag for tag in tags if (f"{tag}.fault", kind) not in covers]
            return f"no test of {', '.join(missing_tags)}" if missing_tags else ""
        case _:
            if (cell.id, kind) in covers:
                return ""
            return "another cause of its output stands wherever it could be shown"
