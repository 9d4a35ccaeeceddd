"""A run read back from its record alone: the same site, the same histories, the same verdicts."""

from dataclasses import replace

import pytest
from small_run import small_run, written

from gaswitness_probe.applied import Applied, GasApplied
from gaswitness_probe.evidence import Evidence, read_evidence
from gaswitness_probe.evidence_file import EvidenceError
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_scenarios.agreement import differences
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.conduct import Course, conduct
from gaswitness_scenarios.events import ignore
from gaswitness_scenarios.facts_of_run import facts_of_run
from gaswitness_scenarios.judged_again import judged_again
from gaswitness_scenarios.kept_files import kept_site
from gaswitness_scenarios.kept_run import read_run
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import RehearsalLink
from gaswitness_scenarios.result import RunKind
from gaswitness_scenarios.run_files import records_of
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.load import load_site

MEMORY, RTU = RehearsalLink.MEMORY, RehearsalLink.MEMORY_RTU


def runs(histories):
    return {name: tuple(history.runs) for name, history in histories.items()}


@pytest.mark.parametrize(
    ("link", "fault"),
    [
        (MEMORY, ""),
        (RTU, ""),
        (MEMORY, "close, 20 %"),
        (MEMORY, "late 0.2..1.5 s, 30 %"),
        (MEMORY, "flipped 2 bits, 10 %"),
        (MEMORY, "exception 06, 10 %"),
        (RTU, "reset, 20 %"),
        (RTU, "silent, 20 %"),
        (RTU, "wrong-crc, 20 %"),
        (RTU, "wrong-unit, 20 %"),
    ],
)
def test_a_run_is_judged_again_from_its_record_alone(tmp_path, link, fault):
    faults = (parse_link_fault(fault),) if fault else ()
    result = small_run(tmp_path, link=link, faults=faults)
    for file in (tmp_path / "files").iterdir():
        file.unlink()
    run = read_run(tmp_path / "run.sqlite")
    # what the judge was given in the run itself
    given = result.seen.view
    assert runs(run.histories()) == runs(given.histories)
    assert run.site.site == given.site
    assert (list(run.applied), run.span_s) == (given.applied, result.stats.span_s)
    assert list(run.looked) == given.looked
    assert run.verdicts == result.verdicts
    again = judged_again(run)
    assert again.surveyed
    assert differences(result.verdicts, again.verdicts) == ()
    assert [one.id for one in again.verdicts] == [one.id for one in result.verdicts]
    assert again.verdicts[1:] == result.verdicts[1:]  # the first tells how long replies took


def test_a_survey_alone_is_made_again_and_nothing_is_judged_beside_it(tmp_path):
    site_path, _ = written(tmp_path / "files")
    site = load_site(site_path)

    async def surveyed():
        clock = LoopClock()
        device = VirtualDevice(VirtualPanel(site.site, seed=1), unit=1)
        transport = MemoryTransport(device, clock.now)
        record = tmp_path / "run.sqlite"
        course = Course(
            RunKind.SURVEY, site, (), transport, 1, "memory", "", None, record, {"seed": "1"}
        )
        return await conduct(course, clock, ignore)

    result = run_virtual(surveyed())
    run = read_run(tmp_path / "run.sqlite")
    again = judged_again(run)
    assert {one.kind for one in again.verdicts} == {Kind.LINK, Kind.POINT}
    assert differences(result.verdicts, again.verdicts) == ()
    assert not run.histories()


def test_a_panel_that_deviates_is_found_deviating_again(tmp_path):
    site_path, _ = written(tmp_path / "panel")
    changed = site_path.read_text("utf-8").replace("effect: K1, response", "effect: S1, response")
    site_path.write_text(changed, "utf-8")
    result = small_run(tmp_path, panel_site=load_site(site_path).site)
    failed = {one.id for one in result.verdicts if one.outcome is Outcome.FAILED}
    assert "cell/AT-1.A1 > K1" in failed
    assert judged_again(read_run(tmp_path / "run.sqlite")).verdicts == result.verdicts


def test_what_the_record_says_of_the_run(tmp_path):
    result = small_run(tmp_path, seed=5)
    run = read_run(tmp_path / "run.sqlite")
    site = load_site(tmp_path / "files" / "site.yaml")
    script = load_script(tmp_path / "files" / "short.yaml", site.site)
    assert (run.facts.command, run.facts.seed, run.facts.link) == ("rehearse", 5, "memory")
    assert (run.site.sha256, run.site.files) == (site.sha256, site.files)
    assert str(run.site.path) == "site.yaml"
    assert [(one.name, one.sha256, one.length_s) for one in run.scripts] == [
        ("short", script.sha256, script.length_s)
    ]
    assert [file.name for file in run.scripts[0].files] == ["short.yaml", "away.csv"]
    first = run.applied[0]
    assert isinstance(first, Applied)
    assert first.action == GasApplied("AT-1", 30.0, 0.0, 30.0, 30.0)
    assert [(one.fact, one.value) for one in run.looked] == [("S1.active", True)]
    assert [one.fact for one in run.expectations] == ["AT-1.A2"]
    assert run.digest == result.digest
    assert run.end is not None
    assert run.end.body["why"] == "it ran to its end"
    assert run.address is None
    assert (run.people, run.tests, run.resumed) == ((), (), ())


def test_exchanges_come_by_the_window_in_which_they_were_answered(tmp_path):
    result = small_run(tmp_path)
    run = read_run(tmp_path / "run.sqlite")
    all_of_them = list(run.exchanges())
    assert len(all_of_them) == result.stats.exchanges
    third, tenth = all_of_them[2].received_s, all_of_them[9].received_s
    assert list(run.exchanges(third, tenth)) == all_of_them[2:10]


def test_a_run_that_was_killed_is_read_as_far_as_it_came(tmp_path):
    small_run(tmp_path)
    whole = read_run(tmp_path / "run.sqlite")
    cut = tmp_path / "cut.sqlite"
    copy_until(tmp_path / "run.sqlite", cut, whole.of("looked")[0].seq)
    run = read_run(cut)
    assert (run.end, run.judging, run.verdicts) == (None, None, ())
    runs_then, runs_cut = runs(whole.histories()), runs(run.histories())
    assert set(runs_cut) == set(runs_then)
    assert 0 < len(runs_cut["beat"]) < len(runs_then["beat"])
    kept = len(runs_cut["beat"]) - 1
    assert runs_cut["beat"][:kept] == runs_then["beat"][:kept]


def copy_until(source, target, last):
    with Evidence.create(target) as evidence:
        for entry in read_evidence(source):
            if entry.seq <= last:
                evidence.append(entry.kind, entry.body, entry.at_s)


def test_a_file_that_would_leave_its_folder_is_refused(tmp_path):
    small_run(tmp_path)
    facts = read_run(tmp_path / "run.sqlite").facts
    for name in ("/elsewhere/site.yaml", "../../../../../../../site.yaml", "a\0b", "a" * 5000):
        wrong = type(facts.site_files[0])(name, facts.site_files[0].content)
        with pytest.raises(EvidenceError, match="no such place"):
            kept_site(replaced(facts, wrong))


def replaced(facts, first):
    return replace(facts, site_files=(first, *facts.site_files[1:]))


def test_a_table_above_the_site_file_stays_within(tmp_path):
    site_path, _ = written(tmp_path / "files" / "inner")
    (site_path.parent / "points.csv").rename(tmp_path / "files" / "points.csv")
    text = site_path.read_text("utf-8").replace("file: points.csv", "file: ../points.csv")
    site_path.write_text(text, "utf-8")

    async def facts():
        site = load_site(site_path)
        return facts_of_run(RunKind.SURVEY, site, (), LoopClock(), "memory", "", {})

    assert kept_site(run_virtual(facts())).sha256 == load_site(site_path).sha256


def test_the_records_of_a_folder_come_in_order(tmp_path):
    for name in (
        "run-10.sqlite",
        "run.sqlite",
        "run-2.sqlite",
        "run.sqlite.sha256",
        "other.sqlite",
    ):
        (tmp_path / name).touch()
    names = [path.name for path in records_of(tmp_path)]
    assert names == ["run.sqlite", "run-2.sqlite", "run-10.sqlite"]
    with pytest.raises(EvidenceError, match=r"holds no run.sqlite"):
        records_of(tmp_path / "..")
