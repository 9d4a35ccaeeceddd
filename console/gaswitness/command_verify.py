"""`gaswitness verify`: whether a record of evidence stands as it was written."""

from pathlib import Path

import click

from gaswitness.exit_codes import ExitCode


@click.command(short_help="Check that a record of evidence stands as it was written.")
@click.argument("record", type=click.Path(path_type=Path))
@click.option("--head", metavar="DIGEST", help="The digest that the run printed at its end.")
def verify(record: Path, head: str | None) -> ExitCode:
    """Follow the hash chain of RECORD (run.sqlite) from its first entry to its last.

    Without --head a record that was cut short, or written anew as a whole, cannot be told: compare
    the digest shown with the one printed when the run ended. Exit 0 if it stands, 1 if not.
    """
    from gaswitness_probe.evidence import verify_chain

    report = verify_chain(record, head=head)
    if report.ok:
        click.echo(f"{record}: {report.entries} entries stand as written; digest {report.head}")
        if not report.ended:
            click.echo(
                "it does not hold the run's end: the run broke off, or the record was cut short"
            )
        return ExitCode.ALL_PROVEN
    click.echo(f"{record}: {report.entries} entries stand; then {report.why}")
    return ExitCode.SOMETHING_FAILED
