"""`gaswitness verify`: whether a record stands, and whether its verdicts follow from it."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness_scenarios.verify_run import Check, Report

MOST_DETAILS: Final = 20


@click.command(short_help="Check that a record of evidence stands, and judge it again.")
@click.argument("record", type=click.Path(path_type=Path))
@click.option("--head", metavar="DIGEST", help="The digest that the run printed at its end.")
@click.option(
    "--site", metavar="SITE", help="The site file that the run is to have been made with."
)
@click.option("--chain-only", is_flag=True, help="Check file and chain, and judge nothing again.")
def verify(record: Path, head: str | None, site: str | None, chain_only: bool) -> ExitCode:  # noqa: FBT001  # click's way
    """Check RECORD, a run.sqlite or the folder that holds it, by itself alone.

    That its bytes and its chain of entries are as they were written, that it keeps the site file
    it names, that every sample follows from the raw exchanges, and that the verdicts follow from
    all that: it is judged again, and must come out the same.

    Whoever holds a record can write all of it anew, fit together. Only --head with the digest
    printed when the run ended tells that, so print it beside the signatures. Exit 0 if all stands,
    1 if not.
    """
    from gaswitness.site_argument import loaded_site
    from gaswitness_scenarios.run_files import records_of
    from gaswitness_scenarios.verify_run import verify_run

    records = records_of(record)
    if head is not None and len(records) > 1:
        raise click.UsageError("--head is the digest of one record: name its file, not the folder")
    given = None if site is None else loaded_site(site)
    reports = [verify_run(path, head=head, site=given, chain_only=chain_only) for path in records]
    for report in reports:
        _tell(report)
    good = all(report.holds for report in reports)
    good = _retests_stand(reports) and good
    return ExitCode.ALL_PROVEN if good else ExitCode.SOMETHING_FAILED


def _tell(report: "Report") -> None:
    click.echo(f"{report.path}")
    for check in report.checks:
        click.echo(f"  {check.what:<9}{check.state:<8}{check.words}")
        for line in _details(check):
            click.echo(f"{'':<19}{line}")


def _details(check: "Check") -> list[str]:
    shown = list(check.details[:MOST_DETAILS])
    if len(check.details) > MOST_DETAILS:
        shown.append(f"and {len(check.details) - MOST_DETAILS} more")
    return shown


def _retests_stand(reports: "list[Report]") -> bool:
    """Whether each retest in a folder is one of a record that is there as it then was."""
    heads = {report.digest for report in reports}
    good = True
    for report in reports:
        if report.retest_of and len(reports) > 1 and report.retest_of not in heads:
            click.echo(
                f"{report.path}: is a retest of the record with the digest {report.retest_of}, "
                "which is not in this folder"
            )
            good = False
    return good
