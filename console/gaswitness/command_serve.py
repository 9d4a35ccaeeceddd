"""`gaswitness serve`: a virtual panel on a Modbus/TCP port."""

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import SCRIPT, SEED, Listen, Speed


@click.command(short_help="Be a virtual panel on a Modbus/TCP port.")
@click.argument("site", default="demo")
@SCRIPT
@click.option(
    "--listen",
    type=Listen(),
    default="127.0.0.1:5020",
    show_default=True,
    help="Port 0 takes any that is free.",
)
@click.option(
    "--beyond-loopback",
    is_flag=True,
    help="Allow an address that other machines reach. The protocol has no password.",
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
@click.option("--unit", type=click.IntRange(0, 255), help="Unit id. [default: the site's, or 1]")
@SEED
def serve(  # noqa: PLR0913  # one parameter an option
    *,
    site: str,
    scripts: tuple[str, ...],
    listen: tuple[str, int],
    beyond_loopback: bool,
    start: str,
    speed: float,
    unit: int | None,
    seed: int,
) -> ExitCode:
    """Be the panel of SITE (a site file, its folder, or the word demo) until Ctrl-C.

    It protects nobody. Its device identification says that it is virtual.
    """
    from gaswitness.site_argument import loaded_scripts, loaded_site
    from gaswitness_scenarios.options import ServeOptions, Start
    from gaswitness_scenarios.serve import serve as serve_panel

    loaded = loaded_site(site)
    played = loaded_scripts(scripts, loaded)
    host, port = listen
    options = ServeOptions(
        host=host,
        port=port,
        speed=speed,
        seed=seed,
        unit=unit,
        start=Start(start),
        beyond_loopback=beyond_loopback,
    )
    serve_panel(loaded, played, options, click.echo)
    return ExitCode.ALL_PROVEN
