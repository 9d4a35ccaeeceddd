"""The summary as a person gets it: in 80 columns, without colour, in a pipe."""

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console

from gaswitness.about import AboutRun
from gaswitness.exit_codes import ExitCode
from gaswitness.plan_tests import plan_lines
from gaswitness.run_outcome import ended_as
from gaswitness.summary import conclusion, print_summary
from gaswitness_probe.verdict import Kind, Outcome, Verdict
from gaswitness_scenarios.plan_outcome import ClaimOutcome, PlanOutcome, PlayedTest, claim_of
from gaswitness_sitefile.site import Site

Verdicts = tuple[Verdict, ...]


def printed(verdicts: Verdicts, about: AboutRun, site: Site, *, colour: bool = False) -> str:
    file = io.StringIO()
    console = Console(
        file=file,
        width=80,
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        markup=False,
        emoji=False,
    )
    print_summary(console, verdicts, about, site)
    return file.getvalue()


def test_no_line_is_wider_than_80_columns(verdicts: Verdicts, about: AboutRun, site: Site) -> None:
    lines = printed(verdicts, about, site).splitlines()
    assert max(len(line) for line in lines) <= 80
    assert not [line for line in lines if line != line.rstrip()]


def test_a_failure_says_id_expected_seen_because(
    verdicts: Verdicts, about: AboutRun, site: Site
) -> None:
    text = printed(verdicts, about, site)
    _, _, failed = text.partition("\nFailed\n")
    assert failed.splitlines()[:5] == [
        "  cell/2oo3(AT-101.A2, AT-102.A2, AT-103.A2) > BN-1",
        "    expected  BN-1 acts within 3 s",
        "    seen      BN-1 was still off 9.0 s after the cause came",
        "    because   the effect did not come",
        "    fall      it was on with no cause",
    ]


def test_what_would_settle_an_inconclusive_is_said(
    verdicts: Verdicts, about: AboutRun, site: Site
) -> None:
    words = " ".join(printed(verdicts, about, site).split())
    assert "poll every 0.25 s to settle it" in words


def test_cells_show_their_response_with_its_uncertainty(
    verdicts: Verdicts, about: AboutRun, site: Site
) -> None:
    row = next(
        line for line in printed(verdicts, about, site).splitlines() if "2.1 s ± 0.3" in line
    )
    assert row.split("  ")[1] == "AT-101.A1 > BN-1"
    assert row.endswith("3 s")


def test_counts_stand_by_kind(verdicts: Verdicts, about: AboutRun, site: Site) -> None:
    rows = [line.split() for line in printed(verdicts, about, site).splitlines()]
    assert ["points", "1", "0", "0", "0"] in rows
    assert ["cells", "of", "the", "matrix", "1", "1", "1", "1"] in rows
    assert ["all", "2", "1", "1", "1"] in rows


def test_every_point_has_its_mark(verdicts: Verdicts, about: AboutRun, site: Site) -> None:
    more = tuple(
        Verdict(f"point/AT-101 bit {n}", Kind.POINT, Outcome.PROVEN if n else Outcome.FAILED)
        for n in range(40)
    )
    text = printed((*verdicts, *more), about, site)
    assert "F AT-101 bit 0 " in text
    assert all(f"P AT-101 bit {n}" in text for n in range(1, 40))


def test_colour_adds_no_meaning(verdicts: Verdicts, about: AboutRun, site: Site) -> None:
    coloured = printed(verdicts, about, site, colour=True)
    assert "\x1b[" in coloured
    plain = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in plain.splitlines()] == printed(
        verdicts, about, site
    ).splitlines()


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (Outcome.PROVEN, "ALL PROVEN, as the panel reports it: 1 of 1"),
        (Outcome.FAILED, "FAILED: 0 proven, 1 failed"),
        (Outcome.INCONCLUSIVE, "NOT PROVEN: 0 proven, 0 failed, 1 inconclusive"),
        (Outcome.NOT_RUN, "NOT PROVEN: 0 proven"),
    ],
)
def test_the_last_line_concludes(outcome: Outcome, words: str, about: AboutRun, site: Site) -> None:
    only = (Verdict("point/x", Kind.POINT, outcome),)
    assert printed(only, about, site).splitlines()[-1].startswith(words)


def test_a_run_cut_short_has_not_proven_all(about: AboutRun, site: Site) -> None:
    only = (Verdict("point/x", Kind.POINT, Outcome.PROVEN),)
    text = printed(only, replace(about, stopped="interrupted"), site)
    assert "stopped early: interrupted" in text
    assert text.splitlines()[-1].startswith("NOT PROVEN")


@pytest.mark.parametrize(
    ("how", "outcome", "state"),
    [
        ("skipped", Outcome.NOT_RUN, "1 left out"),
        ("done", Outcome.INCONCLUSIVE, "1 open"),
        ("not begun", Outcome.NOT_RUN, "1 never begun"),
        ("stopped", Outcome.NOT_RUN, "1 broken off"),
    ],
)
def test_a_test_of_the_plan_that_is_open_leaves_the_run_open(
    how: str, outcome: Outcome, state: str, about: AboutRun, site: Site
) -> None:
    only = (Verdict("point/x", Kind.POINT, Outcome.PROVEN),)
    proven = PlanOutcome(PlayedTest("T-1", "one", 1, (), 0, 1), Outcome.PROVEN, ())
    left = PlanOutcome(PlayedTest("T-2", "two", 1, (), 1, 2, how, "no ladder"), outcome, ())
    assert conclusion(only, about, [proven]).startswith("ALL PROVEN")
    assert ended_as(only, [proven], "") is ExitCode.ALL_PROVEN
    said = conclusion(only, about, [proven, left])
    assert said.startswith("NOT PROVEN")
    assert said.endswith("; of 2 tests of the plan 1 proven, " + state)
    assert ended_as(only, [proven, left], "") is ExitCode.SOMETHING_OPEN
    failed = (Verdict("point/x", Kind.POINT, Outcome.FAILED),)
    assert ended_as(failed, [left], "") is ExitCode.SOMETHING_FAILED


def test_a_panel_cannot_steer_the_terminal(about: AboutRun, site: Site) -> None:
    evil = (Verdict("point/x", Kind.POINT, Outcome.FAILED, seen="\x1b[2Jgone [red]\x07"),)
    text = printed(evil, about, site)
    assert "\\x1b[2Jgone [red]\\x07" in text
    assert "\x1b" not in text


def test_cautions_are_shown(verdicts: Verdicts, about: AboutRun, site: Site) -> None:
    words = " ".join(printed(verdicts, about, site).split())
    assert "Local codes and licensed practice come first" in words
    assert "a virtual panel protects nobody" in words


def test_tests_of_a_plan_that_are_not_proven_say_why():
    tests = [
        PlanOutcome(PlayedTest("T-1", "first", 1, (), 0.0, 1.0), Outcome.PROVEN, ()),
        PlanOutcome(
            PlayedTest("T-2", "second", 2, (), 1.0, 2.0),
            Outcome.FAILED,
            (
                ClaimOutcome(
                    claim_of("cell/A > K1: rises"), Outcome.FAILED, because="K1 stayed off"
                ),
            ),
        ),
        PlanOutcome(
            PlayedTest("T-3", "third", 1, (), 2.0, 2.0, "skipped", "no gas"), Outcome.NOT_RUN, ()
        ),
    ]
    assert list(plan_lines(tests)) == [
        "1 of 3 proven, with 1 claims in all",
        "T-2 failed, attempt 2: second. cell/A > K1: rises: K1 stayed off",
        "T-3 not run: third. skipped: no gas",
    ]
