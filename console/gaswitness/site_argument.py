"""How commands name sites, scripts and links: paths, the word `demo`, names known to the site.

Finding files only; their content is read by the packages that own it.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from gaswitness_scenarios.script import Script
    from gaswitness_sitefile.link_address import LinkAddress
    from gaswitness_sitefile.load import LoadedSite
    from gaswitness_sitefile.site import Site

DEMO: Final = "demo"
SITE_FILE: Final = "site.yaml"


def site_path(written: str) -> Path:
    """The site file that is meant: a file, a folder that holds `site.yaml`, or `demo`."""
    path = Path(written)
    if written == DEMO and not path.exists():
        from gaswitness_scenarios.library import demo_site_path

        return demo_site_path()
    return path / SITE_FILE if (path / SITE_FILE).is_file() else path


def loaded_site(written: str) -> "LoadedSite":
    """The site, loaded. Raises SiteFileError with every problem."""
    from gaswitness_sitefile.load import load_site

    return load_site(site_path(written))


def script_path(written: str, site_file: Path) -> Path:
    """The script that is meant: a file, or the name of one in `scripts/` beside the site file."""
    path = Path(written)
    if path.exists():
        return path
    from gaswitness_scenarios.library import site_scripts

    return next((one for one in site_scripts(site_file) if one.stem == written), path)


def loaded_scripts(written: Sequence[str], site: "LoadedSite") -> "tuple[Script, ...]":
    """The scripts, loaded in the order given: each with all its problems, of all files at once."""
    from gaswitness_scenarios.load import load_script
    from gaswitness_sitefile.errors import SiteFileError
    from gaswitness_sitefile.problems import Problem

    scripts: list[Script] = []
    problems: list[Problem] = []
    for one in written:
        try:
            scripts.append(load_script(script_path(one, site.path), site.site))
        except SiteFileError as error:
            problems += error.problems
    if problems:
        raise SiteFileError(problems)
    return tuple(scripts)


def link_address(written: str, site: "Site") -> "LinkAddress":
    """The link that is meant: an address, or the name of one of the site's links."""
    from gaswitness_sitefile.link_address import parse_link

    for link in site.links:
        if link.name == written:
            return link.where
    try:
        return parse_link(written)
    except ValueError as error:
        names = ", ".join(repr(link.name) for link in site.links)
        also = f"; or name one of the site's links: {names}" if names else ""
        raise click.BadParameter(f"{error}{also}", param_hint="--link") from error
