"""`gaswitness serve` on every kind of link, in a process of its own."""

import re
import signal
import socket
import ssl
import subprocess
import sys

import pytest
import serial
import trustme

from gaswitness_simulator.rtu import rtu_framed

GASWITNESS = [sys.executable, "-c", "from gaswitness.cli import main; main()"]
# Device identification, object 0 alone (V1.1b3 clause 6.21): answered even during warm-up.
WHO = bytes.fromhex("2B 0E 04 00")
VENDOR = b"Virtual"


@pytest.fixture
def serve():
    """Begin to serve; (links, further lines) once it says its speed."""
    started = []

    def serving(*arguments, more=0):
        process = subprocess.Popen(
            [*GASWITNESS, "serve", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            bufsize=1,
        )
        started.append(process)
        lines = []
        while not (lines and lines[-1].startswith("speed")):
            line = process.stdout.readline()
            assert line, lines
            lines.append(line.strip())
        lines += [process.stdout.readline().strip() for _ in range(more)]
        links = [one.removeprefix("listening on ") for one in lines if one.startswith("listening")]
        return links, lines[len(links) :]

    yield serving
    for process in started:
        process.kill()
        process.wait()
        process.stdout.close()


def port_of(link):
    return int(re.search(r":(\d+)/", link)[1])


def said(connection, request):
    connection.settimeout(5)
    connection.sendall(request)
    return connection.recv(300)


def over_tcp(link, unit):
    frame = b"\0\1\0\0" + (len(WHO) + 1).to_bytes(2, "big") + bytes((unit,)) + WHO
    with socket.create_connection(("127.0.0.1", port_of(link))) as connection:
        return said(connection, frame)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")
def test_two_panels_answer_on_three_links_at_once(serve):
    links, lines = serve(
        "demo@3", "demo@4", "--listen", "127.0.0.1:0", "--listen", "rtu+tcp://127.0.0.1:0",
        "--listen", "rtu:pty?baud=115200", "--unknown-unit", "0B", more=2,
    )  # fmt: skip
    assert [link.partition(":")[0] for link in links] == ["tcp", "rtu+tcp", "rtu"]
    assert lines[-2:] == ["unit 3 is GDP-1", "unit 4 is GDP-1"]
    for unit in (3, 4):
        answer = over_tcp(links[0], unit)
        assert answer[6] == unit
        assert answer.endswith(VENDOR)
    assert over_tcp(links[0], 5)[7:].hex() == "ab0b"
    with socket.create_connection(("127.0.0.1", port_of(links[1]))) as connection:
        answer = said(connection, rtu_framed(4, WHO))
        assert (answer[0], answer[-9:-2]) == (4, VENDOR)
    device = links[2].removeprefix("rtu://").partition("?")[0]
    with serial.Serial(device, 115200, timeout=2) as port:
        port.write(rtu_framed(3, WHO))
        answer = port.read(len(answer))
        assert (answer[0], answer[-9:-2]) == (3, VENDOR)


def test_a_link_within_tls_takes_certificates_of_its_authority(serve, tmp_path):
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    panel = authority.issue_cert("127.0.0.1")
    panel.cert_chain_pems[0].write_to_path(str(tmp_path / "panel.pem"))
    panel.private_key_pem.write_to_path(str(tmp_path / "panel.key"))
    files = "&".join(f"{name}={tmp_path / file}" for name, file in (
        ("ca", "ca.pem"), ("cert", "panel.pem"), ("key", "panel.key")
    ))  # fmt: skip
    (link,), _ = serve("demo", "--listen", f"tls://127.0.0.1:0?{files}", "--writer-role", "fitter")
    assert re.fullmatch(r"tls://127\.0\.0\.1:\d+/1", link)
    context = ssl.create_default_context()
    authority.configure_trust(context)
    authority.issue_cert("client@example.org").configure_cert(context)
    with (
        socket.create_connection(("127.0.0.1", port_of(link))) as raw,
        context.wrap_socket(raw, server_hostname="127.0.0.1") as connection,
    ):
        write = bytes.fromhex("0001 0000 0006 01 05 0000 FF00")
        assert said(connection, write).hex() == "000100000003018501"


@pytest.mark.skipif(sys.platform == "win32", reason="another process cannot press Ctrl-C there")
def test_serving_a_line_ends_quietly_when_interrupted(serve):
    process = subprocess.Popen(
        [*GASWITNESS, "serve", "demo", "--listen", "rtu:pty"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    for line in process.stdout:
        if line.startswith("speed"):
            break
    process.send_signal(signal.SIGINT)
    assert process.wait(10) == 0
    assert process.stdout.read().splitlines() == ["stopped"]
    process.stdout.close()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--listen", "0.0.0.0:0"], "ask for it expressly with --beyond-loopback"),
        (["--listen", "tls://[::]:0?ca=a&cert=b&key=c"], "--beyond-loopback"),
        (["--listen", "rtu+tcp://panel.example:4001"], "--beyond-loopback"),
        (["--listen", "rtu:COM3"], "COM3 may have real devices on its line"),
        (["--listen", "rtu:/dev/no-such", "--beyond-loopback"], "cannot open /dev/no-such"),
        (["--listen", "tls://127.0.0.1:0"], "a tls link to be served needs ca="),
        (["demo", "demo@1", "--listen", "127.0.0.1:0"], "two panels have the unit id 1"),
        (["demo@2", "--unit", "3"], "say the unit id once"),
        (["demo@2", "demo@3", "--unit", "2"], "say the unit id once"),
        (["--unit", "3", "--listen", "tcp://127.0.0.1:0/4"], "say the unit id once"),
        (["demo@256"], "a unit id is a number from 0 to 255"),
        (["demo@0", "--listen", "rtu+tcp://127.0.0.1:0"], "write one from 1 to 247"),
        (["--listen", "udp://127.0.0.1:0"], "links of kind 'udp' are not known"),
        (["--unknown-unit", "0C"], "is not one of"),
    ],
)
def test_what_cannot_be_served_is_told_in_words(arguments, words):
    done = subprocess.run(
        [*GASWITNESS, "serve", *arguments],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2, done.stdout + done.stderr
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
