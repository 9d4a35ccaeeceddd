"""Evidence on real files: what is acknowledged survives, what is altered is found."""

import hashlib
import sqlite3
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from gaswitness_probe.evidence import Evidence, EvidenceError, read_evidence, verify_chain
from gaswitness_probe.evidence_whole import is_whole

REQUEST = bytes.fromhex("000100000006010300000002")
RESPONSE = bytes.fromhex("00010000000701030441a40000")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "run.sqlite"


def short_record(path: Path) -> str:
    with Evidence.create(path) as evidence:
        evidence.append("run", {"software": "gaswitness 0.1.0"}, 0.0)
        evidence.append_exchange(sent_s=1.0, received_s=1.25, request=REQUEST, response=RESPONSE)
        evidence.append("remark", {"text": "Brücke 5 °C"}, 2)
        return evidence.close()


def third_party_head(path: Path) -> str:
    """The verifier printed in the module's text, with nothing of ours."""
    db = sqlite3.connect(path)
    head, due = bytes(32), 1
    for seq, at_s, kind, body, chain in db.execute(
        "SELECT seq, at_s, kind, CAST(body AS BLOB), chain FROM entry ORDER BY seq"
    ):
        row = struct.pack(">qd", seq, at_s) + kind.encode("ascii") + bytes(1) + body
        head = hashlib.sha256(head + row).digest()
        assert seq == due
        assert chain == head
        due += 1
    db.close()
    return head.hex()


def alter(path: Path, statement: str, *values: object) -> None:
    db = sqlite3.connect(path)
    db.execute(statement, values)
    db.commit()
    db.close()


def test_entries_come_back_as_they_were_appended(path: Path) -> None:
    short_record(path)
    found = [(e.seq, e.at_s, e.kind, e.body) for e in read_evidence(path)]
    assert found == [
        (1, 0.0, "run", {"software": "gaswitness 0.1.0"}),
        (
            2,
            1.25,
            "exchange",
            {
                "sent_s": 1.0,
                "received_s": 1.25,
                "request": "000100000006010300000002",
                "response": "00010000000701030441a40000",
                "problem": None,
            },
        ),
        (3, 2.0, "remark", {"text": "Brücke 5 °C"}),
    ]


def test_one_kind_can_be_read_alone(path: Path) -> None:
    short_record(path)
    assert [e.seq for e in read_evidence(path, "exchange")] == [2]


def test_a_closed_record_is_one_file_and_its_digest(path: Path) -> None:
    short_record(path)
    names = sorted(p.name for p in path.parent.iterdir())
    assert names == ["run.sqlite", "run.sqlite.sha256"]
    beside = path.with_name("run.sqlite.sha256").read_text("ascii")
    assert beside == f"{hashlib.sha256(path.read_bytes()).hexdigest()}  run.sqlite\n"


def test_a_record_that_is_written_again_has_no_digest_until_it_is_closed(path: Path) -> None:
    short_record(path)
    beside = path.with_name("run.sqlite.sha256")
    before = beside.read_text("ascii")
    with Evidence.open_again(path) as evidence:
        evidence.append("remark", {"text": "it goes on"}, 3.0)
        assert not beside.exists()
    assert beside.read_text("ascii") != before
    assert is_whole(path) is True


def test_the_chain_is_the_one_that_is_documented(path: Path) -> None:
    head = short_record(path)
    assert third_party_head(path) == head
    report = verify_chain(path, head=head)
    assert (report.ok, report.entries, report.head) == (True, 3, head)


def test_any_altered_byte_of_a_body_is_found(path: Path) -> None:
    short_record(path)
    db = sqlite3.connect(path)
    (body,) = db.execute("SELECT CAST(body AS BLOB) FROM entry WHERE seq = 2").fetchone()
    db.close()
    for at in range(len(body)):
        wrong = body[:at] + bytes([body[at] ^ 1]) + body[at + 1 :]
        alter(path, "UPDATE entry SET body = CAST(? AS TEXT) WHERE seq = 2", wrong)
        report = verify_chain(path)
        assert (report.ok, report.entries, report.first_bad) == (False, 1, 2)
    alter(path, "UPDATE entry SET body = CAST(? AS TEXT) WHERE seq = 2", body)
    assert verify_chain(path).ok


@pytest.mark.parametrize(
    ("statement", "first_bad"),
    [
        ("UPDATE entry SET at_s = 1.26 WHERE seq = 2", 2),
        ("UPDATE entry SET kind = 'step' WHERE seq = 1", 1),
        ("UPDATE entry SET kind = 'stép' WHERE seq = 1", 1),
        ("DELETE FROM entry WHERE seq = 2", 2),
        ("UPDATE entry SET seq = seq + 10 WHERE seq = 3", 3),
        ("UPDATE entry SET chain = zeroblob(32) WHERE seq = 3", 3),
    ],
)
def test_every_column_is_under_the_chain(path: Path, statement: str, first_bad: int) -> None:
    short_record(path)
    alter(path, statement)
    assert verify_chain(path).first_bad == first_bad


def test_a_tail_cut_off_is_found_by_the_printed_head(path: Path) -> None:
    head = short_record(path)
    alter(path, "DELETE FROM entry WHERE seq = 3")
    assert verify_chain(path).ok
    assert not verify_chain(path, head=head).ok


def test_an_existing_file_is_never_overwritten(path: Path) -> None:
    path.write_text("my notes")
    with pytest.raises(EvidenceError, match="never overwritten"):
        Evidence.create(path)
    assert path.read_text() == "my notes"


def test_a_record_in_no_folder_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(EvidenceError, match="cannot be made"):
        Evidence.create(tmp_path / "nowhere" / "run.sqlite")


def test_a_second_writer_is_refused(path: Path) -> None:
    with Evidence.create(path) as first:
        first.append("remark", {"text": "mine"}, 0.0)
        first.sync()
        with pytest.raises(EvidenceError, match="another process is writing"):
            Evidence.open_again(path)
        first.append("remark", {"text": "still mine"}, 1.0)
        first.sync()
        assert first.committed == 2
    assert verify_chain(path).entries == 2


def test_a_writer_that_commits_all_the_time_is_never_robbed(path: Path) -> None:
    """Between two commits the lock is free for an instant; a rival must not get in there."""
    with Evidence.create(path) as first:
        for number in range(40):
            first.append("remark", {"text": str(number)}, float(number))
            first.sync()
            if number % 4 == 0:
                with pytest.raises(EvidenceError, match="another process is writing"):
                    Evidence.open_again(path)
    assert verify_chain(path).entries == 40


def test_a_second_writer_in_another_process_is_refused(path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from gaswitness_probe.evidence import Evidence\n"
        "Evidence.open_again(Path(sys.argv[1]))"
    )
    with Evidence.create(path) as first:
        first.append("remark", {"text": "mine"}, 0.0)
        second = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False
        )
    assert second.returncode == 1
    assert "another process is writing it" in second.stderr


def test_a_reader_sees_committed_entries_while_the_run_goes_on(path: Path) -> None:
    with Evidence.create(path) as evidence:
        evidence.append("remark", {"text": "early"}, 0.0)
        evidence.sync()
        assert [e.body["text"] for e in read_evidence(path)] == ["early"]


APPENDS_FOR_EVER = """
import sys
from pathlib import Path
from gaswitness_probe.evidence import Evidence

evidence = Evidence.create(Path(sys.argv[1]))
while True:
    for n in range(700):
        evidence.append("remark", {"text": "entry"}, float(n))
    print(evidence.sync(), flush=True)
    evidence.append("remark", {"text": "not acknowledged"}, 0.0)
"""


@pytest.mark.parametrize("lines", [1, 5, 25])
def test_acknowledged_entries_survive_a_kill(path: Path, lines: int) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", APPENDS_FOR_EVER, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    for _ in range(lines):
        acknowledged = int(child.stdout.readline())
    child.kill()
    rest = child.stdout.read().split("\n")
    child.wait()
    child.stdout.close()
    acknowledged = max([acknowledged, *(int(line) for line in rest[:-1])])
    with Evidence.open_again(path) as evidence:
        begun_at = evidence.append("remark", {"text": "goes on"}, 0.0)
    assert begun_at > acknowledged
    report = verify_chain(path)
    assert report.ok
    assert report.entries == begun_at
    assert third_party_head(path) == report.head


def test_entries_are_committed_without_being_asked_for(path: Path) -> None:
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys; from pathlib import Path; from gaswitness_probe.evidence import Evidence\n"
            "e = Evidence.create(Path(sys.argv[1])); e.append('remark', {'text': 'one'}, 0.0)\n"
            "while not e.committed: pass\n"
            "print('there', flush=True); sys.stdin.read()",
            str(path),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stdout.readline().strip() == b"there"
    child.kill()
    child.wait()
    child.stdin.close()
    child.stdout.close()
    assert [e.body for e in read_evidence(path)] == [{"text": "one"}]


def test_a_file_that_was_killed_while_empty_opens_again(path: Path) -> None:
    path.touch()
    with Evidence.open_again(path) as evidence:
        assert evidence.append("remark", {"text": "first"}, 0.0) == 1
    assert verify_chain(path).entries == 1


def test_a_damaged_record_is_not_gone_on_with(path: Path) -> None:
    short_record(path)
    alter(path, "UPDATE entry SET at_s = 7 WHERE seq = 1")
    with pytest.raises(EvidenceError, match="damaged"):
        Evidence.open_again(path)


@pytest.mark.parametrize("content", [b"gaswitness_site: 1\n" * 80, bytes(range(256)) * 40])
def test_a_file_of_another_kind_is_refused(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(EvidenceError):
        Evidence.open_again(path)
    with pytest.raises(EvidenceError):
        list(read_evidence(path))
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_refused(path: Path) -> None:
    alter(path, "CREATE TABLE entry (seq INTEGER)")
    before = path.read_bytes()
    with pytest.raises(EvidenceError, match="not the evidence"):
        Evidence.open_again(path)
    assert path.read_bytes() == before


FILLS_THE_DISK = """
import resource, signal, sys
from pathlib import Path
from gaswitness_probe.evidence import Evidence, EvidenceError

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
evidence = Evidence.create(Path(sys.argv[1]))
try:
    for n in range(1_000_000):
        evidence.append("remark", {"text": "x" * 100}, 0.0)
except EvidenceError as error:
    print(error)
try:
    evidence.close()
except EvidenceError:
    print("close says so too")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on a file's size is POSIX")
def test_a_full_disk_is_told_to_the_caller(path: Path) -> None:
    child = subprocess.run(
        [sys.executable, "-c", FILLS_THE_DISK, str(path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    words, at_close = child.stdout.splitlines()
    assert "could not be written after entry" in words
    assert at_close == "close says so too"
    assert verify_chain(path).ok


def test_a_closed_record_takes_no_more(path: Path) -> None:
    evidence = Evidence.create(path)
    head = evidence.close()
    assert evidence.close() == head
    with pytest.raises(EvidenceError, match="closed"):
        evidence.append("remark", {"text": "late"}, 0.0)


def test_an_unknown_kind_is_refused(path: Path) -> None:
    with Evidence.create(path) as evidence, pytest.raises(ValueError, match="no kind"):
        evidence.append("rumour", {}, 0.0)


@pytest.mark.parametrize("at_s", [float("nan"), float("inf")])
def test_an_instant_must_be_a_number(path: Path, at_s: float) -> None:
    with Evidence.create(path) as evidence, pytest.raises(ValueError, match="instant"):
        evidence.append("remark", {}, at_s)


def test_a_negative_zero_does_not_break_the_chain(path: Path) -> None:
    with Evidence.create(path) as evidence:
        evidence.append("remark", {"text": "start"}, -0.0)
    assert verify_chain(path).ok


def test_a_flood_is_kept_whole_and_in_order(path: Path) -> None:
    with Evidence.create(path) as evidence:
        for n in range(60_000):
            evidence.append_exchange(
                sent_s=n * 0.1, received_s=n * 0.1 + 0.01, request=REQUEST, response=RESPONSE
            )
        head = evidence.close()
    report = verify_chain(path, head=head)
    assert (report.ok, report.entries) == (True, 60_000)
