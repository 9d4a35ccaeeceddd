"""`gaswitness tell`: change what the link of a running served panel does wrong."""

from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import FAULT, Listen

if TYPE_CHECKING:
    from gaswitness_sitefile.link_address import LinkAddress
    from gaswitness_sitefile.link_fault import LinkFault


@click.command(short_help="Change the link faults of a served panel.")
@click.argument("control", type=Listen())
@click.option(
    "--clear",
    multiple=True,
    metavar="KIND",
    help="End the link faults of this kind, or all; may be given more than once. Comes before "
    "what --fault begins.",
)
@FAULT
def tell(
    *, control: "LinkAddress", clear: tuple[str, ...], faults: "tuple[LinkFault, ...]"
) -> ExitCode:
    """Tell a panel that `gaswitness serve` serves what its link is to do from now on.

    CONTROL is the address that serve prints as "control on". Prints the link faults that act.
    """
    from gaswitness_scenarios.tell import tell_link

    for text in tell_link(control.host, control.port, clear=clear, faults=faults) or ("no faults",):
        click.echo(text)
    return ExitCode.ALL_PROVEN
