"""How fast the probe polls on one connection, beside the C library's client, in one run against one
server: `python tests/benchmarks/wire_clients.py` prints reads of 100 registers a second."""

import asyncio
import ctypes
import ctypes.util
import tempfile
import time
from pathlib import Path

from wire_driver import Rate, build_libmodbus_server, python_server, running

from gaswitness_probe.client import Client
from gaswitness_probe.transport import TcpTransport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table

REGISTERS = 100
REQUEST = bytes.fromhex("0001 0000 0006 01 04 0000 0064")


class LoopClock:
    def now(self):
        return asyncio.get_running_loop().time()

    async def sleep_until(self, at_s):
        await asyncio.sleep(at_s - self.now())


def with_libmodbus(port, seconds):
    """Reads a second by modbus_read_input_registers; None where the library is not there."""
    found = ctypes.util.find_library("modbus")
    if found is None:
        return None
    library = ctypes.CDLL(found)
    library.modbus_new_tcp.restype = ctypes.c_void_p
    context = ctypes.c_void_p(library.modbus_new_tcp(b"127.0.0.1", port))
    library.modbus_set_slave(context, 1)
    if library.modbus_connect(context) != 0:
        raise RuntimeError("libmodbus cannot connect")
    room = (ctypes.c_uint16 * REGISTERS)()
    count, computed, begun = 0, time.process_time(), time.perf_counter()
    while time.perf_counter() - begun < seconds:
        if library.modbus_read_input_registers(context, 0, REGISTERS, room) != REGISTERS:
            raise RuntimeError("libmodbus got no answer")
        count += 1
    took = time.perf_counter() - begun
    load = (time.process_time() - computed) / took
    library.modbus_close(context)
    library.modbus_free(context)
    return Rate(count / took, load)


async def _with_probe(port, seconds):
    client = Client(
        TcpTransport("127.0.0.1", port), unit=1, clock=LoopClock(), pace=Pace(poll_period_s=1)
    )
    await client.open()
    count, computed, begun = 0, time.process_time(), time.perf_counter()
    while time.perf_counter() - begun < seconds:
        exchange = await client.read(Table.INPUT, 0, REGISTERS)
        if len(exchange.payload) != 2 * REGISTERS:
            raise RuntimeError(exchange.words)
        count += 1
    took = time.perf_counter() - begun
    load = (time.process_time() - computed) / took
    await client.close()
    return Rate(count / took, load)


def with_probe(port, seconds):
    """Reads a second by the probe's client, each reply checked in full and counted."""
    return asyncio.run(_with_probe(port, seconds))


def with_probe_on_uvloop(port, seconds):
    """The same on uvloop; None where that is not installed."""
    try:
        import uvloop
    except ImportError:
        return None
    with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
        return runner.run(_with_probe(port, seconds))


class _Bare(asyncio.Protocol):
    def connection_made(self, transport):
        self.transport = transport
        self.answered = None

    def data_received(self, data):
        self.answered.set_result(len(data))


async def _bare(port, seconds):
    loop = asyncio.get_running_loop()
    transport, bare = await loop.create_connection(_Bare, "127.0.0.1", port)
    count, computed, begun = 0, time.process_time(), time.perf_counter()
    while time.perf_counter() - begun < seconds:
        bare.answered = loop.create_future()
        transport.write(REQUEST)
        async with asyncio.timeout(1.0):
            await bare.answered
        count += 1
    took = time.perf_counter() - begun
    load = (time.process_time() - computed) / took
    transport.close()
    return Rate(count / took, load)


def with_bare_asyncio(port, seconds):
    """The same bytes to and fro with a time-out, and nothing else: the most that asyncio gives."""
    return asyncio.run(_bare(port, seconds))


CLIENTS = {
    "libmodbus": with_libmodbus,
    "asyncio, bare": with_bare_asyncio,
    "probe": with_probe,
    "probe on uvloop": with_probe_on_uvloop,
}


def measured(command, rounds=5, seconds=0.4):
    """{client: Rate}, the best of rounds taken in turn."""
    rates = {}
    with running(command) as port:
        for _ in range(rounds):
            for name, client in CLIENTS.items():
                rate = client(port, seconds)
                if rate is not None:
                    rates.setdefault(name, []).append(rate)
    return {name: max(some, key=lambda rate: rate.per_s) for name, some in rates.items()}


def main():
    with tempfile.TemporaryDirectory() as folder:
        command = build_libmodbus_server(Path(folder)) or python_server("echo")
        rates = measured(command)
    base = rates.get("libmodbus")
    for name, rate in rates.items():
        ratio = f"{rate.per_s / base.per_s:5.2f}" if base else ""
        print(f"{name:20}{rate.per_s:10.0f}/s {ratio} (own load {rate.driver:3.0%})")


if __name__ == "__main__":
    main()
