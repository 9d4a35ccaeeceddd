"""The client against servers of unrelated general-purpose libraries, on real sockets."""

import socket

import pytest
from pyModbusTCP.server import ModbusServer

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.transport import TcpTransport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table


@pytest.fixture
def server():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    found = ModbusServer("127.0.0.1", port, no_block=True)
    found.start()
    yield found
    found.stop()


@pytest.fixture
async def client(server, loop_clock):
    transport = TcpTransport("127.0.0.1", server.port)
    found = Client(transport, unit=1, clock=loop_clock, pace=Pace())
    await found.open()
    yield found
    await found.close()


async def test_every_table_is_read(server, client):
    bank = server.data_bank
    bank.set_coils(19, [True, False, True])
    bank.set_discrete_inputs(196, [False, True, True])
    bank.set_holding_registers(107, [555, 0, 100])
    bank.set_input_registers(8, [10])
    reads = [
        (Table.COIL, 19, 3, "05"),
        (Table.DISCRETE_INPUT, 196, 3, "06"),
        (Table.HOLDING, 107, 3, "022B 0000 0064"),
        (Table.INPUT, 8, 1, "000A"),
    ]
    for table, address, count, payload in reads:
        exchange = await client.read(table, address, count)
        assert exchange.payload == bytes.fromhex(payload)
    assert client.statistics.deviations == {}


async def test_exceptions_are_taken_as_they_come(client):
    beyond = await client.read(Table.HOLDING, 65535, 2)
    too_many = await client.read(Table.HOLDING, 0, 126)
    unknown = await client.ask(bytes.fromhex("63 0000 0001"))
    assert [e.exception_code for e in (beyond, too_many, unknown)] == [2, 3, 1]


async def test_server_that_stops_is_noticed(server, client):
    assert (await client.read(Table.HOLDING, 0, 1)).ok
    server.stop()
    exchange = await client.read(Table.HOLDING, 0, 1)
    assert exchange.problem is not None
    assert exchange.problem.deviation in {
        Deviation.CLOSED,
        Deviation.RESET,
        Deviation.NO_REPLY,
    }
