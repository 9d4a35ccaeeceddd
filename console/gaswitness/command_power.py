"""`gaswitness power`: voltages on the detector bus, what drops out, spur and battery."""

import click

from gaswitness.exit_codes import ExitCode


@click.command(short_help="Work out the bus's voltages, drop-outs, spur and battery.")
@click.argument("site")
def power(site: str) -> ExitCode:
    """Work out the power of SITE (a file, its folder, or the word demo) from its `bus` section.

    Segment by segment and device by device, at rest and in full alarm, on mains and at the end of
    the battery: the voltage, what drops out and in which order, the worst device; then the spur's
    fuse, and the battery's size. Nothing is on a wire.

    Exit codes: 0 everything has its voltage; 1 something drops out, or bus output, fuse or battery
    is too small; 2 wrong usage or site file; 3 it cannot be judged from what the file says.
    """
    from rich.console import Console

    from gaswitness.power_tables import print_power
    from gaswitness.site_argument import loaded_site
    from gaswitness_simulator.power_budget import power_budget
    from gaswitness_sitefile.rules import BUS_RULES, design_warnings

    loaded = loaded_site(site)
    if loaded.site.bus is None:
        click.echo(f"{loaded.path}: the site file has no section 'bus'")
        click.echo("NOT JUDGED: state supply_v, devices and segments in it")
        return ExitCode.SOMETHING_OPEN
    budget = power_budget(loaded.site)
    of_the_bus = {rule.id for rule in BUS_RULES}
    warnings = [one for one in design_warnings(loaded) if one.rule in of_the_bus]
    console = Console(soft_wrap=False, highlight=False, markup=False, emoji=False)
    print_power(console, budget, loaded.site.panel.tag, warnings)
    if budget.too_small:
        return ExitCode.SOMETHING_FAILED
    return ExitCode.SOMETHING_OPEN if budget.unstated else ExitCode.ALL_PROVEN
