"""Clients of four makes on a serial line, here a pseudo-terminal that the panel paces, and one that
speaks RTU over TCP: what the demo maps is right, and what they write takes effect."""

import sys

import pytest
from peers.checks import check_commands, check_every_value, check_setpoints
from peers.clients import ON_A_LINE, Pymodbus, libmodbus

from gaswitness_simulator.serial_line import SerialLineServer
from gaswitness_simulator.tcp import TcpServer
from gaswitness_sitefile.link_address import parse_link

BAUD = 115200


@pytest.fixture
def line(served):
    """The name of the end of the line that clients open."""
    if sys.platform == "win32":
        pytest.skip("this system has no pseudo-terminals")

    async def opened():
        address = parse_link(f"rtu:pty?baud={BAUD}&unit=1")
        server = SerialLineServer(served.device, address, served.now)
        server.open()
        return server

    async def closed():
        server.close()

    server = served.opened(opened())
    yield server.address.device
    served.opened(closed())


@pytest.fixture(params=ON_A_LINE)
def client(request, line):
    if request.param == "libmodbus" and libmodbus() is None:
        pytest.skip("libmodbus is not installed on this machine")
    found = ON_A_LINE[request.param](line, BAUD)
    yield found
    found.close()


@pytest.fixture
def over_tcp(served):
    async def opened():
        server = TcpServer(served.device, served.now, framing="rtu")
        await server.listen("127.0.0.1", 0)
        return server

    server = served.opened(opened())
    client = Pymodbus.rtu_over_tcp("127.0.0.1", server.port)
    yield client
    client.close()
    served.opened(server.close())


def test_every_mapped_value_is_right(client, served):
    check_every_value(client, served)


def test_setpoints_written_are_in_force(client, served):
    check_setpoints(client, served)


def test_commands_written_act_as_keys(client, served):
    check_commands(client, served)


def test_rtu_over_tcp_is_read_and_written(over_tcp, served):
    check_every_value(over_tcp, served)
    check_setpoints(over_tcp, served)
    check_commands(over_tcp, served)


def test_two_clients_in_turn_share_a_line(line, served):
    for number in range(4):
        client = ON_A_LINE[("pymodbus", "umodbus")[number % 2]](line, BAUD)
        check_every_value(client, served)
        client.close()
