"""The ready-made demo: where its files are, which scripts lie beside a site, and how to copy it."""

from pathlib import Path
from typing import Final

from gaswitness_sitefile.errors import GaswitnessError

DEMO: Final = "fernhollow"
SITE_FILE: Final = "site.yaml"
SCRIPTS_FOLDER: Final = "scripts"
_SUFFIXES: Final = (".yaml", ".yml", ".csv", ".xlsx")


def demo_site_path() -> Path:
    """The demo's site file, in an installed package as in a checkout.

    Raises GaswitnessError if the installation lacks it.
    """
    package = Path(__file__).resolve().parent
    for sites in (package / "sites", package.parent / "sites"):
        found = sites / DEMO / SITE_FILE
        if found.is_file():
            return found
    raise GaswitnessError("the demo site is missing from this installation: install it again")


def site_scripts(site_path: Path) -> tuple[Path, ...]:
    """The scripts in the folder `scripts` beside a site file, by name; empty without one."""
    folder = site_path.parent / SCRIPTS_FOLDER
    if not folder.is_dir():
        return ()
    found = (one for one in folder.iterdir() if one.suffix in (".yaml", ".yml") and one.is_file())
    return tuple(sorted(found, key=lambda one: one.name))


def copy_demo(to: Path) -> tuple[Path, ...]:
    """Write the demo's site file, tables and scripts into the folder `to`; what was written.

    Makes the folder if need be. Raises GaswitnessError, having written nothing, if a file of the
    same name is there already; or if the folder cannot be written.
    """
    source = demo_site_path().parent
    files = sorted(
        one for one in source.rglob("*") if one.suffix in _SUFFIXES and not one.name.startswith(".")
    )
    targets = [to / one.relative_to(source) for one in files]
    if to.exists() and not to.is_dir():
        raise GaswitnessError(f"{to} is a file, not a folder: name another folder")
    taken = [str(target) for target in targets if target.exists()]
    if taken:
        raise GaswitnessError(
            f"{', '.join(taken)} would be overwritten: name an empty folder, or move them away"
        )
    try:
        for one, target in zip(files, targets, strict=True):
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(one.read_bytes())
    except OSError as error:
        raise GaswitnessError(f"{to} cannot be written ({error.strerror}): name another") from error
    return tuple(targets)
