"""Evidence as read back: its entries, and whether its chain holds. Nothing here writes."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gaswitness_probe.evidence_file import (
    BEFORE_THE_FIRST,
    EvidenceError,
    next_chain,
    open_to_read,
)


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


def read_evidence(path: Path, kind: str | None = None) -> Iterator[Entry]:
    """Every entry of the record in order, or those of one kind.

    Raises EvidenceError if the file is not a record or is damaged.
    """
    where, values = ("", ()) if kind is None else (" WHERE kind = ?", (kind,))
    with closing(open_to_read(path)) as db:
        try:
            for seq, at_s, what, body in db.execute(
                f"SELECT seq, at_s, kind, body FROM entry{where} ORDER BY seq", values
            ):
                yield Entry(seq, at_s, what, json.loads(body))
        except (sqlite3.Error, ValueError) as error:
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
        except (sqlite3.Error, UnicodeEncodeError) as error:
            return _broken(entries, found, f"entry {entries + 1} cannot be read: {error}")
    if head is not None and head.lower() != found.hex():
        return _broken(entries, found, f"the record ends in {found.hex()}, not in {head}")
    return ChainReport(ok=True, entries=entries, head=found.hex(), ended=last == b"end")


def _broken(entries: int, head: bytes, why: str) -> ChainReport:
    return ChainReport(ok=False, entries=entries, head=head.hex(), first_bad=entries + 1, why=why)
