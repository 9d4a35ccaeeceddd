"""Evidence as read back: its entries, and whether its chain holds. Nothing here writes."""

import json
import math
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gaswitness_probe.evidence_file import (
    BEFORE_THE_FIRST,
    EvidenceError,
    next_chain,
    open_to_read,
)

_NO_ENTRY: Final = (UnicodeError, TypeError, AttributeError, struct.error, OverflowError)
"""What comes of columns that a damaged page gives another type, or nothing at all."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry. `at_s` is in seconds of the run; `body` as the kind has it."""

    seq: int
    at_s: float
    kind: str
    body: dict[str, Any]


@dataclass(frozen=True, slots=True)
class ChainReport:
    """What the chain of a record says.

    `entries`: how many hold, from the first on. `head`: digest of the last of them, in hex.
    `first_bad`: number of the first entry that does not hold, None where all do. `why`: in words.
    `ended`: whether the last of them is the run's own end.
    """

    ok: bool
    entries: int
    head: str
    first_bad: int | None = None
    why: str = ""
    ended: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One entry, its body as the text that is stored."""

    seq: int
    at_s: float
    kind: str
    text: str

    @property
    def body(self) -> dict[str, Any]:
        """The body, read. Raises EvidenceError where it is no JSON object."""
        return _object(self.seq, self.text)


def _object(seq: int, text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError as error:
        raise EvidenceError(f"entry {seq} is damaged: {error}") from error
    if not isinstance(found, dict):
        raise EvidenceError(f"entry {seq} is damaged: it holds no facts")
    return found


def read_evidence(path: Path, *kinds: str) -> Iterator[Entry]:
    """Every entry of the record in order, or those of some kinds.

    Raises EvidenceError if the file is not a record or is damaged.
    """
    for row in read_rows(path, *kinds):
        yield Entry(row.seq, row.at_s, row.kind, row.body)


def read_rows(
    path: Path, *kinds: str, within_s: tuple[float, float] = (-math.inf, math.inf)
) -> Iterator[Row]:
    """The same with bodies unread and, with `within_s`, only of instants from one to the other.

    Raises EvidenceError if the file is not a record or is damaged.
    """
    wanted = f"kind IN ({','.join('?' * len(kinds))}) AND " if kinds else ""
    low_s, high_s = within_s
    with closing(open_to_read(path)) as db:
        try:
            for row in db.execute(
                f"SELECT seq, at_s, kind, body FROM entry WHERE {wanted}at_s BETWEEN ? AND ? "
                "ORDER BY seq",
                (*kinds, low_s, high_s),
            ):
                yield Row(*row)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise EvidenceError(f"{path}: the record is damaged: {error}") from error


def verify_chain(path: Path, *, head: str | None = None) -> ChainReport:
    """Whether every entry stands as it was written.

    With `head`, the digest printed at the end of the run (hex), also whether the record ends where
    it ended then: a chain alone cannot tell that its tail was cut off or all of it written anew.
    Raises EvidenceError if the file is not a record.
    """
    found = BEFORE_THE_FIRST
    entries = 0
    last = b""
    with closing(open_to_read(path)) as db:
        try:
            for seq, at_s, kind, body, chain in db.execute(
                "SELECT seq, at_s, CAST(kind AS BLOB), CAST(body AS BLOB), chain "
                "FROM entry ORDER BY seq"
            ):
                if seq != entries + 1:
                    return _broken(entries, found, f"entry {entries + 1} is not there")
                due = next_chain(found, seq, at_s, kind.decode("ascii", "replace"), body)
                if due != chain:
                    return _broken(entries, found, f"entry {seq} is not as it was written")
                found, entries, last = due, seq, kind
        except (sqlite3.Error, *_NO_ENTRY) as error:
            return _broken(entries, found, f"entry {entries + 1} cannot be read: {error}")
    if head is not None and head.lower() != found.hex():
        return _broken(entries, found, f"the record ends in {found.hex()}, not in {head}")
    return ChainReport(ok=True, entries=entries, head=found.hex(), ended=last == b"end")


def _broken(entries: int, head: bytes, why: str) -> ChainReport:
    return ChainReport(ok=False, entries=entries, head=head.hex(), first_bad=entries + 1, why=why)


def end_of(path: Path) -> tuple[int, str]:
    """Number and chain (in hex) of the last entry, unchecked; 0 and zeros of an empty record.

    Raises EvidenceError if the file is not a record or is damaged.
    """
    with closing(open_to_read(path)) as db:
        try:
            last = db.execute("SELECT seq, chain FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
        except sqlite3.Error as error:
            raise EvidenceError(f"{path}: the record is damaged: {error}") from error
    return (0, BEFORE_THE_FIRST.hex()) if last is None else (last[0], bytes(last[1]).hex())
