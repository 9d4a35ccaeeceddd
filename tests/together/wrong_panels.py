"""One thing wrong with a panel, at random: what was changed, and how it differs from a good one."""

import random
from dataclasses import dataclass

import panel_changes as changes
from memory_run import after_each_scan, rehearsed, site_of

from gaswitness_probe.verdict import Verdict

ANY_DWELL_S = 1000.0


def one_thing_wrong(site, number):
    """(the change, the verdict that it concerns, the fact that it makes wrong, in words)."""
    r = random.Random(f"wrong {number}")
    kind = r.choice(("level", "cell"))
    return _wrong_level(r, site) if kind == "level" else _wrong_cell(r, site)


def _wrong_level(r, site):
    channel = r.choice(site.channels)
    name = r.choice(list(channel.levels))
    level = channel.levels[name]
    off = r.choice((-2.5, 2.5)) * channel.level_tolerance(name)
    what, update = r.choice(
        (
            ("setpoint", {"setpoint": level.setpoint + off}),
            ("setpoint", {"setpoint": level.setpoint + off}),
            ("latching", {"latching": not level.latching}),
            ("on-delay", {"on_delay_s": level.on_delay_s + 10}),
            ("hysteresis", {"hysteresis": level.hysteresis * 4}),
        )
    )
    fact = f"{channel.tag}.{name}"
    return changes.level(channel.tag, name, **update), f"level/{fact}", fact, f"level {what}"


def _wrong_cell(r, site):
    cell = r.choice(site.matrix)
    later_s = cell.response_s + 8
    what, change = r.choice(
        (
            ("missing", changes.missing(cell.id)),
            ("latching", changes.cell(cell.id, latching=not cell.latching)),
            ("on-delay", changes.cell(cell.id, on_delay_s=cell.on_delay_s + later_s)),
            ("off-delay", changes.cell(cell.id, off_delay_s=cell.off_delay_s + later_s)),
            ("crossed", _other_effect(r, site, cell)),
        )
    )
    return change, f"cell/{cell.id}", f"{cell.effect}.active", f"cell {what}"


def _other_effect(r, site, cell):
    others = [one.tag for one in site.outputs if one.tag != cell.effect]
    other = r.choice(others) if others else None
    return changes.crossed(cell.effect, other) if other else changes.missing(cell.id)


def wrong_for_s(run, good, fact):
    """For how long the fact is other than with a good panel, in seconds."""
    pairs = zip(after_each_scan(run, run.panel_site), after_each_scan(run, good), strict=True)
    wrong = sum(bad.fact(fact) != right.fact(fact) for bad, right in pairs)
    return wrong * good.timing.scan_s


@dataclass(frozen=True)
class Try:
    """`mine`: the verdict on what is wrong. `failed`: all that failed. `wrong_s`: for how long the
    panel said something else than a good one."""

    words: str
    mine: Verdict
    failed: tuple
    wrong_s: float


def tried(machine, number):
    """A machine rehearsed with one thing wrong; None where that says nothing."""
    change, target, fact, words = one_thing_wrong(site_of(machine, ANY_DWELL_S), number)
    run = rehearsed(machine, change)
    if run is None:
        return None
    verdicts = run.verdicts()
    mine = next(one for one in verdicts if one.id == target)
    failed = tuple(one.id for one in verdicts if one.outcome.value == "failed")
    return Try(words, mine, failed, wrong_for_s(run, run.site, fact))
