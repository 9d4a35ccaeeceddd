"""The whole way through: script, virtual panel, Modbus, probe, verdicts, evidence."""

import os
import signal
import subprocess
import sys
from dataclasses import replace

import pytest

from gaswitness_probe.evidence import read_evidence, verify_chain
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_scenarios import events
from gaswitness_scenarios.options import Latency, RehearsalLink, RehearsalOptions
from gaswitness_scenarios.run import rehearse


def of(result, outcome):
    return [verdict.id for verdict in result.verdicts if verdict.outcome is outcome]


def test_the_demo_is_proven_in_memory(demo, demo_scripts):
    result = rehearse(demo, [demo_scripts[number] for number in sorted(demo_scripts)])
    assert of(result, Outcome.FAILED) == []
    assert of(result, Outcome.INCONCLUSIVE) == []
    assert of(result, Outcome.NOT_RUN) == []
    kinds = {verdict.kind for verdict in result.verdicts}
    assert {Kind.LINK, Kind.POINT, Kind.READING, Kind.LEVEL, Kind.CELL, Kind.OUTPUT} <= kinds
    assert result.stats.stopped == ""


def test_a_short_script_gives_the_same_outcomes_over_a_real_socket(demo, demo_scripts):
    scripts = [demo_scripts["00"]]
    memory = rehearse(demo, scripts)
    socket = rehearse(demo, scripts, RehearsalOptions(link=RehearsalLink.TCP, speed=30.0))
    assert socket.stats.link.startswith("tcp://127.0.0.1:")
    outcomes = {v.id: v.outcome for v in socket.verdicts}
    # in memory there is no link for another reader to come over
    assert outcomes.pop("link/second reader") is Outcome.PROVEN
    assert outcomes == {v.id: v.outcome for v in memory.verdicts}
    assert of(socket, Outcome.FAILED) == []


def test_the_same_seed_gives_the_same_result_and_another_seed_other_times(demo, demo_scripts):
    scripts = [demo_scripts["00"]]
    first, second, other = (
        rehearse(demo, scripts, RehearsalOptions(seed=seed)) for seed in (3, 3, 4)
    )
    assert first == second
    assert first.verdicts != other.verdicts
    assert {v.id: v.outcome for v in first.verdicts} == {v.id: v.outcome for v in other.verdicts}


def test_the_same_seed_gives_the_same_evidence_byte_for_byte(demo, demo_scripts, tmp_path):
    def kept(name):
        path = tmp_path / name
        result = rehearse(demo, [demo_scripts["00"]], RehearsalOptions(evidence=path))
        return result.digest, [(e.kind, e.at_s, e.body) for e in read_evidence(path)]

    first, second = kept("first.sqlite"), kept("second.sqlite")
    assert first == second


REHEARSE_AND_PRINT = """
import sys
from pathlib import Path
from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site

site = load_site(demo_site_path())
script = load_script(site_scripts(site.path)[0], site.site)
print(rehearse(site, [script], RehearsalOptions(evidence=Path(sys.argv[1]))).digest)
"""


def test_the_same_seed_gives_the_same_evidence_in_every_process(tmp_path):
    # Python orders sets of texts differently in each process; nothing may depend on it.
    digests = {
        subprocess.run(
            [sys.executable, "-c", REHEARSE_AND_PRINT, str(tmp_path / f"{hash_seed}.sqlite")],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            stdout=subprocess.PIPE,
            check=True,
        ).stdout
        for hash_seed in ("1", "2", "3")
    }
    assert len(digests) == 1
    assert len(digests.pop().strip()) == 64


def test_the_evidence_holds_what_the_verdicts_rest_on(demo, demo_scripts, tmp_path):
    path = tmp_path / "run.sqlite"
    result = rehearse(demo, [demo_scripts["00"]], RehearsalOptions(evidence=path, seed=5))
    assert verify_chain(path, head=result.digest).ok
    entries = list(read_evidence(path))
    assert entries[0].kind == "run"
    assert entries[0].body["seed"] == 5
    assert entries[0].body["site_sha256"] == demo.sha256
    assert entries[-1].kind == "end"
    count = {kind: sum(e.kind == kind for e in entries) for kind in {e.kind for e in entries}}
    assert count["exchange"] == result.stats.exchanges
    assert count["step"] == len(demo_scripts["00"].steps)
    assert count["verdict"] == len(result.verdicts)
    assert count["applied"] > 0
    assert count["samples"] > 0


def test_what_is_told_while_it_runs_tells_the_whole_run(demo, demo_scripts):
    told = []
    result = rehearse(demo, [demo_scripts["00"]], RehearsalOptions(), told.append)
    assert isinstance(told[0], events.RunStarted)
    assert told[-1] == events.RunFinished(result)
    steps = [event for event in told if isinstance(event, events.StepDone)]
    assert [step.number for step in steps] == list(range(1, len(demo_scripts["00"].steps) + 1))
    phases = list(dict.fromkeys(e.name for e in told if isinstance(e, events.Phase)))
    assert phases == list(events.PhaseName)
    (survey,) = [e for e in told if isinstance(e, events.Phase) and e.name == "survey"]
    assert survey.at_s >= demo.site.timing.warm_up_s
    judged = [event.verdict for event in told if isinstance(event, events.Judged)]
    assert judged == list(result.verdicts)


def test_a_setpoint_that_differs_is_failed_and_named(rehearse_with):
    def higher(site):
        first = site.channels[0]
        level = first.levels["A1"].model_copy(update={"setpoint": 27.5})
        levels = {**first.levels, "A1": level}
        return site.model_copy(
            update={"channels": (first.model_copy(update={"levels": levels}), *site.channels[1:])}
        )

    verdicts = rehearse_with(higher, "20")
    assert verdicts["level/AT-101.A1"].outcome is Outcome.FAILED
    failed = [v.id for v in verdicts.values() if v.outcome is Outcome.FAILED]
    assert all("AT-101" in name for name in failed), failed


def test_a_panel_that_is_not_at_rest_as_a_script_begins_is_remarked_on(demo, demo_scripts):
    first = demo_scripts["00"]
    broken_off = replace(first, steps=first.steps[:8], length_s=first.steps[8].at_s)
    left = rehearse(demo, [broken_off, first])
    (remark,) = [text for text in left.stats.remarks if "not at rest" in text]
    assert remark.startswith("the panel is not at rest as 00-first-look begins: ")
    calm = rehearse(demo, [first, first])
    assert [text for text in calm.stats.remarks if "not at rest" in text] == []


def test_an_interrupted_run_is_judged_as_far_as_it_came(demo, demo_scripts, tmp_path):
    def interrupt(event):
        if isinstance(event, events.StepDone) and event.number == 8:
            signal.raise_signal(signal.SIGINT)

    path = tmp_path / "run.sqlite"
    options = RehearsalOptions(evidence=path)
    result = rehearse(demo, [demo_scripts["00"]], options, interrupt)
    assert result.stats.stopped == "interrupted"
    assert result.stats.steps < len(demo_scripts["00"].steps)
    assert of(result, Outcome.FAILED) == []
    assert verify_chain(path, head=result.digest).ok
    assert [entry.kind for entry in read_evidence(path)][-1] == "end"


def test_an_interrupted_survey_ends_the_program_and_the_evidence_says_so(
    demo, demo_scripts, tmp_path
):
    def interrupt(event):
        if isinstance(event, events.Phase) and event.name is events.PhaseName.SURVEY:
            signal.raise_signal(signal.SIGINT)

    path = tmp_path / "run.sqlite"
    with pytest.raises(KeyboardInterrupt):
        rehearse(demo, [demo_scripts["00"]], RehearsalOptions(evidence=path), interrupt)
    assert list(read_evidence(path))[-1].body["why"] == "interrupted"


@pytest.mark.parametrize("seed", [1, 2])
def test_a_slow_link_never_fails_a_good_panel(demo, demo_scripts, seed):
    slow = RehearsalOptions(seed=seed, latency=Latency(0.05, 0.4))
    assert of(rehearse(demo, [demo_scripts["00"]], slow), Outcome.FAILED) == []
