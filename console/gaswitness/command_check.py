"""`gaswitness check`: load a site file, list every error, or every doubtful thing."""

from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness_sitefile.load import LoadedSite
    from gaswitness_sitefile.rules import DesignWarning


@click.command(short_help="Load a site file and list what is wrong or doubtful in it.")
@click.argument("site")
@click.option("--script", "scripts", multiple=True, metavar="S", help="Check this script too.")
@click.option("--strict", is_flag=True, help="Exit with 3 where there are warnings.")
def check(site: str, scripts: tuple[str, ...], *, strict: bool) -> ExitCode:
    """Load SITE (a file, its folder, or the word demo) with its tables.

    Errors are listed all at once, as FILE:LINE:COLUMN, what is wrong, and what to write: exit 2.
    Without errors the design rules are asked, and what they warn of is listed: exit 0, or 3 with
    --strict.
    """
    from gaswitness.site_argument import loaded_scripts, loaded_site
    from gaswitness_sitefile.rules import design_warnings

    loaded = loaded_site(site)
    found_scripts = loaded_scripts(scripts, loaded)
    warnings = design_warnings(loaded)
    for warning in warnings:
        click.echo(_worded(warning))
    click.echo(_contents(loaded, len(found_scripts), len(warnings)))
    return ExitCode.SOMETHING_OPEN if strict and warnings else ExitCode.ALL_PROVEN


def _worded(warning: "DesignWarning") -> str:
    return (
        f"{warning.place}: warning: {warning.what} [{warning.rule}]\n"
        f"    why: {warning.reason}\n"
        f"    source: {warning.source}"
    )


def _contents(loaded: "LoadedSite", scripts: int, warnings: int) -> str:
    site = loaded.site
    counted = [
        (len(site.channels), "channel"),
        (len(site.inputs), "input"),
        (len(site.outputs), "output"),
        (len(site.matrix), "cell"),
        (len(site.points), "point"),
        *([(scripts, "script")] if scripts else []),
    ]
    parts = ", ".join(_plural(number, word) for number, word in counted)
    return f"{loaded.path}: {site.panel.tag}: {parts}; no errors, {_plural(warnings, 'warning')}"


def _plural(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
