"""`gaswitness diff`: what differs between two site files, as a person would say it."""

import json
from typing import TYPE_CHECKING, Any

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness_sitefile.differences import Difference
    from gaswitness_sitefile.load import LoadedSite


@click.command(short_help="Say what differs between two site files.")
@click.argument("a")
@click.argument("b")
@click.option("--json", "as_json", is_flag=True, help="Print JSON in place of words.")
def diff(a: str, b: str, *, as_json: bool) -> ExitCode:
    """Compare A with B (each a site file, its folder, or the word demo), such as as stored with as
    found.

    Things are matched by tag, name, or cause and effect; the order of rows does not count, and a
    value left out equals its default written out. Exit 0: no difference; 1: differences; 2: a file
    is wrong, and every error of both is listed.
    """
    from gaswitness_sitefile.differences import differences

    left, right = _loaded(a, b)
    found = differences(left.site, right.site)
    if as_json:
        click.echo(json.dumps(_data(left, right, found), indent=2, ensure_ascii=False))
    else:
        click.echo(_worded(left, right, found))
    return ExitCode.SOMETHING_FAILED if found else ExitCode.ALL_PROVEN


def _loaded(a: str, b: str) -> "tuple[LoadedSite, LoadedSite]":
    from gaswitness.site_argument import loaded_site
    from gaswitness_sitefile.errors import SiteFileError
    from gaswitness_sitefile.problems import Problem

    sites: list[LoadedSite] = []
    problems: list[Problem] = []
    for written in (a, b):
        try:
            sites.append(loaded_site(written))
        except SiteFileError as error:
            problems += error.problems
    if problems:
        raise SiteFileError(problems)
    return sites[0], sites[1]


def _worded(a: "LoadedSite", b: "LoadedSite", found: "tuple[Difference, ...]") -> str:
    from gaswitness.wording import shown

    lines = [f"A: {a.path}", f"B: {b.path}"]
    group = ""
    for one in found:
        if one.group != group:
            group = one.group
            lines += ["", group]
        lines.append(f"  {one.text}")
    number = len(found)
    said = f"{number or 'no'} difference{'' if number == 1 else 's'}"
    return shown("\n".join([*lines, "", said]))


def _data(a: "LoadedSite", b: "LoadedSite", found: "tuple[Difference, ...]") -> dict[str, Any]:
    return {
        "format": "gaswitness differences 1",
        "a": {"file": str(a.path), "sha256": a.sha256},
        "b": {"file": str(b.path), "sha256": b.sha256},
        "differences": [
            {
                "group": one.group,
                "kind": str(one.kind),
                "path": list(one.path),
                "a": one.a,
                "b": one.b,
                "text": one.text,
            }
            for one in found
        ],
    }
