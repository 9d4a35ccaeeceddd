"""The panel on real sockets."""

import asyncio
import contextlib
import socket

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.tcp import MOST_SESSIONS, serve_tcp
from gaswitness_sitefile.errors import GaswitnessError

REQUEST = bytes.fromhex("1501 0000 0006 FF 03 0000 0002")
LARGE_REQUEST = bytes.fromhex("1501 0000 0006 FF 03 0000 007D")
ANSWER = bytes.fromhex("1501 0000 0007 FF 03 04 0000 0000")


@pytest.fixture
async def server(make_site, a_point):
    clock = asyncio.get_running_loop().time
    started = clock()
    points = [a_point(f"p{n}", "holding register", n, "uint16", "spare") for n in range(125)]
    device = VirtualDevice(VirtualPanel(make_site(points=points)))
    made = await serve_tcp(device, "127.0.0.1", 0, lambda: clock() - started)
    yield made
    await made.close()


@pytest.fixture
async def connect():
    """Connections that are closed after the test."""
    made = []

    async def connected(server):
        made.append(await asyncio.open_connection(server.host, server.port))
        return made[-1]

    yield connected
    for _, writer in made:
        writer.transport.abort()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


async def asked(link):
    reader, writer = link
    writer.write(REQUEST)
    return await asyncio.wait_for(reader.readexactly(len(ANSWER)), 5)


async def test_a_client_is_answered(server, connect):
    assert await asked(await connect(server)) == ANSWER


async def test_many_clients_are_answered_at_once(server, connect):
    links = [await connect(server) for _ in range(20)]
    assert await asyncio.gather(*map(asked, links)) == [ANSWER] * 20


async def test_bytes_that_come_one_by_one_make_a_request(server, connect):
    reader, writer = await connect(server)
    for byte in REQUEST:
        writer.write(bytes([byte]))
        await writer.drain()
        await asyncio.sleep(0.002)
    assert await asyncio.wait_for(reader.readexactly(len(ANSWER)), 5) == ANSWER


async def test_an_absurd_length_closes_that_connection_only(server, connect):
    good = await connect(server)
    reader, writer = await connect(server)
    writer.write(bytes.fromhex("0001 0000 FFFF 01"))
    assert await asyncio.wait_for(reader.read(10), 5) == b""
    assert await asked(good) == ANSWER


async def test_a_client_that_never_reads_disturbs_no_other(server, connect):
    reader, writer = await connect(server)
    reader._transport.pause_reading()
    for _ in range(200):
        writer.write(LARGE_REQUEST * 500)
        await asyncio.sleep(0)
    assert await asked(await connect(server)) == ANSWER
    held = [c._transport.get_write_buffer_size() for c in server.connections]
    assert max(held) < 8_000_000  # of 26 MB asked for: what one read from the socket may hold


async def test_one_connection_too_many_closes_the_longest_idle(server, connect):
    links = []
    for _ in range(MOST_SESSIONS):
        link = await connect(server)
        assert await asked(link) == ANSWER
        links.append(link)
    assert await asked(links[0]) == ANSWER
    assert await asked(await connect(server)) == ANSWER
    with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
        await asyncio.wait_for(links[1][0].readexactly(1), 5)
    assert await asked(links[0]) == ANSWER
    assert len(server.connections) == MOST_SESSIONS


async def test_no_answer_waits_for_others_bytes(server, connect):
    assert not server.connections
    await asked(await connect(server))
    connection = next(iter(server.connections))
    found = connection._transport.get_extra_info("socket")
    assert found.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


async def test_closing_closes_every_connection(make_site, connect):
    server = await serve_tcp(VirtualDevice(VirtualPanel(make_site())), "127.0.0.1", 0, lambda: 1.0)
    link = await connect(server)
    assert await asked(link) == ANSWER
    await server.close()
    await server.close()
    with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
        await asyncio.wait_for(link[0].readexactly(1), 5)
    with pytest.raises(ConnectionRefusedError):
        await connect(server)


async def test_a_taken_port_is_told_plainly(server, make_site):
    device = VirtualDevice(VirtualPanel(make_site()))
    with pytest.raises(GaswitnessError, match=f"cannot listen on 127.0.0.1:{server.port}"):
        await serve_tcp(device, "127.0.0.1", server.port, lambda: 0.0)
