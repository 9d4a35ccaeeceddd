"""Writing the evidence of a run, as it happens. The file's layout is told in `evidence_file`.

One thread of its own writes: `append` hands an entry over and returns. Entries are on the disk, to
survive any death of the process, at the latest when 500 wait or after 200 ms; `sync` waits for it.
"""

import sqlite3
from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path
from threading import Condition, Event, Lock, Thread
from types import TracebackType
from typing import Any, Final, Self

from gaswitness_probe.evidence_file import (
    APPLICATION_ID,
    BEFORE_THE_FIRST,
    FORMAT,
    KINDS,
    TABLE,
    EvidenceError,
    next_chain,
)
from gaswitness_probe.evidence_json import canonical, canonical_exchange
from gaswitness_probe.evidence_read import ChainReport, Entry, read_evidence, verify_chain
from gaswitness_probe.evidence_whole import remove_digest, write_digest

__all__ = ["ChainReport", "Entry", "Evidence", "EvidenceError", "read_evidence", "verify_chain"]

COMMIT_ROWS: Final = 500
COMMIT_AFTER_S: Final = 0.2
LARGEST_QUEUE: Final = 20_000
LARGEST_BATCH: Final = 5_000

Row = tuple[float, str, bytes]

# One statement for many rows: SQLite gives up Python's lock once a statement, and a busy caller
# takes it for milliseconds each time.
_ROWS_AT_ONCE: Final = (250, 50, 10, 1)
_INSERT: Final = {
    rows: "INSERT INTO entry VALUES " + ",".join(["(?,?,?,CAST(? AS TEXT),?)"] * rows)
    for rows in _ROWS_AT_ONCE
}


CLAIMS = 3
CLAIM_PAUSE_S = 0.05
"""How often the lock of an existing record must be found free, and how long apart, in seconds."""
RIVAL_GOES_MS = 10_000


class Evidence:
    """The open record of one run. Appending is safe from any thread; one process writes a record.

    Whatever goes wrong on the disk comes up as EvidenceError in the next call.
    """

    def __init__(self, db: sqlite3.Connection, path: Path, head: bytes, entries: int) -> None:
        """For `create` and `open_again`, which open the file."""
        self.path = path
        self._db = db
        self._head = head
        self._last = entries
        self._committed = entries
        self._waiting: deque[Row] = deque()
        self._order = Lock()
        self._wake = Event()
        self._progress = Condition()
        self._closing = False
        self._closed = False
        self._trouble: Exception | None = None
        self._writer = Thread(target=self._write, name="evidence", daemon=True)
        self._writer.start()

    @classmethod
    def create(cls, path: Path) -> Self:
        """Begin a record in a new file.

        Raises EvidenceError if the file exists (evidence is never overwritten) or cannot be made.
        """
        try:
            path.open("xb").close()
        except FileExistsError as error:
            raise EvidenceError(
                f"{path}: exists, and evidence is never overwritten: name another file"
            ) from error
        except OSError as error:
            raise EvidenceError(f"{path}: cannot be made: {error.strerror}") from error
        return cls._open(path)

    @classmethod
    def open_again(cls, path: Path) -> Self:
        """Go on with a record that a broken-off run left, after its last committed entry.

        Raises EvidenceError if it is no record, is damaged, or another process writes it.
        """
        if not path.is_file():
            raise EvidenceError(f"{path}: there is no such file")
        return cls._open(path)

    @classmethod
    def _open(cls, path: Path) -> Self:
        db: sqlite3.Connection | None = None
        try:
            db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=0)
            entries, head = _prepared(db, path)
        except sqlite3.Error as error:
            if db is not None:
                db.close()
            busy = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_BUSY
            what = "another process is writing it" if busy else f"cannot be written: {error}"
            raise EvidenceError(f"{path}: {what}") from error
        except EvidenceError:
            if db is not None:
                db.close()
            raise
        return cls(db, path, head, entries)

    def append(self, kind: str, body: Mapping[str, Any], at_s: float) -> int:
        """Hand over an entry of one of the KINDS; returns its number.

        Raises EvidenceError if the record is closed or could not be written; TypeError or
        ValueError for a body that has no JSON, an unknown kind, or an instant that is no number.
        """
        if kind not in KINDS:
            raise ValueError(f"{kind!r} is no kind of evidence: {', '.join(sorted(KINDS))}")
        return self._hand_over(kind, canonical(body), at_s)

    def append_exchange(
        self,
        *,
        sent_s: float,
        received_s: float,
        request: bytes,
        response: bytes,
        problem: str | None = None,
        notes: Sequence[str] = (),
    ) -> int:
        """Hand over one request and what came back for it; its instant is `received_s`."""
        body = canonical_exchange(sent_s, received_s, request, response, problem, notes)
        return self._hand_over("exchange", body, received_s)

    def _hand_over(self, kind: str, body: bytes, at_s: float) -> int:
        at_s += 0.0  # an int becomes a float, and SQLite does not keep the sign of -0.0
        if at_s - at_s != 0.0:  # true of infinity and NaN, and cheap
            raise ValueError(f"an entry at {at_s} has no instant")
        if self._trouble is not None or self._closing:
            self._refuse()
        with self._order:
            # The writer numbers rows by their order here, so that a Ctrl-C between these two lines
            # leaves no hole in the record.
            self._waiting.append((at_s, kind, body))
            self._last = seq = self._last + 1
        waiting = len(self._waiting)
        if waiting >= COMMIT_ROWS and not self._wake.is_set():
            self._wake.set()
        if waiting >= LARGEST_QUEUE:
            self._wait_until(seq - LARGEST_QUEUE // 2)
        return seq

    @property
    def committed(self) -> int:
        """Number of the last entry that survives a death of the process now."""
        return self._committed

    def sync(self) -> int:
        """Wait until all entries handed over are on the disk; returns the number of the last."""
        if self._closing:
            self._refuse()
        last = self._last
        self._wake.set()
        self._wait_until(last)
        return last

    def close(self) -> str:
        """Write what waits, fold the log into the file, and return the head digest in hex.

        A second call returns the same. Raises EvidenceError if something could not be written.
        """
        self._closing = True
        self._wake.set()
        self._writer.join()
        if not self._closed:
            self._closed = True
            if self._fold() and self._trouble is None:
                write_digest(self.path)
        if self._trouble is not None:
            self._refuse()
        return self._head.hex()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _refuse(self) -> None:
        if self._trouble is not None:
            raise EvidenceError(
                f"{self.path}: the evidence could not be written after entry {self._committed}: "
                f"{self._trouble}"
            ) from self._trouble
        raise EvidenceError(f"{self.path}: the record is closed")

    def _wait_until(self, seq: int) -> None:
        self._wake.set()
        with self._progress:
            self._progress.wait_for(lambda: self._committed >= seq or self._trouble is not None)
        if self._trouble is not None:
            self._refuse()

    def _fold(self) -> bool:
        """Whether the one file is now the record."""
        try:
            self._db.execute("PRAGMA busy_timeout = 2000")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._db.execute("PRAGMA journal_mode = DELETE")
            folded = True
        except sqlite3.Error as error:
            folded = False
            # A reader may hold the log; the last one to close folds it then.
            if getattr(error, "sqlite_errorcode", None) != sqlite3.SQLITE_BUSY:
                self._trouble = self._trouble or error
        finally:
            self._db.close()
        return folded

    def _write(self) -> None:
        try:
            self._write_until_closed()
        except Exception as error:  # noqa: BLE001  # whatever it is, the caller must hear of it
            with self._progress:
                self._trouble = error
                self._progress.notify_all()
            if self._db.in_transaction:
                self._db.rollback()

    def _write_until_closed(self) -> None:
        while True:
            last_call = self._closing
            if not last_call and len(self._waiting) < COMMIT_ROWS:
                self._wake.wait(COMMIT_AFTER_S)
            self._wake.clear()
            while self._waiting:
                self._commit_a_batch()
            if last_call:
                self._db.execute("COMMIT")
                return

    def _commit_a_batch(self) -> None:
        take = self._waiting.popleft
        head = self._head
        values: list[int | float | str | bytes] = []
        seq = self._committed
        for _ in range(min(len(self._waiting), LARGEST_BATCH)):
            seq += 1
            at_s, kind, body = take()
            head = next_chain(head, seq, at_s, kind, body)
            values += (seq, at_s, kind, body, head)
        at = 0
        for rows in _ROWS_AT_ONCE:
            size = rows * 5
            while len(values) - at >= size:
                self._db.execute(_INSERT[rows], values[at : at + size])
                at += size
        self._db.execute("COMMIT")
        with self._progress:
            self._head, self._committed = head, seq
            self._progress.notify_all()
        # The open transaction keeps every other writer out; readers stay welcome.
        self._db.execute("BEGIN IMMEDIATE")


def _claim(db: sqlite3.Connection, tries: int) -> None:
    """Take the write lock for good; SQLITE_BUSY where another process writes the record.

    That one lets go of the lock for an instant at each commit, and takes it again at once. So it is
    free only if it is free several times in a row.
    """
    for left in range(tries, 0, -1):
        db.execute("BEGIN IMMEDIATE")
        if left > 1:
            db.execute("ROLLBACK")
            Event().wait(CLAIM_PAUSE_S)


def _prepared(db: sqlite3.Connection, path: Path) -> tuple[int, bytes]:
    """Number and chain of the last entry, the connection left in a write transaction."""
    (application,) = db.execute("PRAGMA application_id").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    # A process killed as it began leaves a file with no table in it yet.
    fresh = tables == 0 and application in (0, APPLICATION_ID)
    if not fresh and application != APPLICATION_ID:
        raise EvidenceError(f"{path}: is not the evidence of a run")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    _claim(db, tries=1 if fresh else CLAIMS)
    # From here on a rival is one who is just about to be refused: wait until it has gone.
    db.execute(f"PRAGMA busy_timeout = {RIVAL_GOES_MS}")
    if fresh:
        db.execute(TABLE)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {FORMAT}")
        db.execute("COMMIT")
        db.execute("BEGIN IMMEDIATE")
        return 0, BEFORE_THE_FIRST
    remove_digest(path)
    report = verify_chain(path)
    if not report.ok:
        raise EvidenceError(f"{path}: the record is damaged, so nothing is added: {report.why}")
    return report.entries, bytes.fromhex(report.head)
