"""`gaswitness serve`: virtual panels on Modbus links."""

import re
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import FAULT, SCRIPT, SEED, Listen, Speed
from gaswitness_sitefile.link_fault_text import EXAMPLE, NOTATION, all_forms

if TYPE_CHECKING:
    from gaswitness_scenarios.serve import ServedSite
    from gaswitness_sitefile.link_address import LinkAddress
    from gaswitness_sitefile.link_fault import LinkFault


class _WithFaults(click.Command):
    """Its help ends with the kinds of link faults and how they are written."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        super().format_epilog(ctx, formatter)
        with formatter.section("Link faults (--fault)"):
            formatter.write_text(
                f"{NOTATION}. For example: {EXAMPLE}. A delay is one time (0.3 s, 300 ms), lies "
                "between two (0.2..1.5 s), or has a heavy tail (about 0.3 s)."
            )
        with formatter.section("Kinds, with the values that each may have"):
            formatter.write_dl(all_forms(), col_max=34)


@click.command(cls=_WithFaults, short_help="Be a virtual panel on Modbus links.")
@click.argument("sites", nargs=-1, metavar="[SITE[@UNIT]]...")
@SCRIPT
@click.option(
    "--listen",
    "links",
    type=Listen(),
    multiple=True,
    default=("127.0.0.1:5020",),
    show_default=True,
    help="HOST:PORT, or a tcp://, tls://, rtu+tcp:// or rtu: link; may be given more than once. "
    "Port 0 takes any that is free, rtu:pty a new pseudo-terminal.",
)
@click.option(
    "--beyond-loopback",
    is_flag=True,
    help="Allow links that other devices reach. The protocol has no password.",
)
@click.option(
    "--start",
    type=click.Choice(["control", "now"]),
    default="control",
    show_default=True,
    help="Play the scripts when a witness run asks for it, or at once.",
)
@click.option(
    "--speed", type=Speed(), default=1.0, show_default=True, help="Panel seconds in a real second."
)
@click.option(
    "--unit",
    type=click.IntRange(0, 255),
    help="Unit id of the only SITE. [default: the site's, or 1]",
)
@click.option(
    "--unknown-unit",
    type=click.Choice(["silence", "0A", "0B"], case_sensitive=False),
    default="silence",
    show_default=True,
    help="What other unit ids get over TCP: silence, or a gateway's exception.",
)
@click.option(
    "--writer-role",
    "writers",
    multiple=True,
    metavar="ROLE",
    help="Role in a client's certificate that may write over tls; may be given more than once. "
    "[default: none may]",
)
@FAULT
@SEED
def serve(  # noqa: PLR0913  # one parameter an option
    *,
    sites: tuple[str, ...],
    scripts: tuple[str, ...],
    links: "tuple[LinkAddress, ...]",
    beyond_loopback: bool,
    start: str,
    speed: float,
    unit: int | None,
    unknown_unit: str,
    writers: tuple[str, ...],
    faults: "tuple[LinkFault, ...]",
    seed: int,
) -> ExitCode:
    """Be the panel of SITE (a site file, its folder, or the word demo) until Ctrl-C.

    Several SITEs, each with its unit id as in demo@1 demo@2, share every link. Scripts are played
    on the first. They protect nobody; their device identification says that they are virtual.
    """
    from gaswitness.site_argument import loaded_scripts
    from gaswitness_scenarios.options import ServeOptions, Start
    from gaswitness_scenarios.serve import serve as serve_panels
    from gaswitness_simulator.units import UnknownUnit

    panels = _panels(sites or ("demo",), unit, links)
    options = ServeOptions(
        listen=links,
        speed=speed,
        seed=seed,
        start=Start(start),
        beyond_loopback=beyond_loopback,
        unknown_unit=UnknownUnit(unknown_unit),
        writers=writers,
        faults=faults,
    )
    serve_panels(panels, loaded_scripts(scripts, panels[0].site), options, click.echo)
    return ExitCode.ALL_PROVEN


def _panels(
    sites: tuple[str, ...], unit: int | None, links: "tuple[LinkAddress, ...]"
) -> "list[ServedSite]":
    """The sites, each with its unit id: of its own, of --unit, or of the links."""
    from gaswitness.site_argument import loaded_site
    from gaswitness_scenarios.serve import ServedSite

    asked = {link.unit for link in links if link.unit is not None}
    asked |= set() if unit is None else {unit}
    found = [re.fullmatch(r"(?P<site>.+?)(?:@(?P<unit>[0-9]{1,3}))?", site) for site in sites]
    written = [one for one in found if one is not None]
    asked |= {int(one["unit"]) for one in written if one["unit"] and len(written) == 1}
    if len(asked) > 1 or (asked and len(written) > 1):
        raise click.UsageError(
            "say the unit id once: as SITE@UNIT, with --unit, or in --listen; several SITEs take "
            "SITE@UNIT alone"
        )
    if any(int(one["unit"] or 0) > 255 for one in written):
        raise click.UsageError("a unit id is a number from 0 to 255, as in demo@7")
    only = next(iter(asked), None)
    return [
        ServedSite(loaded_site(one["site"]), int(one["unit"]) if one["unit"] else only)
        for one in written
    ]
