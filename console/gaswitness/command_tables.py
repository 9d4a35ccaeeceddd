"""`gaswitness tables`: points list and matrix out to a workbook, and back from it."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness.tables_take import Taken
    from gaswitness_sitefile.load import LoadedSite


@click.command(short_help="Points list and matrix as a workbook to edit, and back.")
@click.argument("site")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.xlsx",
    help="Write the workbook to this new file. [default: ./tables-TAG.xlsx]",
)
@click.option(
    "--take",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.xlsx",
    help="Check an edited workbook and say what it changes.",
)
@click.option("--force", is_flag=True, help="With --take: write the site's files anew.")
@click.option(
    "--matrix",
    "form",
    type=click.Choice(("matrix", "crossing")),
    help="With --take: the sheet that counts, where both were edited.",
)
def tables(
    *, site: str, output: Path | None, take: Path | None, force: bool, form: str | None
) -> ExitCode:
    """Write the points list and the cause-and-effect matrix of SITE (a site file, its folder, or
    the word demo) into a workbook: the points, the matrix as a list and as the drawing with causes
    down and effects across, and the notation in words.

    With --take an edited workbook is checked whole, every error with its cell, and what it changes
    is said as `gaswitness diff` would; with --force the site's tables are written anew. Exit codes:
    0 done, or nothing differs; 1 the workbook differs from the site, and nothing was written; 2
    wrong usage, site file or workbook.
    """
    from gaswitness.site_argument import loaded_site

    if take is None and (force or form):
        raise click.UsageError("--force and --matrix belong to --take")
    if take is not None and output is not None:
        raise click.UsageError("--take takes a workbook back, -o writes one: give one of them")
    loaded = loaded_site(site)
    if take is not None:
        return _take(loaded, take, form or "", force=force)
    tag = "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in loaded.site.panel.tag)
    return _write(loaded, output or Path(f"tables-{tag}.xlsx"), site)


def _write(loaded: "LoadedSite", path: Path, written: str) -> ExitCode:
    from gaswitness.sheets import save_book
    from gaswitness.tables_workbook import tables_workbook

    if path.suffix.casefold() != ".xlsx":
        raise click.BadParameter(f"{path} does not end in .xlsx", param_hint="-o")
    save_book(tables_workbook(loaded.site), path)
    try:
        _read_back(loaded, path)
    except BaseException:
        path.unlink()
        raise
    click.echo(
        f"{path}: {len(loaded.site.points)} points, {len(loaded.site.matrix)} cells\n"
        f"After editing: gaswitness tables {written} --take {path}"
    )
    return ExitCode.ALL_PROVEN


def _read_back(loaded: "LoadedSite", path: Path) -> None:
    """Read the workbook as a user's site would. Raises GaswitnessError where anything was lost."""
    from gaswitness_sitefile.differences import differences
    from gaswitness_sitefile.errors import GaswitnessError, SiteFileError
    from gaswitness_sitefile.load import TableFile, load_site

    for form in ("matrix", "crossing"):
        sheets = {"points": TableFile(path, "points"), "matrix": TableFile(path, form)}
        try:
            back = load_site(loaded.path, sheets).site
        except SiteFileError as error:
            raise GaswitnessError(
                f"no workbook was written, since a table cannot hold this as it is:\n{error}"
            ) from error
        if lost := differences(loaded.site, back):
            raise GaswitnessError(
                "no workbook was written, since a table cannot hold this as it is: "
                + "; ".join(one.text for one in lost)
            )


def _take(loaded: "LoadedSite", workbook: Path, form: str, *, force: bool) -> ExitCode:
    from gaswitness.tables_take import taken
    from gaswitness.wording import shown

    found = taken(loaded, workbook, _sheets(workbook), form)
    for one in found.found:
        click.echo(shown(one.text))
    number = len(found.found)
    if not number:
        click.echo("no differences: nothing to take")
        return ExitCode.ALL_PROVEN
    names = ", ".join(found.files)
    if not force:
        click.echo(
            f"\n{number} difference{'' if number == 1 else 's'}; nothing was written: add --force "
            f"to write {names} anew"
        )
        return ExitCode.SOMETHING_FAILED
    _replace(loaded.path.parent, found)
    click.echo(f"\n{names}: written; gaswitness check {loaded.path}")
    return ExitCode.ALL_PROVEN


def _sheets(workbook: Path) -> list[str]:
    """Which of the sheets that count the workbook has."""
    from gaswitness.tables_workbook import CROSSING, MATRIX, POINTS
    from gaswitness_sitefile.errors import GaswitnessError
    from gaswitness_sitefile.tables import sheet_names

    names = sheet_names(workbook)
    found: list[str] = [name for name in (POINTS, MATRIX, CROSSING) if name in names]
    if not found:
        raise GaswitnessError(
            f"{workbook}: has none of the sheets {POINTS}, {MATRIX}, {CROSSING}; it has "
            f"{', '.join(names)}: name the sheets so"
        )
    return found


def _replace(folder: Path, found: "Taken") -> None:
    """Write all files beside their places first, then put each in its place."""
    from gaswitness_sitefile.errors import GaswitnessError

    parts = {folder / name: folder / f"{name}.part" for name in found.files}
    try:
        for part, content in zip(parts.values(), found.files.values(), strict=True):
            part.write_bytes(content)
        for place, part in parts.items():
            part.replace(place)
    except OSError as error:
        for part in parts.values():
            part.unlink(missing_ok=True)
        raise GaswitnessError(f"{folder} cannot be written to ({error.strerror})") from error
