"""Where a run's files go: a folder of its own, never one that holds something already."""

import re
from pathlib import Path

from gaswitness_sitefile.errors import GaswitnessError

MOST_RUNS = 9999


class OutputError(GaswitnessError):
    """A file or folder of the run cannot be written."""


def make_out_folder(chosen: Path | None, tag: str, here: Path) -> Path:
    """The run's folder, made.

    Without a choice it is `gaswitness-run-TAG-NNN` in `here`, NNN the next free number. A chosen
    folder must be new or empty. Raises OutputError otherwise, or where it cannot be made.
    """
    try:
        return _numbered(tag, here) if chosen is None else _empty(chosen)
    except OSError as error:
        where = here if chosen is None else chosen
        raise OutputError(f"{where}: no folder can be made for the run: {error.strerror}") from None


def _empty(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise OutputError(
            f"{folder}: holds files already, and a run overwrites nothing: name a new folder"
        )
    return folder


def _numbered(tag: str, here: Path) -> Path:
    stem = f"gaswitness-run-{re.sub(r'[^A-Za-z0-9_-]', '-', tag)}"
    taken = [
        int(found[1])
        for path in here.glob(f"{stem}-*")
        if (found := re.fullmatch(re.escape(stem) + r"-(\d{3,})", path.name))
    ]
    for number in range(max(taken, default=0) + 1, MOST_RUNS + 1):
        folder = here / f"{stem}-{number:03d}"
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        return folder
    raise OutputError(f"{here}: {MOST_RUNS} runs of {tag} lie here: name a folder with --out")
