"""Small units on a line of RTU frames, over a socket or a pseudo-terminal, that answer as the
protocol says or misbehave as told. They share no code with the product."""

import asyncio
import os
import struct
import tty

import pytest
from crccheck.crc import CrcModbus

from gaswitness_probe.client import Client
from gaswitness_probe.links import open_link
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import parse_link


def framed(body: bytes) -> bytes:
    """With the CRC of an unrelated library, low byte first."""
    return body + struct.pack("<H", CrcModbus.calc(body))


class Line:
    """`twist(number, request, reply)` says what goes on the wire: bytes to send, seconds to wait,
    "close". `registers[address]`; units that are not in `units` keep silent."""

    def __init__(self):
        self.registers = {n: 100 + n for n in range(64)}
        self.units = {1}
        self.identity = None
        self.twist = lambda number, request, reply: [reply]
        self.requests = []
        self.at = []
        self.connections = 0
        self.address = ""
        self.tasks = set()

    def answer(self, request):
        unit, function, address, count = struct.unpack(">BBHH", request[:6])
        if unit not in self.units:
            return None
        if function == 0x2B and self.identity is not None:
            text = self.identity
            return framed(bytes((unit, 0x2B, 0x0E, 1, 1, 0, 0, 1, 0, len(text))) + text)
        if function not in (3, 4):
            return framed(bytes((unit, function | 0x80, 1)))
        values = [self.registers.get(at) for at in range(address, address + count)]
        if None in values:
            return framed(bytes((unit, function | 0x80, 2)))
        return framed(struct.pack(f">BBB{count}H", unit, function, 2 * count, *values))

    async def play(self, request, send):
        number = len(self.requests)
        self.requests.append(request)
        self.at.append(asyncio.get_running_loop().time())
        reply = self.answer(request)
        if reply is None:
            return
        for step in self.twist(number, request, reply):
            if isinstance(step, float):
                await asyncio.sleep(step)
            else:
                send(step)

    def client(self, unit=1, seen=None, timeout_s=0.1, **pace):
        found = Pace(timeout_s=timeout_s, **pace)
        transport, framing = open_link(parse_link(self.address), found)
        return Client(
            transport, unit=unit, clock=Clock(), pace=found, on_exchange=seen, framing=framing
        )


class Clock:
    def now(self):
        return asyncio.get_running_loop().time()

    async def sleep_until(self, at_s):
        await asyncio.sleep(max(0.0, at_s - self.now()))


@pytest.fixture
async def socket_line():
    line = Line()
    writers = []

    async def serve(reader, writer):
        line.connections += 1
        writers.append(writer)

        def send(step):
            if step == "close":
                writer.close()
            else:
                writer.write(step)

        try:
            while True:
                request = await reader.readexactly(5)
                request += await reader.readexactly(2 if request[1] == 0x2B else 3)
                task = asyncio.create_task(line.play(request, send))
                line.tasks.add(task)
                task.add_done_callback(line.tasks.discard)
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    line.address = f"rtu+tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}"
    yield line
    server.close()
    for writer in writers:
        writer.transport.abort()
    for task in list(line.tasks):
        task.cancel()
    await server.wait_closed()


@pytest.fixture
async def pty_line():
    """A unit at the other end of a pseudo-terminal."""
    line = Line()
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    line.address = f"rtu://{os.ttyname(theirs)}?baud=115200"
    loop = asyncio.get_running_loop()
    heard = bytearray()

    def send(step):
        os.write(ours, step)

    def readable():
        heard.extend(os.read(ours, 4096))
        while len(heard) >= (length := 7 if heard[1:2] == b"\x2b" else 8):
            request = bytes(heard[:length])
            del heard[:length]
            task = asyncio.create_task(line.play(request, send))
            line.tasks.add(task)
            task.add_done_callback(line.tasks.discard)

    loop.add_reader(ours, readable)
    yield line
    loop.remove_reader(ours)
    for task in list(line.tasks):
        task.cancel()
    os.close(ours)
    os.close(theirs)


@pytest.fixture(params=["socket_line", "pty_line"])
def line(request):
    return request.getfixturevalue(request.param)
