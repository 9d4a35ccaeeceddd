"""`gaswitness rehearse`: a virtual panel and the probe in one process."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import FAULT, OUT, QUIET, SCRIPT, SEED, LatencyMs, Speed

if TYPE_CHECKING:
    from gaswitness_scenarios.script import Script
    from gaswitness_sitefile.link_fault import LinkFault
    from gaswitness_sitefile.load import LoadedSite


@click.command(short_help="Play scripts against a virtual panel and judge it.")
@click.argument("site", default="demo")
@SCRIPT
@click.option(
    "--tests",
    "chosen",
    metavar="IDS",
    help="Of a plan only these tests, with commas between: T-001,T-007.",
)
@click.option(
    "--panel",
    metavar="SITE2",
    help="Build the virtual panel from this copy of the site file, to see a deviation found.",
)
@click.option(
    "--link",
    type=click.Choice(["memory", "memory-rtu", "tcp"]),
    default="memory",
    show_default=True,
    help="In memory and in virtual time, in Modbus/TCP or RTU frames, or over a loopback socket.",
)
@click.option(
    "--speed", type=Speed(), help="Panel seconds in a real second, with --link tcp. [default: 20]"
)
@SEED
@click.option(
    "--latency-ms", type=LatencyMs(), help="How long bytes travel in memory. [default: 2:20]"
)
@FAULT
@OUT
@QUIET
def rehearse(  # noqa: PLR0913  # one parameter an option
    *,
    site: str,
    scripts: tuple[str, ...],
    chosen: str | None,
    panel: str | None,
    link: str,
    speed: float | None,
    seed: int,
    latency_ms: tuple[float, float] | None,
    faults: "tuple[LinkFault, ...]",
    out: Path | None,
    quiet: bool,
) -> ExitCode:
    """Play scripts against a virtual panel of SITE and judge what the panel does.

    SITE is a site file, its folder, or the word demo (the default). Without --script all scripts
    in the folder scripts/ beside it are played. Writes run.sqlite (evidence), verdicts.json and
    junit.xml.
    """
    if speed is not None and link != "tcp":
        raise click.UsageError("--speed is for --link tcp: in memory, time jumps")
    if latency_ms is not None and link == "tcp":
        raise click.UsageError("--latency-ms is for --link memory: a socket has its own")
    from rich.console import Console

    from gaswitness.out_folder import make_out_folder
    from gaswitness.progress import watcher
    from gaswitness.run_outcome import EVIDENCE, about_run, tell_outcome
    from gaswitness.site_argument import loaded_site
    from gaswitness.witness_plan import chosen_tests, in_order
    from gaswitness_scenarios.options import (
        REHEARSAL_SPEED,
        Latency,
        RehearsalLink,
        RehearsalOptions,
    )
    from gaswitness_scenarios.run import rehearse as run_rehearsal

    loaded = loaded_site(site)
    panel_site = None if panel is None else loaded_site(panel)
    played = _scripts(scripts, loaded)
    tests = chosen_tests(chosen, played)
    folder = make_out_folder(out, loaded.site.panel.tag, Path())
    options = RehearsalOptions(
        evidence=folder / EVIDENCE,
        link=RehearsalLink(link),
        seed=seed,
        speed=REHEARSAL_SPEED if speed is None else speed,
        panel_site=None if panel_site is None else panel_site.site,
        latency=Latency() if latency_ms is None else Latency(*latency_ms),
        faults=faults,
        tests=None if tests is None else tuple(in_order(played, tests)),
    )
    with watcher(Console(stderr=True), quiet=quiet) as watching:
        result = run_rehearsal(loaded, played, options, watching)
    about = about_run(result, loaded, played, panel_site)
    return tell_outcome(result, about, loaded, folder, quiet=quiet)


def _scripts(written: tuple[str, ...], loaded: "LoadedSite") -> "tuple[Script, ...]":
    from gaswitness.site_argument import loaded_scripts
    from gaswitness_scenarios.library import site_scripts

    wanted = written or tuple(str(path) for path in site_scripts(loaded.path))
    if not wanted:
        raise click.UsageError(
            f"there are no scripts in {loaded.path.parent / 'scripts'}: name one with --script"
        )
    return loaded_scripts(wanted, loaded)
