"""`gaswitness witness`: scripts or a plan run against a panel that is not ours."""

from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import OUT, QUIET, SCRIPT

if TYPE_CHECKING:
    from gaswitness_scenarios.equipment import Equipment
    from gaswitness_scenarios.kept_run import KeptRun

LONGEST_LINE = 100


def _columns() -> int:
    return min(get_terminal_size().columns, LONGEST_LINE)


@click.command(short_help="Run scripts, or a test plan, against a panel and judge it.")
@click.argument("site")
@click.option(
    "--link",
    metavar="L",
    help="tcp://HOST[:PORT][/UNIT], tls://..., rtu+tcp://HOST:PORT, a serial line as "
    "rtu:///dev/ttyUSB0?baud=19200 or rtu:COM3, or the name of a link in the site file. "
    "With --resume left out: the same as before.",
)
@SCRIPT
@click.option(
    "--plan",
    metavar="P",
    help="A test plan, as `gaswitness plan` writes it: a file, or its name in scripts/.",
)
@click.option(
    "--tests",
    "chosen",
    metavar="IDS",
    help="Of the plan only these tests, with commas between: T-001,T-007.",
)
@click.option(
    "--script-driver",
    "driver",
    type=click.Choice(["person", "auto"]),
    default="person",
    show_default=True,
    help="Who plays it: the people here, told step by step, or something else by itself, such as "
    "a virtual panel that holds the same script.",
)
@click.option("--tester", metavar="NAME", help="Who tests; signs each test with initials.")
@click.option("--witness", metavar="NAME", help="Who witnesses; signs each test with initials.")
@click.option(
    "--equipment",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="YAML: people, instruments, calibration gas. `gaswitness schema --equipment` tells it. "
    "With --resume and --retest left out: the same as before.",
)
@click.option(
    "--resume",
    type=click.Path(path_type=Path, exists=True),
    metavar="RUN",
    help="Go on with the run of a plan that was stopped or broke off: its folder, or its record.",
)
@click.option(
    "--retest",
    type=click.Path(path_type=Path, exists=True),
    metavar="RUN",
    help="Do again the tests of an ended run that are not proven: a new issue beside the old.",
)
@click.option(
    "--slack-s",
    type=click.FloatRange(min=0),
    default=2.0,
    show_default=True,
    help="With auto: doubt about when the other side began, where it cannot say.",
)
@OUT
@QUIET
def witness(  # noqa: PLR0913 - one parameter for each option
    *,
    site: str,
    link: str | None,
    scripts: tuple[str, ...],
    plan: str | None,
    chosen: str | None,
    driver: str,
    tester: str | None,
    witness: str | None,
    equipment: Path | None,
    resume: Path | None,
    retest: Path | None,
    slack_s: float,
    out: Path | None,
    quiet: bool,
) -> ExitCode:
    """Run scripts or a plan against the panel at the other end of the link, and judge what it does.

    You are told at each step what to do at the panel or its detectors, and confirm with a key, or
    the panel itself shows it. Gaswitness itself only reads. Writes run.sqlite (evidence),
    verdicts.json and junit.xml; `gaswitness report` makes the report of them.
    """
    from rich.console import Console

    from gaswitness.cautions import CAUTIONS
    from gaswitness.progress import watcher
    from gaswitness.run_outcome import about_run, tell_outcome
    from gaswitness.site_argument import link_address, loaded_site
    from gaswitness.witness_plan import Asked, prepared
    from gaswitness_scenarios.options import DriverChoice, WitnessOptions
    from gaswitness_scenarios.run import witness as run_witness

    loaded = loaded_site(site)
    asked = Asked(scripts, plan, chosen, resume, retest, out)
    ready = prepared(loaded, asked)
    if link is None and ready.link is None:
        raise click.UsageError("name the panel's link with --link L")
    address = link_address(link or str(ready.link), loaded.site)
    options = WitnessOptions(
        link=address,
        driver=DriverChoice(driver),
        evidence=ready.evidence,
        slack_s=slack_s,
        equipment=_equipment(equipment, tester, witness, ready.kept),
        tests=ready.tests,
        earlier=ready.earlier,
        notes=ready.notes,
    )
    talks = options.driver is DriverChoice.PERSON
    if talks:
        click.echo("Before you begin:")
        for line in CAUTIONS:
            click.echo(click.wrap_text(line, _columns(), "- ", "  "))
        click.echo()
    with watcher(Console(stderr=True), quiet=quiet, talks=talks) as watching:
        result = run_witness(loaded, ready.scripts, options, watching)
    about = about_run(result, loaded, ready.scripts)
    return tell_outcome(result, about, loaded, ready.folder, quiet=quiet, issue=ready.issue)


def _equipment(
    file: Path | None, tester: str | None, witness: str | None, kept: "KeptRun | None"
) -> "Equipment":
    """As the command line says; what it leaves out, as the record before says."""
    from gaswitness_scenarios.clock import today
    from gaswitness_scenarios.equipment import (
        Equipment,
        Participant,
        equipment_kept,
        load_equipment,
    )

    if file is not None:
        found = load_equipment(file, today())
    elif kept is not None:
        people, instruments, gases = (
            [entry.body for entry in part]
            for part in (kept.people, kept.instruments, kept.test_gases)
        )
        found = equipment_kept(people, instruments, gases, today())
    else:
        found = Equipment(gaswitness_equipment=1)
    named = {"tester": tester, "witness": witness}
    given = {role: Participant(name=name) for role, name in named.items() if name}
    return found.model_copy(update=given)
