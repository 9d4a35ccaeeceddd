"""The records in a run's folder: run.sqlite, then run-2.sqlite and so on, each a retest of it."""

import re
from pathlib import Path
from typing import Final

from gaswitness_probe.evidence_file import EvidenceError

RECORD: Final = "run.sqlite"
_RECORD = re.compile(r"run(?:-(\d+))?\.sqlite")


def records_of(path: Path) -> tuple[Path, ...]:
    """The record that is meant, or all that a folder holds, in order.

    Raises EvidenceError where there is none.
    """
    if not path.is_dir():
        return (path,)
    found = [(match, one) for one in path.iterdir() if (match := _RECORD.fullmatch(one.name))]
    if not found:
        raise EvidenceError(f"{path}: holds no {RECORD}: name the folder of a run")
    return tuple(one for _, one in sorted(found, key=lambda pair: int(pair[0][1] or 1)))
