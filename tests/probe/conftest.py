"""A small panel on a real socket for the probe's tests: it holds registers, answers as the protocol
says, and misbehaves as told. It shares no code with the product."""

import asyncio
import struct
from collections.abc import Callable

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.transport import TcpTransport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.site import Site


class LoopClock:
    """Seconds of the event loop."""

    def now(self):
        return asyncio.get_running_loop().time()

    async def sleep_until(self, at_s):
        await asyncio.sleep(max(0.0, at_s - self.now()))


def plain_answer(memory, pdu, identity=None, largest=(2000, 125)):
    """Functions 01 to 04 from `memory[function][address]`, and 2B/0E from `identity`."""
    function = pdu[0]
    if function == 0x2B and identity is not None:
        body = b"".join(bytes((key, len(text))) + text for key, text in sorted(identity.items()))
        return bytes((0x2B, 0x0E, pdu[2], 0x01, 0x00, 0x00, len(identity))) + body
    if function not in memory:
        return bytes((function | 0x80, 1))
    address, count = struct.unpack(">HH", pdu[1:5])
    if not 1 <= count <= largest[0 if function < 3 else 1]:
        return bytes((function | 0x80, 3))
    table = memory[function]
    values = [table.get(at) for at in range(address, address + count)]
    if None in values:
        return bytes((function | 0x80, 2))
    if function < 3:
        number = sum(bit << n for n, bit in enumerate(values))
        data = number.to_bytes((count + 7) // 8, "little")
    else:
        data = struct.pack(f">{count}H", *values)
    return bytes((function, len(data))) + data


class Panel:
    """`answer(pdu)` makes the reply; `twist(number, request, reply)` says what goes on the wire: a
    list of bytes to send, seconds to wait, "close" or "reset". `number` counts requests from 0."""

    def __init__(self) -> None:
        self.memory: dict[int, dict[int, int]] = {1: {}, 2: {}, 3: {}, 4: {}}
        self.identity: dict[int, bytes] | None = None
        self.answer: Callable[[bytes], bytes | None] = self.plainly
        self.twist: Callable[[int, bytes, bytes], list] = lambda number, request, reply: [reply]
        self.requests: list[bytes] = []
        self.connections = 0
        self.port = 0
        self._server: asyncio.Server | None = None
        self._writers: list[asyncio.StreamWriter] = []

    def plainly(self, pdu):
        return plain_answer(self.memory, pdu, self.identity)

    async def start(self, port=0):
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self):
        self._server.close()
        for writer in self._writers:
            writer.transport.abort()
        await self._server.wait_closed()

    async def _serve(self, reader, writer):
        self.connections += 1
        self._writers.append(writer)
        try:
            while True:
                header = await reader.readexactly(7)
                pdu = await reader.readexactly(struct.unpack(">H", header[4:6])[0] - 1)
                number = len(self.requests)
                self.requests.append(header + pdu)
                reply = self.answer(pdu)
                if reply is None:
                    continue
                frame = header[:4] + struct.pack(">H", len(reply) + 1) + header[6:7] + reply
                for step in self.twist(number, header + pdu, frame):
                    if step == "reset":
                        writer.transport.abort()
                        return
                    if step == "close":
                        return
                    if isinstance(step, float):
                        await asyncio.sleep(step)
                    else:
                        writer.write(step)
                        await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            writer.close()

    def client(self, on_exchange=None, unit=1, **pace):
        pace = {"timeout_s": 0.15} | pace
        return Client(
            TcpTransport("127.0.0.1", self.port, 1.0),
            unit=unit,
            clock=LoopClock(),
            pace=Pace(**pace),
            on_exchange=on_exchange,
        )


@pytest.fixture
async def panel():
    found = Panel()
    await found.start()
    yield found
    await found.stop()


@pytest.fixture
def loop_clock():
    return LoopClock()


@pytest.fixture
def make_site():
    """A site with one channel AT-1 (methane, 0..100 %LEL) and the given points."""

    def make(points, **parts):
        whole = {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "points": points,
        }
        return Site.model_validate(whole | parts)

    return make
