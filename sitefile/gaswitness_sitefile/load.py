"""The way in: from the path of a site file to a site, or to every error in it and its tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from gaswitness_sitefile.complaints import checked
from gaswitness_sitefile.cross_checks import cross_checks
from gaswitness_sitefile.document import Document, read_document
from gaswitness_sitefile.draft import SECTIONS, Draft, read_draft
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.source_file import SourceFile

__all__ = ["LoadedSite", "SourceFile", "load_site"]


@dataclass(frozen=True, slots=True)
class LoadedSite:
    """A site and where it came from. `files`: the site file, then its tables by name.

    `sha256` covers names and contents of all files, in hex; it does not depend on folder or system.
    """

    site: Site
    path: Path
    files: tuple[SourceFile, ...]
    sha256: str
    document: Document
    draft: Draft

    def place_of(self, loc: Sequence[str | int]) -> Place:
        """Where a part of the site stands, such as ("points", 3, "address"): table cells too."""
        if len(loc) > 1 and loc[0] in SECTIONS:
            section = next(one for one in self.draft.sections() if one.name == loc[0])
            index = loc[1]
            if isinstance(index, int) and index < len(section.raw):
                return section.raw[index].locate(tuple(loc[2:]))
        return self.document.place(loc)


@dataclass(frozen=True, slots=True)
class TableFile:
    """A table that takes the place of the site file's own. `sheet`: of a workbook."""

    path: Path
    sheet: str | None = None


def load_site(path: Path, tables: Mapping[str, TableFile] | None = None) -> LoadedSite:
    """Read a site file and its tables; `tables`: by name, such as points, in place of its own.

    Raises SiteFileError with every problem of all of them.
    """
    document = read_document(path, "site file")
    for name, instead in (tables or {}).items():
        document = _with_table(document, name, instead)
    draft = read_draft(document)
    site, problems = _assembled(document, draft)
    problems += draft.problems
    for section in draft.sections():
        problems += section.problems
    problems += cross_checks(draft, document)
    if problems or site is None:
        raise SiteFileError(problems)
    sources = {one.source.name: one.source for one in draft.sections() if one.source is not None}
    files = (document.source, *(sources[name] for name in sorted(sources)))
    return LoadedSite(site, path, files, _digest(files), document, draft)


def _with_table(document: Document, name: str, table: TableFile) -> Document:
    """The document as if it named this file; its own entries count no more."""
    asked = {"file": str(table.path.absolute())}
    if table.sheet is not None:
        asked["sheet"] = table.sheet
    parsed = replace(
        document.parsed,
        data={**document.data, name: asked},
        marks={loc: mark for loc, mark in document.parsed.marks.items() if not _within(name, loc)},
        written={loc: text for loc, text in document.parsed.written.items() if loc[0] != name},
    )
    return replace(document, parsed=parsed)


def _within(name: str, loc: Sequence[str | int]) -> bool:
    return len(loc) > 1 and loc[0] == name


def _assembled(document: Document, draft: Draft) -> tuple[Site | None, list[Problem]]:
    """The whole of the file, its sections being the records already read."""
    data = dict(document.data)
    unread = {one.name for one in draft.sections() if not one.whole}
    if draft.problems:
        unread |= {"map", "points"}
    for section in draft.sections():
        if section.given:
            data[section.name] = tuple(section.good.values())
    site, problems = checked(Site, data, document.place)
    if site is None:
        problems = [p for p in problems if p.place not in _places(document, unread)]
    return site, problems


def _places(document: Document, names: set[str]) -> set[Place]:
    return {
        place
        for loc, _ in document.parsed.marks.items()
        if loc[0] in names
        for place in (document.place(loc),)
    }


def _digest(files: Sequence[SourceFile]) -> str:
    whole = sha256()
    for file in files:
        whole.update(f"{len(file.name.encode())} {file.name} {file.sha256}\n".encode())
    return whole.hexdigest()
