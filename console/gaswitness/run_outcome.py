"""After a run: its files beside the evidence, its summary on the screen, its exit code."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from gaswitness.about import AboutRun, NamedDigest
from gaswitness.exit_codes import ExitCode, exit_code
from gaswitness.junit import junit_xml
from gaswitness.out_folder import OutputError
from gaswitness.summary import conclusion, print_summary
from gaswitness.verdicts_json import verdicts_json
from gaswitness_probe.shown_defects import shown_defects
from gaswitness_probe.verdict import Outcome, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome
from gaswitness_scenarios.result import RunResult
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.load import LoadedSite

EVIDENCE = "run.sqlite"
INTERRUPTED = "interrupted"


def evidence_name(issue: int) -> str:
    """The record's file name: `run.sqlite`, and from the second issue on `run-2.sqlite`."""
    return numbered(EVIDENCE, issue)


def numbered(name: str, issue: int) -> str:
    """A file's name for an issue of the record, the first without a number."""
    stem, _, suffix = name.rpartition(".")
    return name if issue == 1 else f"{stem}-{issue}.{suffix}"


def about_run(
    result: RunResult,
    site: LoadedSite,
    scripts: Sequence[Script],
    panel_site: LoadedSite | None = None,
) -> AboutRun:
    """What the outputs say about the run."""
    stats = result.stats
    return AboutRun(
        command=str(stats.kind),
        software=result.facts.software,
        panel=site.site.panel.tag,
        site=_digest(site),
        panel_site=None if panel_site is None else _digest(panel_site),
        scripts=tuple(NamedDigest(script.name, script.sha256) for script in scripts),
        link=stats.link,
        driver=stats.driver,
        seed=stats.seed,
        speed=stats.speed,
        clock=result.facts.clock.kind,
        span_s=stats.span_s,
        stopped=stats.stopped,
        remarks=stats.remarks,
    )


def _digest(site: LoadedSite) -> NamedDigest:
    return NamedDigest(site.files[0].name, site.sha256)


def tell_outcome(
    result: RunResult,
    about: AboutRun,
    site: LoadedSite,
    folder: Path,
    *,
    quiet: bool,
    issue: int = 1,
) -> ExitCode:
    """Write the files, print the summary (with `quiet` its conclusion alone).

    Returns the exit code.
    """
    map_defects = None if result.seen is None else shown_defects(result.seen)
    _write(
        folder / numbered("verdicts.json", issue),
        verdicts_json(result.verdicts, about, map_defects, result.tests),
    )
    _write(
        folder / numbered("junit.xml", issue),
        junit_xml(result.verdicts, about, digest=result.digest, tests=result.tests),
    )
    console = Console(soft_wrap=False, highlight=False, markup=False, emoji=False)
    if quiet:
        console.print(conclusion(result.verdicts, about, result.tests))
    else:
        print_summary(console, result.verdicts, about, site.site, map_defects, result.tests)
        console.print()
    console.print(f"Files: {folder}", soft_wrap=True)
    if result.digest:
        console.print(f"Evidence: {result.digest}", soft_wrap=True)
    return ended_as(result.verdicts, result.tests, about.stopped)


def ended_as(verdicts: Sequence[Verdict], tests: Sequence[PlanOutcome], stopped: str) -> ExitCode:
    """The exit code. A run that ended early has proven nothing, whatever it saw before, and neither
    has one with a test of its plan that was left out or is not proven."""
    if stopped == INTERRUPTED:
        return ExitCode.INTERRUPTED
    code = exit_code(verdict.outcome for verdict in verdicts)
    whole = not stopped and all(test.outcome is Outcome.PROVEN for test in tests)
    return ExitCode.SOMETHING_OPEN if code is ExitCode.ALL_PROVEN and not whole else code


def _write(path: Path, text: str) -> None:
    try:
        path.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror}") from error
