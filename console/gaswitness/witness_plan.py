"""What a witness run is asked to do: scripts, a plan or some of its tests, the rest of a run that
broke off, or what an earlier one left unproven. Files and choices; nothing is run.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import click

from gaswitness.out_folder import OutputError, make_out_folder
from gaswitness.run_outcome import EVIDENCE, evidence_name
from gaswitness.site_argument import loaded_scripts
from gaswitness_scenarios.kept_run import KeptRun, read_run
from gaswitness_scenarios.kept_tests import to_retest
from gaswitness_scenarios.resume import Earlier, earlier_part
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.load import LoadedSite
from gaswitness_sitefile.problems import one_of


@dataclass(frozen=True)
class Asked:
    """What the command line says, as written."""

    scripts: tuple[str, ...]
    plan: str | None
    chosen: str | None
    resume: Path | None
    retest: Path | None
    out: Path | None


@dataclass(frozen=True)
class Ready:
    """What will be run. `link`: that of the earlier part, where there is one. `issue`: of the
    record, 1 for the first. `kept`: the record that this goes on with or tests again."""

    scripts: tuple[Script, ...]
    folder: Path
    evidence: Path
    issue: int = 1
    tests: frozenset[str] | None = None
    earlier: Earlier | None = None
    link: str | None = None
    notes: Mapping[str, str] = field(default_factory=dict)
    kept: KeptRun | None = None


def prepared(site: LoadedSite, asked: Asked) -> Ready:
    """What is meant. Raises GaswitnessError or click's UsageError where that cannot be."""
    if asked.resume is not None:
        return _resumed(site, asked, asked.resume)
    if asked.retest is not None:
        return _retested(site, asked, asked.retest)
    if asked.plan is not None and asked.scripts:
        raise click.UsageError("--plan and --script exclude each other: keep one of them")
    written = asked.scripts if asked.plan is None else (asked.plan,)
    if not written:
        raise click.UsageError("name what is to be done with --plan P or --script S")
    scripts = loaded_scripts(written, site)
    if asked.plan is not None and not scripts[0].tests:
        raise GaswitnessError(
            f"{scripts[0].files[0].name}: holds no tests: make a plan with `gaswitness plan`, or "
            "run it with --script"
        )
    chosen = chosen_tests(asked.chosen, scripts)
    notes = {} if asked.plan is None else {"issue": "1", "plan": scripts[0].name}
    if chosen is not None:
        notes["tests"] = ",".join(in_order(scripts, chosen))
    folder = make_out_folder(asked.out, site.site.panel.tag, Path())
    return Ready(scripts, folder, folder / EVIDENCE, tests=chosen, notes=notes)


def chosen_tests(written: str | None, scripts: tuple[Script, ...]) -> frozenset[str] | None:
    """The ids of tests that are written with commas between; None where nothing is. Raises click's
    UsageError where one is in none of the scripts."""
    if written is None:
        return None
    known = [part.test.id for script in scripts for part in script.tests]
    wanted = [one.strip() for one in written.split(",") if one.strip()]
    wrong = [one for one in wanted if one not in known]
    if wrong or not wanted:
        problems = [f"the plan has no test {one!r}: {one_of(one, known)}" for one in wrong]
        raise click.UsageError("\n".join(problems) or "--tests names no test")
    return frozenset(wanted)


def in_order(scripts: tuple[Script, ...], chosen: frozenset[str]) -> list[str]:
    """The chosen tests in the order in which the scripts have them."""
    return [part.test.id for script in scripts for part in script.tests if part.test.id in chosen]


def latest_record(run: Path) -> Path:
    """The newest issue of the record in a run's folder, or the record itself."""
    if not run.is_dir():
        return run
    records = sorted(run.glob("run*.sqlite"), key=_issue_of)
    if not records:
        raise GaswitnessError(f"{run}: holds no record of a run ({EVIDENCE})")
    return records[-1]


def _issue_of(record: Path) -> int:
    number = record.stem.partition("-")[2]
    return int(number) if number.isdigit() else 1


def _same_site(kept: KeptRun, site: LoadedSite) -> bool:
    return kept.facts.site_sha256 == site.sha256


def _resumed(site: LoadedSite, asked: Asked, run: Path) -> Ready:
    if asked.scripts or asked.plan or asked.retest or asked.chosen or asked.out:
        raise click.UsageError("--resume goes on as the run began: give --link at most beside it")
    record = latest_record(run)
    kept = read_run(record)
    if not _same_site(kept, site):
        raise GaswitnessError(
            f"{record}: was made with another site file ({kept.facts.site_sha256[:12]}, now "
            f"{site.sha256[:12]}): go on with the same, or begin a new run"
        )
    earlier = earlier_part(kept)
    tests = kept.facts.options.get("tests", "")
    chosen = frozenset(tests.split(",")) if tests else None
    planned = {part.test.id for script in kept.scripts for part in script.tests}
    done = (planned if chosen is None else chosen) <= earlier.finished
    if done and kept.end is not None and (record.parent / "verdicts.json").exists():
        raise GaswitnessError(f"{record}: all its tests are done: there is nothing to go on with")
    return Ready(
        kept.scripts,
        record.parent,
        record,
        _issue_of(record),
        chosen,
        earlier,
        kept.facts.link,
        kept=kept,
    )


def _retested(site: LoadedSite, asked: Asked, run: Path) -> Ready:
    if asked.scripts or asked.out:
        raise click.UsageError("--retest takes the plan of the run before: leave --script out")
    record = latest_record(run)
    kept = read_run(record)
    plan = asked.plan
    scripts = kept.scripts if plan is None else loaded_scripts((plan,), site)
    if not _same_site(kept, site) and plan is None:
        raise GaswitnessError(
            f"{record}: was made with another site file: plan anew, and name the plan with --plan"
        )
    left = to_retest(kept)
    chosen = chosen_tests(asked.chosen, scripts) or frozenset(left)
    if not chosen:
        raise GaswitnessError(f"{record}: all its tests are proven: there is nothing to test again")
    chosen_tests(",".join(sorted(chosen)), scripts)
    issue = _issue_of(record) + 1
    evidence = record.parent / evidence_name(issue)
    if evidence.exists():
        raise OutputError(f"{evidence}: exists, and evidence is never overwritten")
    notes = {
        "issue": str(issue),
        "plan": scripts[0].name,
        "retest_of": kept.digest,
        "tests": ",".join(in_order(scripts, chosen)),
    }
    return Ready(
        scripts,
        record.parent,
        evidence,
        issue,
        chosen,
        link=kept.facts.link,
        notes=notes,
        kept=kept,
    )
