"""`gaswitness trace`: what a script does to a virtual panel, as a picture and as a table."""

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import SEED

MADE_BY: Final = "<!-- drawn by gaswitness trace -->"
"""Stands in every drawing: only its own drawings are drawn anew in their place."""


@click.command(short_help="Draw what a script does to a virtual panel.")
@click.argument("site", default="demo")
@click.option(
    "--script",
    required=True,
    metavar="S",
    help="A script: a file, or the name of one in scripts/ beside the site file.",
)
@click.option(
    "--out",
    "-o",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.svg",
    help="The drawing. [default: ./trace-TAG-SCRIPT.svg]",
)
@click.option(
    "--csv",
    "table",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.csv",
    help="Also write every sample into a table.",
)
@click.option(
    "--events",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.csv",
    help="Also write the panel's event log into a table.",
)
@click.option("--channel", "channels", multiple=True, metavar="TAG", help="Draw this channel.")
@click.option("--output", "outputs", multiple=True, metavar="TAG", help="Draw this output.")
@click.option(
    "--from",
    "from_s",
    type=click.FloatRange(min=0),
    default=0.0,
    metavar="SECONDS",
    help="Draw from this time of the panel on; what came before still counts.",
)
@click.option(
    "--until",
    "until_s",
    type=click.FloatRange(min=0),
    metavar="SECONDS",
    help="Draw until then. [default: the script's end]",
)
@SEED
def trace(  # noqa: PLR0913  # one parameter an option
    *,
    site: str,
    script: str,
    out: Path | None,
    table: Path | None,
    events: Path | None,
    channels: tuple[str, ...],
    outputs: tuple[str, ...],
    from_s: float,
    until_s: float | None,
    seed: int,
) -> ExitCode:
    """Play a script onto the virtual panel of SITE (a site file, its folder, or the word demo) in
    virtual time, with nothing on a wire, and draw it.

    Drawn are readings with their setpoints, gas at the detectors, alarm levels, flags and outputs,
    and what happened. Without --channel and --output: all to which anything happened.
    """
    from importlib.metadata import version

    from gaswitness.chart_svg import chart_svg
    from gaswitness.events_csv import COLUMNS, events_csv
    from gaswitness.site_argument import loaded_scripts, loaded_site
    from gaswitness.trace_chart import Chosen, trace_chart
    from gaswitness.trace_csv import FIRST_COLUMN, trace_csv
    from gaswitness_scenarios.panel_trace import trace_panel

    loaded = loaded_site(site)
    (played,) = loaded_scripts([script], loaded)
    found = loaded.site
    _known(channels, found.channel_of, "--channel", "channel")
    _known(outputs, found.output_of, "--output", "output")
    end_s = played.length_s if until_s is None else until_s
    if from_s >= end_s:
        raise click.BadParameter(
            f"the drawing would end at {end_s:g} s, not after it begins: write a smaller number",
            param_hint="--from",
        )
    drawing = out or Path(f"trace-{_plain(found.panel.tag)}-{_plain(played.name)}.svg")
    _may_write(drawing, MADE_BY)
    if table is not None:
        _may_write(table, FIRST_COLUMN + ",")
    if events is not None:
        _may_write(events, ",".join(COLUMNS))
    seen = trace_panel(found, played, seed=seed, from_s=from_s, until_s=end_s)
    chart = trace_chart(seen, Chosen(channels, outputs), f"gaswitness {version('gaswitness')}")
    _write(drawing, f"{MADE_BY}\n{chart_svg(chart)}")
    if table is not None:
        _write(table, trace_csv(seen))
    if events is not None:
        _write(events, events_csv(seen))
    also = "".join(f"; {path}" for path in (table, events) if path is not None)
    samples = len(seen.samples)
    click.echo(f"{drawing}: {end_s - from_s:g} s of panel time, {samples} samples{also}")
    return ExitCode.ALL_PROVEN


def _known(tags: Iterable[str], known: Iterable[str], option: str, what: str) -> None:
    from gaswitness_sitefile.problems import one_of

    for tag in tags:
        if tag not in known:
            raise click.BadParameter(
                f"the site has no {what} {tag!r}: {one_of(tag, known)}", param_hint=option
            )


def _plain(name: str) -> str:
    return "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in name)


def _may_write(path: Path, begins: str) -> None:
    """Refuse to write over anything but an earlier one of the same kind."""
    from gaswitness.out_folder import OutputError

    try:
        with path.open(encoding="utf-8", errors="replace") as there:
            ours = there.read(len(begins)) == begins
    except FileNotFoundError:
        return
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror}") from None
    if not ours:
        raise OutputError(f"{path}: is there, and no earlier trace: name another file")


def _write(path: Path, text: str) -> None:
    from gaswitness.out_folder import OutputError

    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror}") from None
