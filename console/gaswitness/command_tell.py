"""`gaswitness tell`: do things to a running served panel, and to its link."""

from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode
from gaswitness.run_options import FAULT, Listen

if TYPE_CHECKING:
    from gaswitness_sitefile.link_address import LinkAddress
    from gaswitness_sitefile.link_fault import LinkFault


@click.command(short_help="Do things to a served panel, or to its link.")
@click.argument("control", type=Listen())
@click.option(
    "--step",
    "steps",
    type=click.IntRange(min=1),
    multiple=True,
    metavar="N",
    help="Do step N of the script that it serves, at once; may be given more than once.",
)
@click.option(
    "--script", metavar="NAME", help="Of which script the steps are, where it serves several."
)
@click.option("--rest", is_flag=True, help="Undo what was done: clean air, no faults, power on.")
@click.option(
    "--press",
    "keys",
    type=click.Choice(["reset", "accept", "mute"]),
    multiple=True,
    help="Press a key at the panel; may be given more than once.",
)
@click.option(
    "--clear",
    multiple=True,
    metavar="KIND",
    help="End the link faults of this kind, or all; may be given more than once. Comes before "
    "what --fault begins.",
)
@FAULT
def tell(
    *,
    control: "LinkAddress",
    steps: tuple[int, ...],
    script: str | None,
    rest: bool,
    keys: tuple[str, ...],
    clear: tuple[str, ...],
    faults: "tuple[LinkFault, ...]",
) -> ExitCode:
    """Do to a panel that `gaswitness serve` serves what hands would do to a real one: steps of its
    script, keys; or change what its link does wrong.

    CONTROL is the address that serve prints as "control on". With it one can practise a witness
    run by people: do each step here when it is asked for there. Prints what was seen, and the link
    faults that act.
    """
    from gaswitness_scenarios.tell import Telling, tell_panel

    telling = Telling(steps=steps, script=script, rest=rest, keys=keys, clear=clear, faults=faults)
    for text in tell_panel(control.host, control.port, telling):
        click.echo(text)
    return ExitCode.ALL_PROVEN
