"""The demo's plan fails a panel with one thing changed, and names it: a few changes at random.

All of them: `python tests/together/run_single_changes.py --plan FILE --record FILE`, resumable.
"""

import random

import pytest
from change_rehearsals import planned, revealed
from single_changes import extra_cells, single_changes

from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.plan import make_plan

FEW = 8


@pytest.fixture(scope="module")
def plan(demo, tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "plan.yaml"
    path.write_text(make_plan(demo.site).text("A plan."), encoding="utf-8")
    return planned(load_script(path, demo.site))


def a_few(site):
    """One change of each of a few kinds."""
    chance = random.Random("a few single changes")
    by_kind = {}
    for one in chance.sample(every := list(single_changes(site)), len(every)):
        by_kind.setdefault(one.kind, one)
    return chance.sample(list(by_kind.values()), FEW)


def test_there_is_a_change_for_everything_that_can_be_changed(demo):
    site = demo.site
    kinds = {}
    for one in single_changes(site):
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
    levels = sum(len(channel.levels) for channel in site.channels)
    assert kinds["cell missing"] == len(site.matrix) == 40
    assert kinds["cell latch"] == 40
    assert kinds["level latch"] == kinds["level direction"] == levels == 23
    assert kinds["level setpoint"] == 2 * levels
    # of all pairs of 15 outputs all but B1 and S1, which the same causes drive in the same way
    assert kinds["outputs swapped"] == 15 * 14 // 2 - 1
    assert kinds["mutable"] == kinds["normally_energised"] == 15


def test_a_vote_is_changed_in_every_way(demo):
    vote = "2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > K3: caused by "
    found = {one.words.removeprefix(vote) for one in single_changes(demo.site) if vote in one.words}
    assert found == {
        "1oo3(AT-101.A2, AT-102.A2, AT-103.A2)",
        "3oo3(AT-101.A2, AT-102.A2, AT-103.A2)",
        "2oo2(AT-102.A2, AT-103.A2)",
        "2oo2(AT-101.A2, AT-103.A2)",
        "2oo2(AT-101.A2, AT-102.A2)",
        "2oo3(AT-101.A1, AT-102.A2, AT-103.A2)",
        "2oo3(AT-101.A2, AT-102.A1, AT-103.A2)",
        "2oo3(AT-101.A2, AT-102.A2, AT-103.A1)",
        "2oo3(AT-104.A2, AT-102.A2, AT-103.A2)",
        "2oo3(AT-101.A2, AT-104.A2, AT-103.A2)",
        "2oo3(AT-101.A2, AT-102.A2, AT-104.A2)",
    }


def test_every_change_changes_the_panel(demo):
    changes = [*single_changes(demo.site), *extra_cells(demo.site)]
    assert [one.words for one in changes if one.change(demo.site) == demo.site] == []


@pytest.mark.timeout(300)
def test_a_single_change_is_failed_and_named(demo, plan):
    found = {f"{one.kind}: {one.words}": revealed(demo, plan, one).how for one in a_few(demo.site)}
    assert set(found.values()) <= {"named", "by its output"}, found


def test_a_panel_without_a_change_is_failed_by_no_part_of_the_plan(demo, plan):
    script, _ = plan.parts[0]
    unchanged = next(single_changes(demo.site))
    good = type(unchanged)("none", "nothing", lambda site: site, unchanged.named)
    assert revealed(demo, type(plan)((script,), ()), good).how == "escaped"
