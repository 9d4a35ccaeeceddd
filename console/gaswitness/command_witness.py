"""`gaswitness witness`: scripts run against a panel that is not ours."""

from pathlib import Path
from shutil import get_terminal_size

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import LINK, OUT, QUIET, SCRIPT

LONGEST_LINE = 100


def _columns() -> int:
    return min(get_terminal_size().columns, LONGEST_LINE)


@click.command(short_help="Run scripts against a panel and judge it.")
@click.argument("site")
@LINK
@SCRIPT
@click.option(
    "--script-driver",
    "driver",
    type=click.Choice(["person", "auto"]),
    default="person",
    show_default=True,
    help="Who plays the script: the person here, told step by step, or something else by itself.",
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
def witness(
    *,
    site: str,
    link: str,
    scripts: tuple[str, ...],
    driver: str,
    slack_s: float,
    out: Path | None,
    quiet: bool,
) -> ExitCode:
    """Run scripts against the panel at the other end of the link, and judge what it does.

    You are told at each step what to do at the panel or its detectors, and confirm with a key.
    Gaswitness itself only reads. Writes run.sqlite (evidence), verdicts.json and junit.xml.
    """
    if not scripts:
        raise click.UsageError("name what is to be done with --script S")
    from rich.console import Console

    from gaswitness.cautions import CAUTIONS
    from gaswitness.out_folder import make_out_folder
    from gaswitness.progress import watcher
    from gaswitness.run_outcome import EVIDENCE, about_run, tell_outcome
    from gaswitness.site_argument import link_address, loaded_scripts, loaded_site
    from gaswitness_scenarios.options import DriverChoice, WitnessOptions
    from gaswitness_scenarios.run import witness as run_witness

    loaded = loaded_site(site)
    address = link_address(link, loaded.site)
    played = loaded_scripts(scripts, loaded)
    folder = make_out_folder(out, loaded.site.panel.tag, Path())
    options = WitnessOptions(
        link=address, driver=DriverChoice(driver), evidence=folder / EVIDENCE, slack_s=slack_s
    )
    talks = options.driver is DriverChoice.PERSON
    if talks:
        click.echo("Before you begin:")
        for line in CAUTIONS:
            click.echo(click.wrap_text(line, _columns(), "- ", "  "))
        click.echo()
    with watcher(Console(stderr=True), quiet=quiet, talks=talks) as watching:
        result = run_witness(loaded, played, options, watching)
    return tell_outcome(result, about_run(result, loaded, played), loaded, folder, quiet=quiet)
