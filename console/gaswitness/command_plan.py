"""`gaswitness plan`: the test of a panel, written from its matrix and points list."""

from pathlib import Path

import click

from gaswitness.exit_codes import ExitCode


@click.command(short_help="Write the test from the matrix and the points list.")
@click.argument("site", default="demo")
@click.option(
    "--out",
    "-o",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.yaml",
    help="Write the plan there: a script like any other, to be edited, rehearsed and witnessed.",
)
@click.option(
    "--link",
    metavar="L",
    help="The link that it is to be run over: holds are made for its pace. An address, or the name "
    "of a link in the site file. [default: the site file's first link]",
)
@click.option(
    "--only",
    multiple=True,
    metavar="WHAT",
    help="Only tests of this tag, test number such as T-004, or group: inputs, faults, outputs, "
    "readings, levels, cells, gates, exposures, power. May be given several times.",
)
@click.option(
    "--at-once",
    type=click.IntRange(1),
    metavar="N",
    help="At most so many detectors in gas at a time, votes and sums aside. [default: no bound]",
)
@click.option(
    "--look",
    type=click.Choice(["all", "unshown", "none"]),
    default="all",
    show_default=True,
    help="Which outputs a person is asked to look at: every one, once acting and once at rest; or "
    "those that no point shows.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the figures for machines.")
def plan(
    *,
    site: str,
    out: Path | None,
    link: str | None,
    only: tuple[str, ...],
    at_once: int | None,
    look: str,
    as_json: bool,
) -> ExitCode:
    """Write the test of SITE (a site file, its folder, or the word demo) from its cause-and-effect
    matrix and its points list, and say what it takes and what it covers.

    Every test of the plan begins and ends with a panel at rest, so that any one can be left out,
    done again, or moved. Nothing is sent to anyone. Exit codes: 0 every kind of every cell that
    applies is planned; 3 something is not, and it says why.
    """
    import sys

    from gaswitness.plan_json import plan_json
    from gaswitness.plan_tables import print_plan
    from gaswitness.plan_words import about_plan
    from gaswitness.site_argument import link_address, loaded_site
    from gaswitness_scenarios.plan import make_plan
    from gaswitness_scenarios.plan_report import figures

    loaded = loaded_site(site).site
    address = link_address(link, loaded) if link else None
    if address is None and loaded.links:
        address = loaded.links[0].where
    made = make_plan(loaded, address, looks=look, at_once=at_once or 0)
    if only:
        known = made.words
        for one in only:
            if one not in known:
                raise click.BadParameter(
                    f"the plan has no tests of '{one}': write a tag, a test number from "
                    f"{made.tests[0].id} to {made.tests[-1].id}, or one of "
                    f"{', '.join(made.groups)}",
                    param_hint="--only",
                )
        made = made.only(only)
    found = figures(made, address)
    if out is not None:
        _write(out, made.text(about_plan(made, found)))
    if as_json:
        click.echo(plan_json(made, found))
    else:
        from rich.console import Console

        print_plan(Console(file=sys.stdout, highlight=False, markup=False), made, found, out)
    return ExitCode.SOMETHING_OPEN if found.open else ExitCode.ALL_PROVEN


def _write(path: Path, text: str) -> None:
    """A plan may have been edited by hand: none is ever overwritten."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise click.UsageError(
            f"{path} is there already, and may have been edited: name another file, or move it away"
        ) from error
    except OSError as error:
        raise click.UsageError(
            f"{path} cannot be written ({error.strerror}): name another file"
        ) from error
