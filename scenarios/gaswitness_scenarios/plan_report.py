"""What a plan costs and covers: tests, gas applications, hours, lower bound, naive order."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gaswitness_probe.facts import reading_points
from gaswitness_probe.provable import provable
from gaswitness_scenarios.plan import Plan
from gaswitness_scenarios.plan_bounds import lower_bound, naive_order
from gaswitness_scenarios.plan_wanted import Want, wants
from gaswitness_scenarios.unprovable import MOST_NAMED, unprovable_words
from gaswitness_sitefile.link_address import LinkAddress


@dataclass(frozen=True)
class PlanFigures:
    """What a plan comes to. Times in seconds.

    `gas_s`: from gas going to a detector until the last one has recovered, tests with several
    counted once. `bound_s`: no plan can have less; `bound_words` say why. `naive_s`: gas time if
    each kind of each cell were shown alone, one after the other; `naive_applications` likewise.
    """

    tests: int
    steps: int
    applications: int
    length_s: float
    gas_s: float
    bound_s: float
    bound_words: str
    naive_s: float
    naive_applications: int
    claims: int
    wants: tuple[Want, ...]
    unprovable: tuple[str, ...]

    @property
    def shown(self) -> int:
        """Kinds of cells that the plan shows."""
        return sum(want.shown for want in self.wants)

    @property
    def open(self) -> tuple[Want, ...]:
        """Kinds of cells that it does not."""
        return tuple(want for want in self.wants if not want.shown)


def figures(plan: Plan, link: LinkAddress | None = None) -> PlanFigures:
    """The figures of a plan on a link."""
    tests = plan.tests
    ground = plan.ground
    covers = frozenset(pair for test in tests for pair in test.covers)
    bound_s, words = lower_bound(ground)
    naive_s, naive_applications = naive_order(ground)
    return PlanFigures(
        len(tests),
        sum(len(test.steps) for test in tests),
        sum(test.applications for test in tests),
        sum(test.length_s for test in tests),
        sum(test.gas_s for test in tests),
        bound_s,
        words,
        naive_s,
        naive_applications,
        len({claim for test in tests for claim in test.claims}),
        tuple(wants(ground, covers)),
        (*unprovable_words(provable(plan.site, link)), *unseen_words(plan), *unfed_words(plan)),
    )


def unseen_words(plan: Plan) -> Iterator[str]:
    """What the plan makes and no point shows: seen at its effects only, or not at all."""
    site, shown = plan.site, plan.ground.shown
    made = {
        "inhibits": [f"{one.tag}.inhibit" for one in site.channels],
        "faults": [f"{one.tag}.fault" for one in site.channels],
        "levels": [f"{one.tag}.{name}" for one in site.channels for name in one.levels],
        "contacts": [f"{one.tag}.active" for one in site.inputs],
        "mutes": [f"{one.tag}.muted" for one in site.outputs if one.mutable],
        "outputs": [f"{one.tag}.active" for one in site.outputs if site.cells_of[one.tag]],
    }
    for kind, facts in made.items():
        missing = [fact for fact in facts if fact not in shown]
        if missing:
            more = len(missing) - MOST_NAMED
            others = f" and {more} more" if more > 0 else ""
            named = ", ".join(missing[:MOST_NAMED])
            yield f"no point shows {named}{others}: no link can prove these {kind} themselves"
    facts_of_panel = [fact for fact in ("panel.fault", "panel.warm_up") if fact not in shown]
    readings = [f"{one.tag}.reading" for one in site.channels if not reading_points(site, one.tag)]
    for facts in (facts_of_panel, readings):
        if facts:
            yield f"no point shows {_listed(facts)}: no link can prove what nobody reads"
    if (
        facts_of_panel
        or readings
        or any(fact not in shown for one in made.values() for fact in one)
    ):
        yield "what no point shows stays open: a run ends NOT PROVEN, however good the panel"
    blurred = [
        f"{channel.tag}.{name}"
        for channel in site.channels
        for name in channel.levels
        if plan.ground.level_seen(channel.tag, name) and plan.ground.setpoint_blurred(channel, name)
    ]
    if blurred:
        yield (
            f"the registers' steps are as wide as the tolerance of {_listed(blurred)}: the "
            "setpoint cannot be proven, however slow the gas; map the reading with a finer scale"
        )
    latching = [one.tag for one in site.channels if one.over_range_latches]
    if latching:
        yield (
            f"the over-range of {', '.join(latching)} latches: that it comes and stays is seen, "
            "and not judged"
        )


def _listed(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def unfed_words(plan: Plan) -> Iterator[str]:
    """Tests that the panel's own bus cannot feed."""
    for title, why in plan.ground.unfed.items():
        yield f"not planned, {title}: {why}"


def open_by_reason(found: Iterable[Want]) -> dict[str, list[Want]]:
    """What is not shown, by why."""
    by_reason: dict[str, list[Want]] = {}
    for want in found:
        by_reason.setdefault(want.why, []).append(want)
    return by_reason
