"""The client on every kind of link against servers of an unrelated general-purpose library."""

import asyncio
import os
import ssl
import tty
from contextlib import asynccontextmanager

import pytest
import trustme
from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer, ModbusTlsServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gaswitness_probe.client import Client
from gaswitness_probe.links import open_link
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.points import Table

PACE = Pace(timeout_s=1.0)


def device():
    return SimDevice(
        1,
        simdata=(
            [SimData(0, values=[True, False, True], datatype=DataType.BITS)],
            [SimData(0, values=[False, True, True], datatype=DataType.BITS)],
            [SimData(107, values=[555, 0, 100], datatype=DataType.REGISTERS)],
            [SimData(8, values=[10], datatype=DataType.REGISTERS)],
        ),
    )


@asynccontextmanager
async def on_port(kind, scheme, query="", **options):
    server = kind(device(), address=("127.0.0.1", 0), **options)
    await server.serve_forever(background=True)
    yield f"{scheme}://127.0.0.1:{server.transport.sockets[0].getsockname()[1]}{query}"
    await server.shutdown()


def over_tcp(tmp_path):
    return on_port(ModbusTcpServer, "tcp")


def rtu_over_tcp(tmp_path):
    return on_port(ModbusTcpServer, "rtu+tcp", framer=FramerType.RTU)


def over_tls(tmp_path):
    authority = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    file = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(file))
    return on_port(ModbusTlsServer, "tls", f"?ca={file}", sslctx=context)


@asynccontextmanager
async def over_a_serial_line(tmp_path):
    """Two pseudo-terminals, each one's end joined to the other's: a line with two ports."""
    loop = asyncio.get_running_loop()
    pairs = [os.openpty() for _ in range(2)]
    for pair in pairs:
        for end in pair:
            tty.setraw(end)
    (one, port), (other, served) = pairs
    loop.add_reader(one, lambda: os.write(other, os.read(one, 4096)))
    loop.add_reader(other, lambda: os.write(one, os.read(other, 4096)))
    server = ModbusSerialServer(device(), port=os.ttyname(served), baudrate=115200)
    await server.serve_forever(background=True)
    yield f"rtu://{os.ttyname(port)}?baud=115200"
    await server.shutdown()
    for end in (one, other):
        loop.remove_reader(end)
    for pair in pairs:
        for end in pair:
            os.close(end)


@pytest.fixture(params=[over_tcp, rtu_over_tcp, over_tls, over_a_serial_line])
async def client(request, tmp_path, loop_clock):
    async with request.param(tmp_path) as address:
        transport, framing = open_link(parse_link(address), PACE)
        found = Client(transport, unit=1, clock=loop_clock, pace=PACE, framing=framing)
        await found.open()
        yield found
        await found.close()
        await asyncio.sleep(0.02)  # the server sees it


async def test_every_table_is_read_and_nothing_deviates(client):
    reads = [
        (Table.COIL, 0, 3, "05"),
        (Table.DISCRETE_INPUT, 0, 3, "06"),
        # Application Protocol Specification V1.1b3, examples of clauses 6.3 and 6.4
        (Table.HOLDING, 107, 3, "022B 0000 0064"),
        (Table.INPUT, 8, 1, "000A"),
    ]
    for _ in range(3):
        for table, address, count, payload in reads:
            exchange = await client.read(table, address, count)
            assert exchange.payload == bytes.fromhex(payload)
    refused = await client.read(Table.HOLDING, 500, 1)
    assert refused.exception_code == 2
    assert client.statistics.deviations == {}
    assert client.statistics.requests == 13


async def test_line_of_a_server_is_read_again_after_it_was_closed(client):
    assert (await client.read(Table.INPUT, 8, 1)).payload == b"\x00\x0a"
    await client.close()
    await asyncio.sleep(0.05)
    assert (await client.read(Table.INPUT, 8, 1)).payload == b"\x00\x0a"
