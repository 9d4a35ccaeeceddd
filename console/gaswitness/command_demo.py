"""`gaswitness demo`: the demo site with its tables and scripts, written into a folder."""

from pathlib import Path

import click


@click.command(short_help="Write the demo site into a folder, to start your own from.")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
def demo(folder: Path) -> None:
    """Write the demo site, its tables and its scripts into DIR. Nothing is overwritten."""
    from gaswitness_scenarios.library import copy_demo

    for path in copy_demo(folder):
        click.echo(path)
    click.echo(
        f"\nNow: gaswitness check {folder}\n"
        f"     gaswitness rehearse {folder}\n"
        f"     gaswitness serve {folder}"
    )
