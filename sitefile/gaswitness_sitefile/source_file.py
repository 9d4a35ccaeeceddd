"""The bytes of the files that people write, read once, with their digests."""

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem, near_match

LARGEST_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file as it was read. `name` is as the site file writes it, with forward slashes."""

    name: str
    content: bytes
    sha256: str


def read_source(path: Path, name: str, what: str, asked_at: Place | None = None) -> SourceFile:
    """Read a whole file; `what` says what it should be, such as "site file".

    `asked_at` is the place that names the file, if any. Raises SiteFileError.
    """

    def refuse(found: str, remedy: str) -> SiteFileError:
        return SiteFileError([Problem(asked_at or Place(str(path), 1, 1), found, remedy)])

    try:
        if path.is_dir():
            raise refuse(f"{path} is a folder, not a {what}", f"name the {what} inside it")
        if path.exists() and not path.is_file():
            raise refuse(f"{path} is not an ordinary file", f"name a {what}")
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            raise refuse(f"{path} is larger than 64 MB", f"a {what} is far smaller: name another")
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise refuse(f"there is no {what} {path}", _where_else(path)) from error
    except PermissionError as error:
        raise refuse(f"{path} may not be read", "give yourself leave to read it") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise refuse(f"{path} cannot be read ({reason})", "check the name and the disk") from error
    return SourceFile(name.replace("\\", "/"), content, sha256(content).hexdigest())


def _where_else(path: Path) -> str:
    folder = path.parent
    try:
        names = [found.name for found in folder.iterdir()]
    except OSError:
        return f"there is no folder {folder} either: check the path"
    near = near_match(path.name, names)
    if near:
        return f"did you mean {near}?"
    where = "this folder" if folder == Path() else str(folder)
    return f"check the name, or put it into {where}"
