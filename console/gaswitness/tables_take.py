"""What an edited workbook says of a site: the site as it would be, and the files to hold it.

Decides and checks; writes nothing but into a folder of its own for the check.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any, Final

from gaswitness.tables_workbook import CROSSING, MATRIX, POINTS
from gaswitness_sitefile.differences import Difference, differences
from gaswitness_sitefile.errors import GaswitnessError, SiteFileError
from gaswitness_sitefile.load import LoadedSite, TableFile, load_site
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.problems import Problem
from gaswitness_sitefile.root_keys import with_table_file
from gaswitness_sitefile.rows import csv_text, matrix_rows, point_rows
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.source_file import SourceFile
from gaswitness_sitefile.tables import delimiter_of

MOST_SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class Taken:
    """`site`: as it would be. `found`: what differs. `files`: new contents, by the name that the
    site file has for each, the site file last."""

    site: Site
    found: tuple[Difference, ...]
    files: Mapping[str, bytes]


def taken(loaded: LoadedSite, workbook: Path, sheets: Sequence[str], chosen: str = "") -> Taken:
    """What the workbook's `sheets` change. `chosen`: matrix or crossing, where both were edited.

    Raises SiteFileError with every problem of every sheet, GaswitnessError where the two forms of
    the matrix disagree, or where the site file cannot be changed.
    """
    points = {POINTS: TableFile(workbook, POINTS)} if POINTS in sheets else {}
    forms = [name for name in (MATRIX, CROSSING) if name in sheets]
    sites = _sites(loaded, workbook, points, forms)
    form = _form(loaded.site, sites, chosen)
    site = sites[form]
    before = loaded.site
    matrix = before.matrix if _same(before, site, MATRIX) else _in_order(before, site)
    rows = before.points if _same(before, site, POINTS) else site.points
    wanted = before.model_copy(update={"matrix": matrix, "points": rows})
    found = differences(before, wanted)
    return Taken(wanted, found, _files(loaded, wanted) if found else {})


def _sites(
    loaded: LoadedSite, workbook: Path, points: Mapping[str, TableFile], forms: Sequence[str]
) -> dict[str, Site]:
    """The site by each form of the matrix there is; by "" where there is none."""
    sites: dict[str, Site] = {}
    problems: list[Problem] = []
    for form in forms or ("",):
        matrix = {MATRIX: TableFile(workbook, form)} if form else {}
        try:
            sites[form] = load_site(loaded.path, {**points, **matrix}).site
        except SiteFileError as error:
            problems += error.problems
    if problems:
        raise SiteFileError(problems)
    return sites


def _form(before: Site, sites: Mapping[str, Site], chosen: str) -> str:
    """The form of the matrix that counts: the one that was edited."""
    if chosen in sites:
        return chosen
    if chosen:
        raise GaswitnessError(f"the workbook has no sheet {chosen!r}: leave --matrix out")
    edited = [form for form, site in sites.items() if not _same(before, site, MATRIX)]
    if len(edited) < 2:
        return next(iter(edited or sites))
    apart = differences(sites[MATRIX], sites[CROSSING])
    if not apart:
        return MATRIX
    listed = "".join(f"\n  {one.text}" for one in apart[:MOST_SHOWN])
    more = f"\n  and {len(apart) - MOST_SHOWN} more" if len(apart) > MOST_SHOWN else ""
    raise GaswitnessError(
        f"the sheets {MATRIX} and {CROSSING} were both edited, and differ: edit one of them, or "
        f"add --matrix {MATRIX} or --matrix {CROSSING}. From {MATRIX} to {CROSSING}:{listed}{more}"
    )


def _same(before: Site, after: Site, name: str) -> bool:
    """Whether the section says the same; the order of rows does not count."""
    return not differences(before, before.model_copy(update={name: getattr(after, name)}))


def _in_order(before: Site, after: Site) -> tuple[Cell, ...]:
    """The new cells, those that were there in their old order, then the others."""
    place = {cell.id: at for at, cell in enumerate(before.matrix)}
    return tuple(sorted(after.matrix, key=lambda cell: place.get(cell.id, len(place))))


def _files(loaded: LoadedSite, wanted: Site) -> dict[str, bytes]:
    tables = {
        POINTS: point_rows(wanted.points, wanted.map),
        MATRIX: matrix_rows(wanted.matrix),
    }
    text = loaded.document.text
    files: dict[str, bytes] = {}
    for name, rows in tables.items():
        if _same(loaded.site, wanted, name):
            continue
        asked = loaded.document.data.get(name)
        file = asked.get("file") if isinstance(asked, dict) else None
        own = isinstance(file, str) and file.casefold().endswith(".csv")
        target = file.replace("\\", "/") if own and isinstance(file, str) else f"{name}.csv"
        old = next((one for one in loaded.files if one.name == target), None)
        files[target] = _as_before(csv_text(rows, _remarks(old), _delimiter(old)), old)
        if not own:
            text = with_table_file(loaded.document, text, name, target)
    if text != loaded.document.text:
        files[loaded.document.source.name] = _as_before(text, loaded.document.source)
    _checked(loaded, wanted, files)
    return files


_BOM: Final = b"\xef\xbb\xbf"


def _as_before(text: str, old: SourceFile | None) -> bytes:
    """The text in bytes, with the byte order mark and the line ends that the file had."""
    content = b"" if old is None else old.content
    ends = "\r\n" if b"\r\n" in content else "\n"
    mark = _BOM if content.startswith(_BOM) else b""
    return mark + text.replace("\n", ends).encode()


def _delimiter(old: SourceFile | None) -> str:
    """The mark between the cells as the table had it: what opens it may know no other."""
    return "," if old is None else delimiter_of(old.content.decode("utf-8-sig"))


def _remarks(old: SourceFile | None) -> list[str]:
    """The remarks at the top of the table as it was."""
    lines = [] if old is None else old.content.decode("utf-8-sig").splitlines()
    remarks: list[str] = []
    for line in lines:
        if not line.startswith("#"):
            break
        remarks.append(line.removeprefix("#").strip())
    return remarks


def _checked(loaded: LoadedSite, wanted: Site, files: Mapping[str, bytes]) -> None:
    """Read the new files as they would stand, and hold the site against the one that is wanted."""
    contents = {one.name: one.content for one in loaded.files} | dict(files)
    deep = max(PurePosixPath(name).parts.count("..") for name in contents)
    outside = [name for name in files if Path(name).is_absolute()]
    if outside:
        raise GaswitnessError(
            f"{', '.join(outside)}: named by an absolute path: put it beside the site file first"
        )
    with TemporaryDirectory() as folder:
        home = Path(folder, *(["d"] * (deep + 1)))
        for name, content in contents.items():
            path = home / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        try:
            got: Any = load_site(home / loaded.document.source.name).site
        except SiteFileError as error:
            got = error
    if got != wanted:
        said = f": {got.problems[0].what}" if isinstance(got, SiteFileError) else ""
        raise GaswitnessError(
            "the site file cannot be changed to read the new tables without changing more"
            f"{said}: write for example points: {{file: points.csv}} into it by hand first"
        )
