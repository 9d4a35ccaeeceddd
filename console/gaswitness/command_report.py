"""`gaswitness report`: the report of a run, made from its evidence alone."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaswitness.report_blocks import Sheets
    from gaswitness.report_data import AttachedFile, Report
    from gaswitness.report_issues import Issue

SQLITE: Final = "application/vnd.sqlite3"


@click.command(short_help="Make the report of a run from its evidence.")
@click.argument("run", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="A new or empty folder. [default: ./report-TAG]",
)
@click.option("--pdf", is_flag=True, help="A PDF/A-3b as well, the evidence attached (extra pdf).")
@click.option("--document", "number", default="", metavar="NO", help="Document number.")
@click.option("--revision", default="", metavar="R", help="Revision. [default: the newest issue]")
@click.option("--stage", type=click.Choice(["fat", "sat"]), help="Factory or site acceptance test.")
@click.option(
    "--sign",
    "certificate",
    type=click.Path(path_type=Path),
    metavar="CERT.p12",
    help="Sign the PDF with the key of this PKCS #12 file (extra sign).",
)
@click.option(
    "--sign-password-env",
    "variable",
    metavar="VAR",
    help="Environment variable with the password of CERT.p12.",
)
def report(  # noqa: PLR0913  # click's way: one argument an option
    *,
    run: Path,
    output: Path | None,
    pdf: bool,
    number: str,
    revision: str,
    stage: str | None,
    certificate: Path | None,
    variable: str | None,
) -> ExitCode:
    """Make the report of RUN, a run's folder or one evidence file, in a folder of its own.

    report.html is one file that reads on screen and on paper; report.json, junit.xml, steps.csv,
    punch.csv and steps.xlsx are for other programs. A folder with retests (run-2.sqlite) makes one
    report: each thing by its newest verdict. Nothing but the evidence is read, and nothing is
    overwritten.

    Exit 0 once the report is made, whatever it says; 1 where the record does not stand as written.
    """
    from concurrent.futures import ThreadPoolExecutor

    from gaswitness.out_folder import make_out_folder
    from gaswitness.report_build import Chosen, build_report
    from gaswitness.report_html import report_html
    from gaswitness.report_issues import read_issues
    from gaswitness.report_pages import report_sheets

    if certificate is not None and not pdf:
        raise click.UsageError("--sign signs the PDF: write --pdf as well")
    password = _password(variable)
    issues = read_issues(run)
    made = build_report(issues, Chosen(number, revision, stage or ""))
    sheets = report_sheets(made, issues)
    with ThreadPoolExecutor(1) as beside:
        # typst works outside Python's lock: the other files are made meanwhile
        drawn = beside.submit(_pdf, sheets, made, issues, certificate, password) if pdf else None
        files = {"report.html": report_html(sheets).encode("utf-8"), **_for_programs(made)}
        if drawn is not None:
            files["report.pdf"] = drawn.result()
    tag = made.identity.tag
    plain = "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in tag)
    folder = make_out_folder(output or Path(f"report-{plain}"), tag, Path())
    _write(folder, files)
    click.echo(made.headline)
    click.echo(f"{folder}: {', '.join(files)}")
    broken = [one for one in made.issues if one.chain.startswith("BROKEN")]
    for one in broken:
        click.echo(f"issue {one.issue}: {one.chain}", err=True)
    return ExitCode.SOMETHING_FAILED if broken else ExitCode.ALL_PROVEN


def _password(variable: str | None) -> str:
    if variable is None:
        return ""
    if variable not in os.environ:
        raise click.UsageError(
            f"there is no environment variable {variable}: set it, or name another"
        )
    return os.environ[variable]


def _for_programs(made: "Report") -> dict[str, bytes]:
    from gaswitness.report_json import report_json
    from gaswitness.report_junit import report_junit
    from gaswitness.report_tables import punch_csv, steps_book, steps_csv

    return {
        "report.json": report_json(made).encode("utf-8"),
        "junit.xml": report_junit(made).encode("utf-8"),
        "steps.csv": steps_csv(made).encode("utf-8"),
        "punch.csv": punch_csv(made).encode("utf-8"),
        "steps.xlsx": steps_book(made),
    }


def _pdf(
    sheets: "Sheets",
    made: "Report",
    issues: "Sequence[Issue]",
    certificate: Path | None,
    password: str,
) -> bytes:
    from importlib.metadata import version

    from gaswitness.report_pdf import Attached, Imprint, report_pdf
    from gaswitness.report_sign import signed_pdf

    newest = made.issues[-1]
    imprint = Imprint(
        software=f"gaswitness {version('gaswitness')}",
        foot=f"Evidence of issue {newest.issue}: {newest.digest}",
        stamp=issues[-1].stamp,
    )
    attached = [
        Attached(one.path, one.path.name, SQLITE, f"Evidence, issue {one.name}") for one in issues
    ]
    attached += [
        Attached(
            one.content, _attached_name(one, at), one.media_type, one.words or one.name, "data"
        )
        for at, one in enumerate(made.attached, 1)
    ]
    pdf = report_pdf(sheets, imprint, attached)
    return pdf if certificate is None else signed_pdf(pdf, certificate, password)


def _attached_name(one: "AttachedFile", number: int) -> str:
    """A name of its own, whatever system the file came from."""
    plain = "".join(c if c.isalnum() or c in "-_." else "-" for c in one.name)
    return f"{number:02d}-{plain[-80:]}"


def _write(folder: Path, files: dict[str, bytes]) -> None:
    from gaswitness.out_folder import OutputError

    try:
        for name, content in files.items():
            (folder / name).write_bytes(content)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written to: {error.strerror}") from None
