"""`gaswitness survey`: a panel's register map against the site file, and nothing else."""

from pathlib import Path

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import LINK, OUT, QUIET


@click.command(short_help="Check a panel's register map, and nothing else.")
@click.argument("site")
@LINK
@OUT
@QUIET
def survey(*, site: str, link: str, out: Path | None, quiet: bool) -> ExitCode:
    """Check over the link that every point of SITE is where the site file says, and plausible.

    Reads only, never faster than the site file's pace. Nobody needs to touch the panel.
    """
    from rich.console import Console

    from gaswitness.out_folder import make_out_folder
    from gaswitness.progress import watcher
    from gaswitness.run_outcome import EVIDENCE, about_run, tell_outcome
    from gaswitness.site_argument import link_address, loaded_site
    from gaswitness_scenarios.options import SurveyOptions
    from gaswitness_scenarios.run import survey as run_survey

    loaded = loaded_site(site)
    address = link_address(link, loaded.site)
    folder = make_out_folder(out, loaded.site.panel.tag, Path())
    options = SurveyOptions(link=address, evidence=folder / EVIDENCE)
    with watcher(Console(stderr=True), quiet=quiet) as watching:
        result = run_survey(loaded, options, watching)
    return tell_outcome(result, about_run(result, loaded, ()), loaded, folder, quiet=quiet)
