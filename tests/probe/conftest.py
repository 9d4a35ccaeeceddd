"""A small panel on a real socket for the probe's tests: it holds registers, answers as the protocol
says, and misbehaves as told. It shares no code with the product."""

import asyncio
import struct
from collections.abc import Callable

import pytest

from gaswitness_probe.applied import Applied
from gaswitness_probe.client import Client
from gaswitness_probe.history import PointHistory, Run, Seen
from gaswitness_probe.judge import judge
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


class ByHand:
    """What was seen, one sample a second from 0 s on (asked for at the second, answered 0.1 s
    later), and what was done; its verdicts by id. Points are named for what they show."""

    def __init__(self, site, step_s=1.0):
        self.site = site
        self.step_s = step_s
        self.histories = {}
        self.applied = []
        self.looked = []
        self.length = 0

    def saw(self, name, samples):
        """`samples`: numbers, or a text of 0, 1 and . for a sample that is missing."""
        found = samples
        if isinstance(samples, str):
            found = [None if one == "." else one == "1" for one in samples]
        self.length = max(self.length, len(found))
        runs = []
        for index, value in enumerate(found):
            if value is None:
                continue
            seen = Seen(index * self.step_s, index * self.step_s + 0.1)
            near = runs and seen.answered_s - runs[-1].last.asked_s < 3.0
            if near and runs[-1].value == value:
                runs[-1] = Run(value, runs[-1].raw, runs[-1].first, seen, runs[-1].count + 1)
            else:
                raw = struct.unpack(">2H", struct.pack(">f", value))
                runs.append(Run(value, raw if isinstance(value, float) else raw[:1], seen, seen))
        self.histories[name] = PointHistory(name, runs)
        return self

    def did(self, at_s, action, done_s=None):
        self.applied.append(Applied(at_s, at_s if done_s is None else done_s, action))
        return self

    def verdicts(self):
        span = (0.0, self.length * self.step_s)
        found = judge(self.site, self.histories, self.applied, self.looked, span=span)
        return {verdict.id: verdict for verdict in found}

    def __getitem__(self, name):
        return self.verdicts()[name]


@pytest.fixture
def by_hand():
    """Histories by hand of a panel with AT-1 (0..100 %LEL, A1 at 20 with hysteresis 2, A2 at 40,
    latching), DI-1, and outputs K1 and the sounder S1. The panel dwells 3 s in every state."""

    def make(*shows, cells=(), channel=(), step_s=1.0, **parts):
        levels = {
            "A1": {"setpoint": 20, "hysteresis": 2},
            "A2": {"setpoint": 40, "hysteresis": 2, "latching": True},
        }
        plain = {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "levels": levels}
        points = []
        for number, one in enumerate(shows):
            is_number = one.endswith(".reading")
            table, kind = ("input register", "float32") if is_number else ("discrete input", "bit")
            place = {"table": table, "address": 2 * number, "type": kind}
            points.append({"name": one, "shows": one, **place})
        whole = {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "timing": {"scan_s": 0.5, "refresh_s": 0, "shortest_dwell_s": 3.0},
            "channels": [{**plain, "t90_s": 0, **dict(channel)}],
            "inputs": [{"tag": "DI-1"}],
            "outputs": [
                {"tag": "K1", "kind": "relay"},
                {"tag": "S1", "kind": "sounder", "mutable": True},
            ],
            "matrix": [{"effect": "K1", "response_s": 3, **one} for one in cells],
            "points": points,
        }
        return ByHand(Site.model_validate(whole | parts), step_s)

    return make
