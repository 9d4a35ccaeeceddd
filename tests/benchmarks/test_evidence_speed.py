"""How fast evidence is kept, beside the same rows put into SQLite with neither chain nor thread."""

import sqlite3
import time
from pathlib import Path

import pytest

from gaswitness_probe.evidence import Evidence, verify_chain

EXCHANGES = 60_000
REQUEST = bytes.fromhex("000100000006010300000040")
RESPONSE = bytes.fromhex("00010000008301038000") + bytes(range(127))


def kept_s(path: Path) -> float:
    begun = time.perf_counter()
    with Evidence.create(path) as evidence:
        for n in range(EXCHANGES):
            evidence.append_exchange(
                sent_s=n * 0.5, received_s=n * 0.5 + 0.0123, request=REQUEST, response=RESPONSE
            )
    return time.perf_counter() - begun


def bare_s(path: Path) -> float:
    begun = time.perf_counter()
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE entry (seq INTEGER PRIMARY KEY, at_s REAL, kind TEXT, body TEXT)")
    for n in range(EXCHANGES):
        body = f"{n * 0.5!r} {n * 0.5 + 0.0123!r} {REQUEST.hex()} {RESPONSE.hex()}"
        db.execute("INSERT INTO entry VALUES (?,?,?,?)", (n, n * 0.5, "exchange", body))
    db.commit()
    db.close()
    return time.perf_counter() - begun


@pytest.mark.benchmark
def test_evidence_costs_little_more_than_bare_rows(tmp_path: Path) -> None:
    kept = min(kept_s(tmp_path / f"kept-{n}.sqlite") for n in range(3))
    bare = min(bare_s(tmp_path / f"bare-{n}.sqlite") for n in range(3))
    assert verify_chain(tmp_path / "kept-0.sqlite").entries == EXCHANGES
    print(f"evidence {EXCHANGES / kept:,.0f}/s, bare {EXCHANGES / bare:,.0f}/s")
    assert kept < 3 * bare
