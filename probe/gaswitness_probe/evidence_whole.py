"""A finished record as a file of bytes: its digest stands in a file beside it.

The chain covers every entry; it cannot cover what SQLite keeps around them, such as free space in a
page, where a byte may change and no entry does. `sha256sum -c run.sqlite.sha256` checks the same.
"""

import re
from hashlib import file_digest
from pathlib import Path
from typing import Final

from gaswitness_probe.evidence_file import EvidenceError, digest_path

_LINE: Final = re.compile(rb"([0-9a-f]{64})  [^\r\n]+\n")


def write_digest(path: Path) -> None:
    """Write the digest of a finished record beside it. Raises EvidenceError."""
    beside = digest_path(path)
    try:
        beside.write_bytes(f"{digest_of(path)}  {path.name}\n".encode())
    except OSError as error:
        raise EvidenceError(f"{beside}: cannot be written: {error.strerror}") from error


def remove_digest(path: Path) -> None:
    """The record is written again: what was its digest is so no more. Raises EvidenceError."""
    beside = digest_path(path)
    try:
        beside.unlink(missing_ok=True)
    except OSError as error:
        raise EvidenceError(f"{beside}: cannot be removed: {error.strerror}") from error


def is_whole(path: Path) -> bool | None:
    """Whether the file is the one whose digest stands beside it; None where none does.

    Raises EvidenceError where one of the two cannot be read.
    """
    beside = digest_path(path)
    try:
        if not beside.exists():
            return None
        stated = _LINE.fullmatch(beside.read_bytes())
        # the two may have been given other names since
        return stated is not None and stated[1].decode("ascii") == digest_of(path)
    except OSError as error:
        raise EvidenceError(f"{error.filename}: cannot be read: {error.strerror}") from error


def digest_of(path: Path) -> str:
    """SHA-256 of the whole file, in hex."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()
