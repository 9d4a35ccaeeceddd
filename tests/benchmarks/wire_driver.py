"""One process that asks servers as fast as they answer: many clients, one request each at a time,
over epoll (or what the system has) without asyncio, so that the driver costs least."""

import selectors
import socket
import struct
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
REQUEST_TAIL = struct.pack(">HHBBHH", 0, 6, 1, 4, 0, 100)
ANSWER_TAIL = struct.pack(">HHBBB", 0, 203, 1, 4, 200)
ANSWER_BYTES = 209


@dataclass(frozen=True)
class Rate:
    """Requests answered a second, and the part of the time that the driver itself computed."""

    per_s: float
    driver: float


class Client:
    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port))
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.socket.settimeout(5.0)
        self.transaction = 0
        self.got = b""

    def ask(self):
        self.transaction = self.transaction + 1 & 0xFFFF
        self.socket.send(self.transaction.to_bytes(2, "big") + REQUEST_TAIL)

    def answered(self):
        """Whether the answer is whole; anything but the answer asked for ends the run."""
        data = self.socket.recv(4096)
        if self.got or len(data) < ANSWER_BYTES:
            self.got += data
            if data and len(self.got) < ANSWER_BYTES:
                return False
            data, self.got = self.got, b""
        right = self.transaction.to_bytes(2, "big") + ANSWER_TAIL
        if len(data) != ANSWER_BYTES or not data.startswith(right):
            raise RuntimeError(f"not the answer asked for: {data.hex(' ')}")
        return True


def asked(port, connections, seconds):
    """The rate at which `connections` clients are answered, for `seconds` after a short start."""
    watched = selectors.DefaultSelector()
    clients = [Client(port) for _ in range(connections)]
    try:
        for client in clients:
            watched.register(client.socket, selectors.EVENT_READ, client)
            client.ask()
        _run(watched, 0.1)
        begun, computed = time.perf_counter(), time.process_time()
        count = _run(watched, seconds)
        took = time.perf_counter() - begun
        return Rate(count / took, (time.process_time() - computed) / took)
    finally:
        watched.close()
        for client in clients:
            client.socket.close()


def _run(watched, seconds):
    count, end = 0, time.perf_counter() + seconds
    while time.perf_counter() < end:
        ready = watched.select(5.0)
        if not ready:
            raise RuntimeError("the server has stopped answering")
        for key, _ in ready:
            client = key.data
            if client.answered():
                count += 1
                client.ask()
    return count


@contextmanager
def running(command):
    """A server process of this folder; gives the port that it prints."""
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield int(process.stdout.readline())
    finally:
        process.stdin.close()
        process.wait(10)
        process.stdout.close()


def python_server(kind, *more):
    return [sys.executable, str(HERE / "wire_servers.py"), kind, *more]


def build_libmodbus_server(folder):
    """The command of the C server; None where there is no compiler or no library."""
    program = folder / "libmodbus_server"
    source = HERE / "libmodbus_server.c"
    command = ["cc", "-O2", "-o", str(program), str(source), "-l:libmodbus.so.5"]
    try:
        subprocess.run(command, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        return None
    return [str(program)]
