"""The plan of a test: from the matrix and the points list alone, a script that proves them.

Tests in the order in which they are best done: what costs no gas first, then readings and levels,
then rounds of channels that do not meet, then all that takes several causes, then the supply.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from gaswitness_scenarios.plan_bench import Draft
from gaswitness_scenarios.plan_exposure import exposure_test
from gaswitness_scenarios.plan_free import (
    combinations_test,
    fault_test,
    forced_test,
    input_test,
    own_time_test,
    panel_fault_test,
)
from gaswitness_scenarios.plan_gate_test import gate_test
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_inhibited import inhibited_faults_test
from gaswitness_scenarios.plan_ladder import stages
from gaswitness_scenarios.plan_levels import levels_test
from gaswitness_scenarios.plan_order import chunks, meetings, rounds
from gaswitness_scenarios.plan_points import claim_points
from gaswitness_scenarios.plan_power import power_test
from gaswitness_scenarios.plan_rounds import effects_by_gas, round_test
from gaswitness_scenarios.plan_sight import cause_unseen
from gaswitness_scenarios.plan_text import plan_text
from gaswitness_scenarios.plan_zero import zero_test
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.site import Site


@dataclass(frozen=True)
class Plan:
    """The tests in order, and the ground that they were made from."""

    ground: Ground
    tests: tuple[Draft, ...]
    rounds: tuple[tuple[str, ...], ...]

    @property
    def site(self) -> Site:
        """The site that is planned for."""
        return self.ground.site

    @property
    def groups(self) -> tuple[str, ...]:
        """The groups of tests that there are, in order."""
        return tuple(dict.fromkeys(test.group for test in self.tests))

    @property
    def words(self) -> frozenset[str]:
        """What tests can be chosen by: tag, group, number."""
        tags = {tag for test in self.tests for tag in (*test.tags, *test.moves)}
        return frozenset((*tags, *self.groups, *(test.id for test in self.tests)))

    def only(self, chosen: Sequence[str]) -> "Plan":
        """The tests of these tags, groups and numbers, in the plan's order, their numbers kept."""
        wanted = set(chosen)
        kept = [
            test for test in self.tests if wanted & {test.id, test.group, *test.tags, *test.moves}
        ]
        return replace(self, tests=tuple(kept))

    @property
    def preamble(self) -> list[dict[str, Any]]:
        """What comes before the first test: the panel has warmed up, and no output can still act
        for a time of its own that began before anybody looked."""
        timing = self.ground.timing
        own_s = max((timing.own_s(output.tag) for output in self.site.outputs), default=0.0)
        return [{"hold_s": timing.up(timing.flag_s + 2 + own_s)}]

    def text(self, about: str) -> str:
        """The plan as the text of a script; `about` are words for people, before the tests."""
        title = f"Test plan of {self.site.panel.tag}"
        return plan_text(title, about, self.preamble, self.tests)


def make_plan(
    site: Site, link: LinkAddress | None = None, *, looks: str = "all", at_once: int = 0
) -> Plan:
    """Plan the site's test.

    `at_once`: detectors in gas at a time at most, 0 for no bound; votes and sums take theirs all
    the same. `looks`: `all` outputs, those `unshown` by a point, or `none`.
    """
    ground = Ground.of(site, link, looks)
    tests: list[Draft] = []

    def add(title: str, write: Callable[[str], Draft | None]) -> None:
        before = ground.noted()
        draft = write(title)
        if draft is None or not draft.steps:
            return
        if draft.short:
            ground.back_to(before)
            ground.unfed[title] = draft.short
            if draft.group == "levels":
                ground.starving.update(dict.fromkeys(draft.tags, draft.short))
            return
        drop_pulsed(ground, draft)
        drop_unseen(ground, draft)
        tests.append(draft)
        ground.covered |= draft.covers

    for contact in site.inputs:
        add(f"{contact.tag} made and opened", partial(input_test, ground, contact))
    add("Outputs with a time of their own", partial(own_time_test, ground))
    add("A fault of the panel itself", partial(panel_fault_test, ground))
    for channel in site.channels:
        add(
            f"Fault, drop-out and return of {channel.tag}",
            partial(fault_test, ground, channel),
        )
    add("Outputs forced on and off", partial(forced_test, ground))
    add("Causes of several contacts, faults or inhibits", partial(combinations_test, ground))
    add("Faults of inhibited channels", partial(inhibited_faults_test, ground))
    add("Readings below zero", partial(zero_test, ground))
    effects = {channel.tag: ground.moved_by(channel) for channel in site.channels}
    fed = ground.index.supply.groups
    for group in chunks([channel.tag for channel in site.channels], at_once):
        for tags in fed(group, effects):
            channels = [site.channel_of[tag] for tag in tags]
            where = "all channels" if len(tags) == len(site.channels) else ", ".join(tags)
            title = f"Readings and alarm levels of {where}"
            add(title, partial(levels_test, ground, channels))
    made = [part for group in rounds_of(ground, at_once) for part in fed(group, effects)]
    for group in made:
        add(f"What {_and(group)} {_drive(group)} by gas", partial(round_test, ground, group))
    add("Votes, sums, mutes: all in gas, one counts after the other", partial(gate_test, ground))
    add("Exposure averages", partial(exposure_test, ground))
    parts = fed([channel.tag for channel in site.channels], effects)
    for tags in parts or [[]]:
        of = "" if len(parts) < 2 else f", {', '.join(tags)} in gas"
        channels = [site.channel_of[tag] for tag in tags]
        add(f"Supply lost and back{of}", partial(power_test, ground, channels, beside=of))
    claim_points(site, tests)
    for number, draft in enumerate(tests, 1):
        draft.id = f"T-{number:03d}"
    return Plan(ground, tuple(tests), tuple(tuple(group) for group in made))


def _drive(tags: Sequence[str]) -> str:
    return "drives" if len(tags) == 1 else "drive"


def drop_pulsed(ground: Ground, draft: Draft) -> None:
    """A pulsed output goes by itself: nothing shows that its cells fall, latch or are reset."""
    for output in ground.site.outputs:
        if output.pulse_s is not None:
            draft.claims.pop(f"output/{output.tag}: sounds again", None)
            for cell in ground.site.cells_of[output.tag]:
                for aspect in ("releases", "latches", "reset", "reset refused"):
                    draft.claims.pop(f"cell/{cell.id}: {aspect}", None)


def drop_unseen(ground: Ground, draft: Draft) -> None:
    """No link can tell whether such a cell's cause stands: nothing of it can be proven."""
    for cell in ground.site.matrix:
        if cause_unseen(ground, cell):
            for claim in [one for one in draft.claims if one.startswith(f"cell/{cell.id}: ")]:
                del draft.claims[claim]


def rounds_of(ground: Ground, at_once: int) -> list[list[str]]:
    """The channels with levels, in rounds."""
    effects = effects_by_gas(ground)
    cost_s = {tag: cost_of(ground, tag) for tag in effects}
    return rounds(meetings(effects), cost_s, at_once)


def cost_of(ground: Ground, tag: str) -> float:
    """About how long a channel takes in gas and to recover."""
    channel = ground.site.channel_of[tag]
    return channel.slowest_t90_s * (1 + len(stages(ground.ladders[tag])))


def _and(tags: Sequence[str]) -> str:
    return tags[0] if len(tags) == 1 else f"{', '.join(tags[:-1])} and {tags[-1]}"
