"""Clients of five makes on TCP: what the demo maps is right, what they write takes effect."""

import pytest
from peers.checks import check_commands, check_every_value, check_setpoints
from peers.clients import ON_TCP, libmodbus


@pytest.fixture(params=ON_TCP)
def client(request, tcp_port):
    if request.param == "libmodbus" and libmodbus() is None:
        pytest.skip("libmodbus is not installed on this machine")
    found = ON_TCP[request.param]("127.0.0.1", tcp_port)
    yield found
    found.close()


def test_every_mapped_value_is_right(client, served):
    check_every_value(client, served)


def test_setpoints_written_are_in_force(client, served):
    check_setpoints(client, served)


def test_commands_written_act_as_keys(client, served):
    check_commands(client, served)
