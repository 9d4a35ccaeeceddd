"""RTU frames over TCP, and what a shaper decides about connections."""

import asyncio
import contextlib

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import Admission, Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu import rtu_framed
from gaswitness_simulator.tcp import TcpServer
from gaswitness_simulator.units import Units

READ = bytes.fromhex("0001 0000 0006 01 03 0001 0001")
ANSWER = bytes.fromhex("0001 0000 0005 01 03 02 0000")
RTU_READ = rtu_framed(1, bytes.fromhex("03 0001 0001"))
RTU_ANSWER = bytes.fromhex("01 03 02 00 00 B8 44")


class Chosen:
    """Does as its fields say."""

    at_rest = False

    def __init__(self, admission=Admission.ACCEPT, idle_limit_s=None, sends=None):
        self.admission, self.idle_limit_s, self.sends = admission, idle_limit_s, sends
        self.seen, self.others, self.left = [], [], []

    def connecting(self, connection, others):
        self.others.append(others)
        return self.admission

    def gone(self, connection):
        self.left.append(connection)

    def shape(self, finished):
        self.seen.append(finished)
        answer = Outgoing(0.0, finished.response or b"")
        return [answer] if self.sends is None else self.sends(finished)


@pytest.fixture
async def serve(make_site, a_point):
    made = []

    async def serving(*units, **more):
        points = [a_point("w", "holding register", 1, "uint16", "spare", access="rw")]
        devices = [
            VirtualDevice(VirtualPanel(make_site(points=points)), unit=unit)
            for unit in units or (1,)
        ]
        server = TcpServer(Units(devices), lambda: 1.0, **more)
        await server.listen("127.0.0.1", 0)
        made.append(server)
        return server

    yield serving
    for server in made:
        await server.close()


@pytest.fixture
async def connect():
    made = []

    async def connected(server):
        made.append(await asyncio.open_connection(server.host, server.port))
        return made[-1]

    yield connected
    for _, writer in made:
        writer.transport.abort()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


async def ask(link, request, size):
    link[1].write(request)
    return await asyncio.wait_for(link[0].readexactly(size), 5)


async def test_rtu_frames_go_over_tcp(serve, connect):
    link = await connect(await serve(framing="rtu"))
    assert await ask(link, RTU_READ, 7) == RTU_ANSWER
    assert await ask(link, b"\x01\x10\xff" + RTU_READ, 7) == RTU_ANSWER
    assert await ask(link, rtu_framed(1, b"\x63\x00\x00"), 5) == rtu_framed(1, b"\xe3\x01")


async def test_a_request_in_two_segments_is_whole_in_the_end(serve, connect):
    link = await connect(await serve(framing="rtu"))
    link[1].write(RTU_READ[:3])
    await asyncio.sleep(0.05)
    assert await ask(link, RTU_READ[3:], 7) == RTU_ANSWER


async def test_units_and_counters_are_the_lines_whichever_connection_asks(serve, connect):
    server = await serve(1, 2, framing="rtu")
    first, second = await connect(server), await connect(server)
    assert await ask(first, RTU_READ, 7) == RTU_ANSWER
    first[1].write(rtu_framed(0, bytes.fromhex("06 0001 0005")))
    count = await ask(first, rtu_framed(2, bytes.fromhex("08 000B 0000")), 8)
    assert count[4:6] == b"\x00\x03"
    answer = await ask(second, rtu_framed(2, bytes.fromhex("03 0001 0001")), 7)
    assert answer[3:5] == b"\x00\x05"


async def test_a_shaper_sees_connection_unit_and_whole_frames(serve, connect):
    shaper = Chosen()
    server = await serve(shaper=shaper)
    first, second = await connect(server), await connect(server)
    assert await ask(first, READ, 11) == ANSWER
    assert await ask(second, READ, 11) == ANSWER
    one, other = shaper.seen
    assert (one.framing, one.unit, one.request, one.response) == ("mbap", 1, READ, ANSWER)
    assert one.connection != other.connection
    assert shaper.others == [0, 1]


async def test_a_refused_connection_is_reset_and_others_go_on(serve, connect):
    shaper = Chosen()
    server = await serve(shaper=shaper)
    good = await connect(server)
    assert await ask(good, READ, 11) == ANSWER
    shaper.admission = Admission.REFUSE
    with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
        await ask(await connect(server), READ, 11)
    assert await ask(good, READ, 11) == ANSWER


async def test_the_oldest_connection_is_thrown_out(serve, connect):
    shaper = Chosen()
    server = await serve(shaper=shaper)
    old, young = await connect(server), await connect(server)
    assert await ask(old, READ, 11) == ANSWER
    assert await ask(young, READ, 11) == ANSWER
    shaper.admission = Admission.DROP_OLDEST
    assert await ask(await connect(server), READ, 11) == ANSWER
    with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
        await asyncio.wait_for(old[0].readexactly(1), 5)
    assert await ask(young, READ, 11) == ANSWER
    assert shaper.left == [shaper.seen[0].connection]


async def test_an_idle_connection_is_closed_and_a_busy_one_is_not(serve, connect):
    server = await serve(shaper=Chosen(idle_limit_s=0.4))
    idle, busy = await connect(server), await connect(server)
    for _ in range(8):
        await asyncio.sleep(0.1)
        assert await ask(busy, READ, 11) == ANSWER
    assert await asyncio.wait_for(idle[0].read(1), 5) == b""


async def test_an_answer_may_end_with_a_reset(serve, connect):
    def reset(finished):
        return [Outgoing(0.0, b"", reset=True)]

    server = await serve(shaper=Chosen(sends=reset))
    link = await connect(server)
    with pytest.raises(ConnectionResetError):
        await ask(link, READ, 11)


async def test_parts_go_out_late_and_then_the_connection_closes(serve, connect):
    def parts(finished):
        return [
            Outgoing(0.0, finished.response[:3]),
            Outgoing(0.15, finished.response[3:]),
            Outgoing(0.2, b"", close=True),
        ]

    link = await connect(await serve(shaper=Chosen(sends=parts)))
    loop = asyncio.get_running_loop()
    begun = loop.time()
    assert await ask(link, READ, 11) == ANSWER
    assert loop.time() - begun >= 0.149
    assert await asyncio.wait_for(link[0].read(1), 5) == b""
    assert loop.time() - begun >= 0.199
