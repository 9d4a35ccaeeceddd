"""Unit ids over TCP: MODBUS Messaging on TCP/IP Implementation Guide V1.0b, clause 4.4.1.2."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.session import Session
from gaswitness_simulator.stimulus import Power
from gaswitness_simulator.units import Units, UnknownUnit

READ = bytes.fromhex("03 0001 0001")
WRITE = bytes.fromhex("06 0001 0007")


@pytest.fixture
def devices(make_site, a_point):
    def build(*units):
        def site(unit):
            return make_site(
                points=[
                    a_point("own", "holding register", 0, "uint16", "constant", value=unit),
                    a_point("spare", "holding register", 1, "uint16", "spare", access="rw"),
                ]
            )

        return [VirtualDevice(VirtualPanel(site(unit)), unit=unit) for unit in units]

    return build


def own_number(units, unit):
    answer = units.over_tcp(unit, bytes.fromhex("03 0000 0001"), 1.0)
    return None if answer is None else int.from_bytes(answer[2:], "big")


def test_each_panel_answers_for_its_own_unit(devices):
    units = Units(devices(7, 9))
    assert [own_number(units, unit) for unit in (7, 9)] == [7, 9]


@pytest.mark.parametrize("unit", [0, 255])
def test_the_units_of_the_network_itself_mean_the_first_panel(devices, unit):
    assert own_number(Units(devices(9, 7)), unit) == 9
    assert own_number(Units(devices(3, unit)), unit) == unit


@pytest.mark.parametrize(
    ("unknown", "answer"),
    [(UnknownUnit.SILENCE, None), (UnknownUnit.NO_PATH, "830a"),
     (UnknownUnit.NO_RESPONSE, "830b")],
)  # fmt: skip
def test_unknown_units_get_what_was_chosen(devices, unknown, answer):
    found = Units(devices(1), unknown).over_tcp(2, READ, 1.0)
    assert (found and found.hex()) == answer


def test_a_panel_without_power_behind_a_gateway_fails_to_respond(devices):
    made = devices(1, 2)
    units = Units(made, UnknownUnit.NO_PATH)
    made[0].panel.apply(Power(on=False), 1.0)
    assert units.over_tcp(1, READ, 2.0).hex() == "830b"
    assert own_number(units, 2) == 2


def test_a_gateway_keeps_its_connections_when_a_panel_behind_it_restarts(devices):
    made = devices(1, 2)
    session = Session(Units(made))
    made[0].panel.apply(Power(on=False), 1.0)
    asked = bytes.fromhex("0001 0000 0006 01 03 0001 0001")
    assert session.receive(asked, 2.0) == []
    made[0].panel.apply(Power(on=True), 3.0)
    (answer,) = session.receive(asked, 9.0)
    assert answer.data.hex() == "000100000005010302" + "0000"
    assert not answer.close


def test_a_role_that_may_not_write_is_refused_and_reads(devices):
    units = Units(devices(1))
    assert units.over_tcp(1, WRITE, 1.0, may_write=False).hex() == "8601"
    assert units.over_tcp(1, READ, 1.0, may_write=False).hex() == "03020000"
    for function in ("05", "06", "0f", "10", "15", "16", "17"):
        answer = units.over_tcp(1, bytes.fromhex(function), 1.0, may_write=False)
        assert answer == bytes((int(function, 16) | 0x80, 1))
    assert units.over_tcp(1, WRITE, 1.0) == WRITE


# Serial-line functions (titles of V1.1b3 clause 6) are not for TCP here: exception 01.
@pytest.mark.parametrize("pdu", ["07", "08 0000 A537", "0B", "0C", "11"])
def test_functions_of_serial_lines_are_unknown_over_tcp(devices, pdu):
    request = bytes.fromhex(pdu)
    assert Units(devices(1)).over_tcp(1, request, 1.0) == bytes((request[0] | 0x80, 1))


def test_units_are_told_apart_and_there_is_one(devices):
    with pytest.raises(ValueError, match="two panels have the unit id 4"):
        Units(devices(4, 4))
    with pytest.raises(ValueError, match="no panel"):
        Units([])
