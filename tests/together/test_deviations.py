"""One thing wrong with the panel: each is failed, naming its point, level or cell, and no other.

The panel runs from a changed copy of the site file, the probe from the right one.
"""

from dataclasses import replace

import panel_changes as changes
import pytest

from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.channel import Direction, LevelsOnFault, ReadingOnFault


def failed(verdicts):
    return {
        name: verdict for name, verdict in verdicts.items() if verdict.outcome.value == "failed"
    }


@pytest.mark.parametrize(
    ("change", "scripts", "blamed", "says"),
    [
        (changes.setpoint("AT-101", "A1", 1.1), "20", "level/AT-101.A1", "25 ppm"),
        (changes.setpoint("AT-101", "A2", 0.9), "20", "level/AT-101.A2", "35 ppm"),
        (changes.setpoint("AT-601", "A3", 1.1), "20", "level/AT-601.A3", "23.5 %vol"),
        (changes.level("AT-201", "A2", latching=False), "20", "level/AT-201.A2", "has to latch"),
        (changes.level("AT-201", "A1", latching=True), "20", "level/AT-201.A1", "it latches"),
        (
            changes.level("AT-601", "A1", direction=Direction.RISING),
            "20",
            "level/AT-601.A1",
            "19.5",
        ),
        (
            changes.missing("AT-201.A2 > V1"),
            "30",
            "cell/AT-201.A2 > V1",
            "V1 did not come",
        ),
        (
            changes.missing("2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > K3"),
            "40",
            "cell/2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > K3",
            "K3 did not come",
        ),
        (
            changes.cell("AT-301.A1 > F2", latching=True),
            "30",
            "cell/AT-301.A1 > F2",
            "allowed is 18 to 24 s",
        ),
        (
            changes.cell("DI-1.active > K3", latching=False),
            "70",
            "cell/DI-1.active > K3",
            "without a reset",
        ),
        (
            changes.cell("DI-4.active > V1", on_delay_s=7.0),
            "70",
            "cell/DI-4.active > V1",
            "allowed is within 4 s",
        ),
        (
            changes.cell("AT-402.A1 > F3", on_delay_s=0.0),
            "30",
            "cell/AT-402.A1 > F3",
            "allowed is 8 to 15 s",
        ),
        (
            changes.cell("AT-301.A1 > F2", off_delay_s=0.0),
            "30",
            "cell/AT-301.A1 > F2",
            "before its off-delay was over",
        ),
        (
            changes.output("K1", normally_energised=False),
            "00",
            "point/K1 coil energised",
            "fail-safe",
        ),
        (changes.other_word_order("AT-201 reading"), "10", "point/AT-201 reading", "CDAB"),
        (changes.other_word_order("AT-501 reading"), "10", "point/AT-501 reading", "CDAB"),
        (changes.point("AT-301 reading", scale=1.0), "10", "point/AT-301 reading", "scale"),
        (changes.moved("AT-301 reading", -1), "10", "point/AT-301 reading", ""),
        (changes.moved("AT-601 A3 setpoint", 1), "00", "point/AT-601 A3 setpoint", "02"),
        (
            changes.channel("AT-101", on_fault=ReadingOnFault.ZERO),
            "50",
            "point/AT-101 reading",
            "fault",
        ),
    ],
)
def test_one_thing_wrong_is_failed_and_named(rehearse_with, change, scripts, blamed, says):
    found = failed(rehearse_with(change, scripts))
    assert blamed in found, list(found)
    assert says in found[blamed].because or any(
        says in aspect.because for aspect in found[blamed].aspects
    )


def test_two_crossed_outputs_fail_in_both_rows(rehearse_with):
    found = failed(rehearse_with(changes.crossed("F2", "F4"), "30"))
    assert {"cell/AT-301.A1 > F2", "cell/AT-501.A1 > F4"} <= set(found)
    assert "drives F2" in found["output/F4"].because
    assert "drives F4" in found["output/F2"].because


def test_two_swapped_addresses_fail_at_their_points_or_cells(rehearse_with):
    found = failed(rehearse_with(changes.addresses_swapped("F2 acts", "F4 acts"), "30"))
    assert any("F2" in name for name in found)
    assert any("F4" in name for name in found)


def test_nothing_wrong_is_nothing_failed(rehearse_with):
    verdicts = rehearse_with(lambda site: site)
    assert {v.outcome.value for v in verdicts.values()} == {"proven"}


@pytest.mark.parametrize("seed", range(1, 6))
def test_no_seed_fails_a_good_panel(rehearse_with, seed):
    verdicts = rehearse_with(lambda site: site, "20", "30", seed=seed)
    assert failed(verdicts) == {}


@pytest.mark.parametrize(
    ("level", "rule", "says"),
    [
        ("AT-104.A1", LevelsOnFault.HOLD, "on a fault its levels all come on"),
        ("AT-301.A1", LevelsOnFault.HOLD, "on a fault its levels go off"),
        ("AT-201.A2", LevelsOnFault.CLEAR, "on a fault its levels stay as they were"),
    ],
)
def test_levels_that_do_another_thing_on_fault_are_told_so(rehearse_with, level, rule, says):
    tag = level.partition(".")[0]
    found = failed(rehearse_with(changes.channel(tag, levels_on_fault=rule), "50"))
    assert says in found[f"level/{level}"].because


@pytest.mark.parametrize(("warm_up_s", "shows"), [(10.0, "was off"), (50.0, "was on")])
def test_another_warm_up_than_stated_is_failed(rehearse_with, warm_up_s, shows):
    def changed(site):
        timing = site.timing.model_copy(update={"warm_up_s": warm_up_s})
        return site.model_copy(update={"timing": timing})

    found = failed(rehearse_with(changed, "90"))
    assert list(found) == ["flag/panel.warm_up"]
    assert f"panel.warm_up {shows}" in found["flag/panel.warm_up"].because


def test_warm_up_as_stated_is_proven(rehearse_with):
    assert rehearse_with(lambda site: site, "90")["flag/panel.warm_up"].outcome.value == "proven"


def test_sums_that_no_point_shows_are_not_missed(demo, demo_scripts):
    shown = ("any.", "panel.inhibit")
    points = tuple(p for p in demo.site.points if not p.shows.startswith(shown))
    without = replace(demo, site=demo.site.model_copy(update={"points": points}))
    result = rehearse(without, [demo_scripts[number] for number in sorted(demo_scripts)])
    assert {v.outcome.value for v in result.verdicts} == {"proven"}


def test_a_detector_too_slow_is_not_taken_for_another_scale_or_order(rehearse_with):
    """Single readings would fit with other orders or scales; all of them fit with none."""
    found = failed(rehearse_with(changes.channel("AT-501", t90_s=600.0), "10"))
    reasons = [aspect.because for aspect in found["reading/AT-501"].aspects]
    assert len(reasons) > 2
    assert [because for because in reasons if "would fit" in because] == []


def test_a_reading_that_ignores_the_gas_is_failed(rehearse_with):
    """A detector so slow that nothing reaches the register while the gas stands."""
    found = failed(rehearse_with(changes.channel("AT-201", t90_s=3600.0), "00"))
    assert "did not follow the gas" in found["reading/AT-201"].because


def test_a_wrong_reading_is_failed_and_its_levels_are_left_open(rehearse_with):
    verdicts = rehearse_with(changes.other_word_order("AT-201 reading"), "10")
    assert "reading/AT-201" in failed(verdicts)
    assert not [name for name in failed(verdicts) if name.startswith("level/")]
    assert "mend that first" in verdicts["level/AT-201.A1"].because


def test_an_output_that_stays_on_for_a_strange_cause_does_not_blame_its_own(rehearse_with):
    """AT-201 was seen to let the beacon go by itself; AT-202 only while the strange cause stood."""

    def with_one_more(site):
        more = site.matrix[0].model_copy(update={"cause": "AT-401.A2", "effect": "B2"})
        more.__dict__.pop("cause_tree", None)
        return site.model_copy(update={"matrix": (*site.matrix, more)})

    found = failed(rehearse_with(with_one_more, "10", "20", "30"))
    assert "what stood then: any.A1" in found["output/B2"].because
    assert "cell/AT-201.A1 > B2" not in found


def test_a_missing_cell_is_the_only_cell_blamed(rehearse_with):
    """F1 has four cells; those whose causes did not stand have no part in it."""
    found = failed(rehearse_with(changes.missing("AT-101.A1 > F1"), "30"))
    assert [name for name in found if name.startswith("cell/")] == ["cell/AT-101.A1 > F1"]
