"""A YAML file that people write, read and placed; the way in for site files and scripts alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from gaswitness_sitefile.complaints import checked
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Place, Problem
from gaswitness_sitefile.source_file import SourceFile, read_source
from gaswitness_sitefile.yaml_text import Parsed, parse_yaml

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Document:
    """One YAML file whose root is keys and values; `data` is plain dicts, lists and scalars."""

    path: Path
    what: str
    text: str
    source: SourceFile
    parsed: Parsed

    @property
    def data(self) -> dict[str, Any]:
        """Keys and values of the root, in the file's order."""
        found: dict[str, Any] = self.parsed.data
        return found

    @property
    def sha256(self) -> str:
        """Digest of the file's bytes, in hex."""
        return self.source.sha256

    def place(self, loc: Sequence[str | int]) -> Place:
        """Where the key or item stands, or the nearest part above it that the file has."""
        path = tuple(loc)
        while path and path not in self.parsed.marks:
            path = path[:-1]
        line, column = self.parsed.marks.get(path, (1, 1))
        return Place(str(self.path), line, column)

    def validated(self, model: type[M]) -> M:
        """The file's data as a record. Raises SiteFileError with all problems."""
        record, problems = checked(model, self.data, self.place)
        if record is None:
            raise SiteFileError(problems)
        return record


def read_document(path: Path, what: str) -> Document:
    """Read a YAML file; `what` says what it should be, such as "site file".

    Raises SiteFileError: not there, not UTF-8, empty, not YAML, or not keys and values.
    """
    source = read_source(path, path.name, what)
    text = decoded(source.content, str(path), what)
    top = Place(str(path), 1, 1)
    if not text.strip():
        raise SiteFileError([Problem(top, f"the {what} is empty", "name another file, or fill it")])
    parsed = parse_yaml(text, str(path))
    if not isinstance(parsed.data, dict):
        found = "only remarks" if parsed.data is None else "a list or a single value"
        raise SiteFileError(
            [
                Problem(
                    top,
                    f"the {what} holds {found}, not keys and values",
                    "begin lines with 'key:'",
                )
            ]
        )
    return Document(path, what, text, source, parsed)


def decoded(content: bytes, file: str, what: str) -> str:
    """The text of a file: UTF-8, with or without a byte order mark, any line ends.

    Raises SiteFileError with the line of the first byte that is not.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start]
        place = Place(file, before.count(b"\n") + 1, error.start - before.rfind(b"\n"))
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            found = f"the {what} is in UTF-16"
        else:
            found = f"the {what} is not UTF-8 (byte 0x{content[error.start]:02X})"
        remedy = "save it as text in UTF-8"
        raise SiteFileError([Problem(place, found, remedy)]) from error
    at = text.find("\0")
    if at >= 0:
        place = Place(file, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
        raise SiteFileError(
            [Problem(place, f"the {what} holds binary data, not text", "name a text file")]
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")
