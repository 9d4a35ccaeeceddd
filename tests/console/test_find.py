"""`gaswitness find` as a user types it."""

import os
import signal
import subprocess
import sys
import threading
import tty

import pytest
from crccheck.crc import CrcModbus


def run(*arguments, **options):
    command = [sys.executable, "-c", "from gaswitness.cli import main; main()", "find"]
    return subprocess.run(
        [*command, *arguments], capture_output=True, text=True, timeout=60, check=False, **options
    )


@pytest.fixture
def unit_seven():
    """Unit 7 at the other end of a pseudo-terminal, in a thread; its device's name."""
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)

    def answer():
        heard = b""
        while True:
            try:
                heard += os.read(ours, 256)
            except OSError:
                return
            while len(heard) >= (length := 7 if heard[1:2] == b"\x2b" else 8):
                request, heard = heard[:length], heard[length:]
                if request[0] != 7:
                    continue
                body = b"\x07\x03\x02\x12\x34" if request[1] == 3 else b"\x07\xab\x01"
                os.write(ours, body + CrcModbus.calc(body).to_bytes(2, "little"))

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    yield os.ttyname(theirs)
    os.close(theirs)
    os.close(ours)


def test_unit_is_found_after_cautions_and_bound(unit_seven):
    found = run("--link", f"rtu://{unit_seven}", "--units", "5-8", "--timeout-s", "0.05", "--yes")
    assert found.returncode == 0, found.stderr
    cautions, _, rest = found.stdout.partition("Link /dev/")
    assert "take the line out of service first" in " ".join(cautions.split())
    assert "4 unit ids at 16 settings (19200 8E1, 9600 8E1, 9600 8N1" in " ".join(rest.split())
    assert "At most 64 tries" in " ".join(rest.split())
    assert "unit 7 at 19200 8E1: does not say who it is; holding register 0: 1234; 5 of 5" in rest
    assert "with a right CRC; by chance 8e-25" in rest
    assert "4 tries made, 1 units heard." in rest


def test_settings_in_the_address_are_kept(unit_seven):
    link = f"rtu://{unit_seven}?baud=9600&parity=none"
    found = run("--link", link, "--units", "9", "--timeout-s", "0.02", "--yes")
    assert found.returncode == 3
    assert "1 unit ids at 2 settings (9600 8N1, 9600 8N2)" in " ".join(found.stdout.split())
    assert found.stdout.endswith("Nothing certain was found.\n")


def test_nothing_is_sent_unless_somebody_agrees(unit_seven):
    found = run("--link", f"rtu://{unit_seven}", stdin=subprocess.DEVNULL)
    assert found.returncode == 2
    assert "write --yes" in found.stderr
    assert "Before you begin:" in found.stdout


def test_link_that_is_not_there_is_no_link():
    found = run("--link", "tcp://127.0.0.1:1", "--units", "1", "--yes")
    assert found.returncode == 4
    assert "refuses the connection" in found.stderr


@pytest.mark.parametrize("units", ["0", "1-300", "five", "9-3"])
def test_unit_ids_that_cannot_be_are_refused(units):
    found = run("--link", "rtu:/dev/null", "--units", units, "--yes")
    assert found.returncode == 2
    assert "--units" in found.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGINT for one process")
def test_ctrl_c_stops_it(unit_seven):
    command = [sys.executable, "-c", "from gaswitness.cli import main; main()", "find"]
    arguments = ["--link", f"rtu://{unit_seven}", "--units", "50-99", "--yes"]
    with subprocess.Popen(
        [*command, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr.readline() == "19200 8E1 ...\n"
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=10)
    assert process.returncode == 130
    assert errors.strip() == "stopped"
