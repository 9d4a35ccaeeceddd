"""Copying the demo site out of the installation. Never over files that are there."""

from pathlib import Path

from gaswitness.out_folder import OutputError, make_out_folder
from gaswitness.site_argument import demo_folder


def copy_demo(folder: Path) -> tuple[Path, ...]:
    """Copy every file of the demo site; returns what was written, in order of path.

    Raises OutputError if the folder holds something or cannot be written.
    """
    source = demo_folder()
    target = make_out_folder(folder, "", Path())
    written = []
    try:
        for path in sorted(found for found in source.rglob("*") if found.is_file()):
            copy = target / path.relative_to(source)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(path.read_bytes())
            written.append(copy)
    except OSError as error:
        raise OutputError(f"{target}: cannot be written: {error.strerror}") from error
    return tuple(written)
