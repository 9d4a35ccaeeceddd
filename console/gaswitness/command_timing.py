"""`gaswitness timing`: what polling a site takes on a link, and what it can prove."""

import click

from gaswitness.exit_codes import ExitCode


@click.command(short_help="Work out what a link can prove at the site's pace.")
@click.argument("site")
@click.option(
    "--link",
    metavar="L",
    help="An address such as tcp://HOST:PORT/UNIT or rtu:///dev/ttyUSB0?baud=19200, or the name of "
    "a link in the site file. [default: the site file's first link]",
)
@click.option("--measure", is_flag=True, help="Ask the panel, and compare. Reads only.")
@click.option(
    "--cycles",
    type=click.IntRange(1, 10_000),
    default=20,
    show_default=True,
    help="With --measure: how many times the whole plan is read.",
)
def timing(*, site: str, link: str | None, measure: bool, cycles: int) -> ExitCode:
    """Work out for SITE the requests of its read plan and their time on the wire, the cycle, how
    old a reading is when it is seen, and of which cells and delays the response can be proven.

    Without --measure nothing is sent. Exit codes: 0 every cell can be proven; 3 something may come
    out inconclusive, however good the panel; 4 no link.
    """
    from rich.console import Console

    from gaswitness.site_argument import link_address, loaded_site
    from gaswitness.timing_tables import print_timing
    from gaswitness.timing_words import all_proven
    from gaswitness_probe.provable import provable
    from gaswitness_scenarios.measure import measure as measure_link
    from gaswitness_scenarios.measure import with_answer
    from gaswitness_scenarios.run import unit_of

    loaded = loaded_site(site).site
    links = loaded.links
    address = link_address(link, loaded) if link else (links[0].where if links else None)
    measured = None
    if measure:
        if address is None:
            raise click.UsageError("the site file has no link to measure: write --link L")
        unit = unit_of(loaded) if address.unit is None else address.unit
        click.echo(f"Reading from {address}, {cycles} cycles at the site file's pace ...", err=True)
        measured = measure_link(loaded, address, unit, cycles)
        if measured.answer_s is not None:
            loaded = with_answer(loaded, measured.answer_s)
    found = provable(loaded, address)
    console = Console(soft_wrap=False, highlight=False, markup=False, emoji=False)
    print_timing(console, found, address, measured)
    silent = measured is not None and any(one.took is None for one in measured.requests)
    fine = all_proven(found) and not silent
    return ExitCode.ALL_PROVEN if fine else ExitCode.SOMETHING_OPEN
