"""The command as a user types it, each time in a process of its own."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from gaswitness.verdicts_json import verdicts_schema
from gaswitness_probe.evidence import Evidence, EvidenceError, read_evidence, verify_chain

GASWITNESS = [sys.executable, "-c", "from gaswitness.cli import main; main()"]
QUICK_S = 0.4


def gaswitness(*arguments: object, here: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [*GASWITNESS, *map(str, arguments)],
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
def demo(tmp_path: Path) -> Path:
    assert gaswitness("demo", "my-site", here=tmp_path).returncode == 0
    return tmp_path / "my-site"


def test_help_answers_at_once(tmp_path: Path) -> None:
    took_s = []
    for _ in range(3):
        begun = time.perf_counter()
        done = gaswitness("--help", here=tmp_path)
        took_s.append(time.perf_counter() - begun)
    assert min(took_s) < QUICK_S
    assert "Exit codes: 0 all proven" in done.stdout
    assert "a virtual panel protects nobody" in " ".join(done.stdout.split())


def test_help_imports_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys; from gaswitness.cli import run; run(['--help'])\n"
        "print([m for m in ('pydantic', 'rich', 'openpyxl', 'ruamel', 'asyncio', 'sqlite3',\n"
        "                   'gaswitness.command_check') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["reherse"], "No such command"),
        ([], "Usage:"),
        (["check"], "Missing argument 'SITE'"),
        (["check", "nowhere.yaml"], "nowhere.yaml:1:1: there is no site file"),
        (["rehearse", "--speed", "2"], "--speed is for --link tcp"),
        (["rehearse", "--latency-ms", "20:2"], "write LO:HI in milliseconds"),
        (["rehearse", "--script", "nowhere"], "there is no script"),
        (["survey", "demo"], "Missing option '--link'"),
        (["survey", "demo", "--link", "127.0.0.1:502"], "write tcp://HOST:PORT/UNIT"),
        (["witness", "demo", "--link", "tcp://127.0.0.1:9"], "--script S"),
        (["serve", "--listen", "5020"], "write HOST:PORT"),
        (["serve", "--speed", "0"], "write a number above 0"),
        (["verify", "nowhere.sqlite"], "there is no such file"),
    ],
)
def test_wrong_use_is_told_in_words(arguments: list[str], words: str, tmp_path: Path) -> None:
    done = gaswitness(*arguments, here=tmp_path)
    assert done.returncode == 2
    assert words in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_all_errors_of_a_site_file_come_at_once(demo: Path) -> None:
    path = demo / "site.yaml"
    text = path.read_text("utf-8").replace("scan_s: 0.5", "scann_s: 0.5", 1)
    path.write_text(text.replace("gas: CH4", "gas: 7", 1), "utf-8")
    done = gaswitness("check", path, here=demo)
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert len(lines) == 2
    assert f"site.yaml:{1 + text[: text.index('scann_s')].count(chr(10))}:" in lines[0]
    assert "scan_s" in lines[0]


def test_check_says_what_a_good_site_has(tmp_path: Path) -> None:
    done = gaswitness("check", "demo", here=tmp_path)
    assert done.returncode == 0
    assert "site.yaml: GDP-1: 11 channels, 4 inputs, 15 outputs" in done.stdout


def test_strict_turns_warnings_into_3(demo: Path) -> None:
    path = demo / "site.yaml"
    path.write_text(path.read_text("utf-8").replace("setpoint: 25,", "setpoint: 40,", 1), "utf-8")
    plain, strict = (gaswitness("check", path, *more, here=demo) for more in ((), ("--strict",)))
    assert (plain.returncode, strict.returncode) == (0, 3)
    assert ": warning: " in plain.stdout
    assert "    why: " in plain.stdout
    assert "    source: " in plain.stdout


@pytest.mark.parametrize("which", ["--site", "--script", "--verdicts"])
def test_schemas_are_schemas(which: str, tmp_path: Path) -> None:
    done = gaswitness("schema", which, here=tmp_path)
    jsonschema.Draft202012Validator.check_schema(json.loads(done.stdout))


def test_the_demo_overwrites_nothing(demo: Path) -> None:
    before = (demo / "site.yaml").stat().st_mtime_ns
    again = gaswitness("demo", demo, here=demo)
    assert again.returncode == 2
    assert "would be overwritten" in again.stderr
    assert (demo / "site.yaml").stat().st_mtime_ns == before


def test_a_rehearsal_leaves_its_files(tmp_path: Path) -> None:
    done = gaswitness("rehearse", "--script", "00-first-look", here=tmp_path)
    # One script does not call for every cell, so some are not run; nothing may have failed.
    assert done.returncode == 3
    folder = tmp_path / "gaswitness-run-GDP-1-001"
    assert sorted(path.name for path in folder.iterdir()) == [
        "junit.xml",
        "run.sqlite",
        "run.sqlite.sha256",
        "verdicts.json",
    ]
    document = json.loads((folder / "verdicts.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(verdicts_schema()).validate(document)
    assert document["summary"]["failed"] == 0
    assert document["summary"]["proven"] > 20
    assert f"NOT PROVEN: {document['summary']['proven']} proven, 0 failed" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert "\x1b" not in done.stdout + done.stderr


def test_the_digest_printed_is_that_of_the_evidence(tmp_path: Path) -> None:
    done = gaswitness("rehearse", "--script", "00-first-look", "--out", "run", here=tmp_path)
    digest = done.stdout.split()[-1]
    good = gaswitness("verify", "run/run.sqlite", "--head", digest, here=tmp_path)
    wrong = gaswitness("verify", "run/run.sqlite", "--head", "00" * 32, here=tmp_path)
    assert (good.returncode, wrong.returncode) == (0, 1)
    kinds = {entry.kind for entry in read_evidence(tmp_path / "run" / "run.sqlite")}
    assert {"run", "exchange", "samples", "step", "applied", "verdict", "end"} <= kinds
    assert "run's end" not in good.stdout


def test_verify_says_that_a_record_has_no_end(tmp_path: Path) -> None:
    evidence = Evidence.create(tmp_path / "run.sqlite")
    evidence.append("remark", {"text": "and then the computer stopped"}, 1.0)
    evidence.close()
    done = gaswitness("verify", "run.sqlite", here=tmp_path)
    assert done.returncode == 0
    assert "the run broke off, or the record was cut short" in done.stdout


def test_equal_seeds_give_equal_verdicts(tmp_path: Path) -> None:
    for out in ("one", "two"):
        gaswitness(
            "rehearse", "-q", "--script", "00-first-look", "--seed", 5, "--out", out, here=tmp_path
        )
    one, two = ((tmp_path / out / "verdicts.json").read_bytes() for out in ("one", "two"))
    assert one == two


def test_a_deviating_panel_fails_with_1(demo: Path) -> None:
    changed = demo.parent / "changed"
    assert gaswitness("demo", changed, here=demo).returncode == 0
    matrix = changed / "matrix.csv"
    rows = matrix.read_text("utf-8").splitlines(keepends=True)
    kept = [row for row in rows if not row.startswith("AT-201.A2,V1")]
    assert len(kept) == len(rows) - 1
    matrix.write_text("".join(kept), "utf-8")
    done = gaswitness(
        "rehearse", demo, "--panel", changed, "--script", "00-first-look", here=demo.parent
    )
    assert done.returncode == 1
    assert "  cell/AT-201.A2 > V1\n" in done.stdout.partition("\nFailed\n")[2]


def test_quiet_prints_the_conclusion_alone(tmp_path: Path) -> None:
    done = gaswitness("rehearse", "-q", "--script", "00-first-look", "--out", "run", here=tmp_path)
    assert [line.split(":")[0] for line in done.stdout.splitlines()] == [
        "NOT PROVEN",
        "Files",
        "Evidence",
    ]
    assert done.stderr == ""


def test_no_link_is_4_and_keeps_the_evidence(tmp_path: Path) -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        port = unused.getsockname()[1]
        done = gaswitness(
            "survey", "demo", "--link", f"tcp://127.0.0.1:{port}", "--out", "run", here=tmp_path
        )
    assert done.returncode == 4
    assert f"127.0.0.1:{port}" in done.stderr
    assert verify_chain(tmp_path / "run" / "run.sqlite").ok


def test_a_run_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "notes.txt").write_text("mine")
    done = gaswitness("rehearse", "--out", "run", here=tmp_path)
    assert done.returncode == 2
    assert "overwrites nothing" in done.stderr


def test_a_broken_record_is_told(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    with Evidence.create(path) as evidence:
        evidence.append("remark", {"text": "as it was"}, 0.0)
    content = path.read_bytes()
    assert content.count(b"as it was") == 1
    path.write_bytes(content.replace(b"as it was", b"as it is!"))
    done = gaswitness("verify", path, here=tmp_path)
    assert done.returncode == 1
    assert "entry 1 is not as it was written" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
def test_ctrl_c_ends_with_130_and_a_whole_record(tmp_path: Path) -> None:
    run = subprocess.Popen(
        [*GASWITNESS, "rehearse", "--link", "tcp", "--speed", "1", "--out", "run"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    record = tmp_path / "run" / "run.sqlite"
    until = time.perf_counter() + 30
    while not has_exchanges(record):
        assert time.perf_counter() < until
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=60)
    assert run.returncode == 130
    assert "Traceback" not in said
    assert verify_chain(record).ok


def has_exchanges(record: Path) -> bool:
    try:
        return any(read_evidence(record, "exchange"))
    except EvidenceError:
        return False
