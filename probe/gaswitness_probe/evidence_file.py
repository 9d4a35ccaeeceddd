"""The evidence file as laid down: its table, its chain, its errors. Nothing here writes an entry.

A record is one SQLite file with one table:

    entry(seq INTEGER PRIMARY KEY, at_s REAL, kind TEXT, body TEXT, chain BLOB)

`seq` counts from 1 without a hole. `at_s` is in seconds of the run. `body` is one JSON object in
UTF-8, keys sorted, no blanks, floats in their shortest form. Nothing is ever changed or taken out.

    row   = seq as 8 bytes, big-endian, signed
            + at_s as IEEE 754 binary64, big-endian
            + kind in ASCII + one zero byte
            + the bytes of body as stored
    chain = SHA-256(chain of the entry before + row); before entry 1 stand 32 zero bytes

The chain of the last entry is the head digest. A chain alone can be built anew by whoever holds
the file, so the head digest belongs in print, beside the signatures. Once the run has ended, the
SHA-256 of the whole file stands beside it in `NAME.sha256`, as sha256sum writes it: that covers
free space in SQLite's pages, too. A verifier of the chain needs only this:

    head, due = bytes(32), 1
    for seq, at_s, kind, body, chain in db.execute(
        "SELECT seq, at_s, kind, CAST(body AS BLOB), chain FROM entry ORDER BY seq"):
        row = struct.pack(">qd", seq, at_s) + kind.encode("ascii") + bytes(1) + body
        head = hashlib.sha256(head + row).digest()
        assert seq == due and chain == head
        due += 1
"""

import sqlite3
import struct
from hashlib import sha256
from pathlib import Path
from typing import Final

from gaswitness_sitefile.errors import GaswitnessError

KINDS: Final = frozenset(
    {
        "run",
        "identification",
        "exchange",
        "second",
        "surveyed",
        "polling",
        "samples",
        "step",
        "applied",
        "looked",
        "expected",
        "people",
        "instrument",
        "test_gas",
        "test",
        "test_end",
        "test_live",
        "at_rest",
        "initials",
        "attachment",
        "deviation",
        "resumed",
        "remark",
        "judging",
        "verdict",
        "end",
    }
)
BEFORE_THE_FIRST: Final = bytes(32)
APPLICATION_ID: Final = 0x47415357
"""`GASW`, in the file's header, by which a record is known."""
FORMAT: Final = 1

TABLE: Final = """
CREATE TABLE entry (
    seq INTEGER PRIMARY KEY,
    at_s REAL NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    chain BLOB NOT NULL
) STRICT
"""

_pack = struct.Struct(">qd").pack


class EvidenceError(GaswitnessError):
    """The record of a run cannot be made, gone on with, or read."""


def next_chain(before: bytes, seq: int, at_s: float, kind: str, body: bytes) -> bytes:
    """The chain of an entry, 32 bytes, from that of the entry before."""
    return sha256(before + _pack(seq, at_s) + kind.encode("ascii") + b"\0" + body).digest()


def digest_path(path: Path) -> Path:
    """Where the digest of the whole file stands, once the record is finished."""
    return path.with_name(f"{path.name}.sha256")


def open_to_read(path: Path) -> sqlite3.Connection:
    """A read-only connection to a record, also while the run still writes it.

    Raises EvidenceError if there is no such file or it is not a record.
    """
    if not path.is_file():
        raise EvidenceError(f"{path}: there is no such file")
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        (application,) = db.execute("PRAGMA application_id").fetchone()
        (layout,) = db.execute("PRAGMA user_version").fetchone()
    except sqlite3.Error as error:
        raise EvidenceError(f"{path}: cannot be read as evidence: {error}") from error
    if application != APPLICATION_ID or layout != FORMAT:
        db.close()
        raise EvidenceError(f"{path}: is not the evidence of a run of this version")
    return db
