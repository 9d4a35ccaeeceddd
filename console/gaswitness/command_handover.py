"""`gaswitness handover`: what the integrator of a building management system needs, in a folder."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness.handover import Handover


@click.command(short_help="Write what a BMS integrator needs: HTML, XLSX and CSV.")
@click.argument("site")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="A new or empty folder. [default: ./handover-TAG]",
)
def handover(*, site: str, output: Path | None) -> ExitCode:
    """Write the handover sheet of SITE (a site file, its folder, or the word demo): the points list
    with meanings, both notations of addresses and behaviour in fault; poll blocks with their times
    on each link; example values and frames byte for byte; cause and effect on one page.

    handover.html is to be read and printed; handover.xlsx and the CSV tables are to be imported.
    Nothing is on a wire, and nothing is overwritten.
    """
    from importlib.metadata import version

    from gaswitness.handover import handover as gathered
    from gaswitness.handover_page import handover_page
    from gaswitness.handover_sheets import handover_book, listing_text
    from gaswitness.site_argument import loaded_site

    loaded = loaded_site(site)
    made = gathered(loaded.site, loaded.sha256, f"gaswitness {version('gaswitness')}")
    folder = _folder(output, loaded.site.panel.tag)
    files = {"handover.html": handover_page(made), **listing_text(made)}
    book = handover_book(made)
    _write(folder, files, book)
    click.echo(
        f"{folder}: handover.html, handover.xlsx, {', '.join(n for n in files if n[-4:] == '.csv')}"
        f"\n{_said(made)}"
    )
    return ExitCode.ALL_PROVEN


def _said(made: "Handover") -> str:
    examples = sum(len(entry.examples) for entry in made.entries)
    blocks = len(made.ways[0].blocks)
    return (
        f"{len(made.entries)} points, {examples} example values, {blocks} poll blocks, "
        f"{len(made.site.matrix)} cells"
    )


def _folder(output: Path | None, tag: str) -> Path:
    from gaswitness.out_folder import make_out_folder

    plain = "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in tag)
    return make_out_folder(output or Path(f"handover-{plain}"), tag, Path())


def _write(folder: Path, files: dict[str, str], book: bytes) -> None:
    from gaswitness.out_folder import OutputError

    try:
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        (folder / "handover.xlsx").write_bytes(book)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written to: {error.strerror}") from None
