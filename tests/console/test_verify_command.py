"""`gaswitness verify` as a user types it, and the checker that the developers' text prints."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from small_run import small_run, written

from gaswitness_probe.evidence import Evidence, read_evidence

ROOT = Path(__file__).parents[2]
GASWITNESS = [sys.executable, "-c", "from gaswitness.cli import main; main()"]
(CHECKER,) = re.findall(
    r"```python\n(.*?)```", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.DOTALL
)


def python(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )


def verify(*arguments: object, here: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [*GASWITNESS, "verify", *map(str, arguments)],
        cwd=here,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONIOENCODING": "utf-8", "COLUMNS": "80"},
        timeout=100,
        check=False,
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture
def digest(tmp_path: Path) -> str:
    return small_run(tmp_path).digest


@pytest.fixture
def checker(tmp_path: Path) -> Path:
    path = tmp_path / "check.py"
    path.write_text(CHECKER, "utf-8")
    return path


def forged(folder: Path) -> Path:
    """The record with one verdict turned to proven, everything about it built anew."""
    path = folder / "forged" / "run.sqlite"
    path.parent.mkdir()
    with Evidence.create(path) as evidence:
        for entry in read_evidence(folder / "run.sqlite"):
            body = entry.body
            if entry.kind == "verdict" and body["outcome"] == "inconclusive":
                body["outcome"] = "proven"
            if entry.kind == "end":
                body["summary"] |= {"proven": 19, "inconclusive": 0}
            evidence.append(entry.kind, body, entry.at_s)
    return path


def test_a_record_and_its_folder_are_verified_alike(tmp_path: Path, digest: str) -> None:
    done = verify("run.sqlite", "--head", digest, "--site", "files", here=tmp_path)
    assert done.returncode == 0, done.stdout
    lines = done.stdout.splitlines()
    assert lines[0] == "run.sqlite"
    assert [line.split()[:2] for line in lines[1:]] == [
        ["file", "stands"],
        ["chain", "stands"],
        ["site", "stands"],
        ["samples", "stands"],
        ["verdicts", "stands"],
    ]
    assert digest in lines[2]
    assert lines[5].endswith("all 19 judged again, and agree")
    folder = verify(".", here=tmp_path)
    assert (folder.returncode, folder.stdout.splitlines()[1:3]) == (0, lines[1:3])


def test_the_chain_alone_is_checked_where_that_is_asked(tmp_path: Path, digest: str) -> None:
    done = verify("run.sqlite", "--chain-only", "--head", digest, here=tmp_path)
    assert done.returncode == 0
    assert [line.split()[0] for line in done.stdout.splitlines()[1:]] == ["file", "chain"]


def test_verdicts_that_do_not_follow_are_named(tmp_path: Path, digest: str) -> None:
    path = forged(tmp_path)
    done = verify(path, here=tmp_path)
    assert done.returncode == 1
    assert "15 judged again agree, 4 differ" in done.stdout
    assert "level/AT-1.A1: then proven, now inconclusive" in done.stdout
    assert verify(path, "--head", digest, "--chain-only", here=tmp_path).returncode == 1


def test_a_changed_byte_where_no_entry_is_fails_with_1(tmp_path: Path, digest: str) -> None:
    path = tmp_path / "run.sqlite"
    content = bytearray(path.read_bytes())
    # bytes 24 to 27 of the header are SQLite's file change counter: no entry stands there
    content[27] ^= 1
    path.write_bytes(content)
    done = verify("run.sqlite", here=tmp_path)
    assert done.returncode == 1
    assert "is not the one that run.sqlite.sha256 names" in done.stdout
    assert digest in done.stdout


def test_the_records_of_a_folder_must_be_retests_of_each_other(tmp_path: Path) -> None:
    first = small_run(tmp_path)
    for number, retest_of in ((2, first.digest), (3, "00" * 32)):
        with Evidence.create(tmp_path / f"run-{number}.sqlite") as evidence:
            for entry in read_evidence(tmp_path / "run.sqlite"):
                if entry.kind == "run":
                    entry.body["options"] = {"retest_of": retest_of}
                evidence.append(entry.kind, entry.body, entry.at_s)
    done = verify(".", here=tmp_path)
    assert done.returncode == 1
    assert "run-2.sqlite: is a retest" not in done.stdout
    assert f"run-3.sqlite: is a retest of the record with the digest {'00' * 32}" in done.stdout
    (tmp_path / "run-3.sqlite").unlink()
    assert verify(".", here=tmp_path).returncode == 0
    both = verify(".", "--head", first.digest, here=tmp_path)
    assert both.returncode == 2
    assert "name its file, not the folder" in both.stderr


def test_another_site_is_told(tmp_path: Path, digest: str) -> None:
    other, _ = written(tmp_path / "other")
    other.write_text(other.read_text("utf-8").replace("t90_s: 0", "t90_s: 0.0"), "utf-8")
    done = verify("run.sqlite", "--site", "other", here=tmp_path)
    assert done.returncode == 1
    assert "site.yaml differs" in done.stdout
    assert digest in done.stdout


def test_what_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    assert verify("nothing.sqlite", here=tmp_path).returncode == 2
    done = verify(".", here=tmp_path)
    assert done.returncode == 2
    assert "holds no run.sqlite" in done.stderr


def test_the_checker_of_the_developers_text_needs_nothing_of_ours(
    tmp_path: Path, digest: str, checker: Path
) -> None:
    assert "gaswitness" not in CHECKER.replace("GASWITNESS", "")
    record = tmp_path / "run.sqlite"
    good = python("-I", checker, record, digest)
    assert (good.returncode, good.stderr) == (0, "")
    entries = len(list(read_evidence(record)))
    assert good.stdout == f"{entries} entries stand; ended {digest}\n"
    assert "not in the digest printed" in python("-I", checker, record, "00" * 32).stderr
    content = record.read_bytes()
    record.write_bytes(content.replace(b"it ran to its end", b"it ran to its enD"))
    assert "not the one that the run closed" in python("-I", checker, record).stderr
    record.with_name("run.sqlite.sha256").unlink()
    assert f"entry {entries} is not as it was" in python("-I", checker, record).stderr


def test_the_checker_finds_a_changed_site_file(tmp_path: Path, digest: str, checker: Path) -> None:
    path = tmp_path / "other.sqlite"
    with Evidence.create(path) as evidence:
        for entry in read_evidence(tmp_path / "run.sqlite"):
            if entry.kind == "run":
                entry.body["site_files"][1]["text"] += "\n"
            evidence.append(entry.kind, entry.body, entry.at_s)
    assert "not those that the run names" in python("-I", checker, path).stderr
    assert python("-I", checker, tmp_path / "run.sqlite", digest).returncode == 0


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_the_digest_beside_is_one_that_sha256sum_reads(tmp_path: Path, digest: str) -> None:
    assert digest
    done = subprocess.run(
        ["sha256sum", "-c", "run.sqlite.sha256"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, "run.sqlite: OK\n")
