"""Panels on pseudo-terminals, asked by pyserial from a thread as a client would."""

import asyncio
import os
import sys
import time

import pytest
import serial

from gaswitness_simulator import serial_line_port
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.outgoing import Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu import rtu_framed
from gaswitness_simulator.serial_line import SerialLineServer
from gaswitness_simulator.serial_line_port import is_pseudo_terminal, open_port
from gaswitness_simulator.units import Units
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import parse_link

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")


@pytest.fixture
def devices(make_site, a_point):
    def build(*units):
        points = [
            a_point(f"w{n}", "holding register", n, "uint16", "spare", access="rw")
            for n in range(125)
        ]
        return Units(
            VirtualDevice(VirtualPanel(make_site(points=points)), unit=unit) for unit in units
        )

    return build


@pytest.fixture
async def line(devices):
    """Serve units on a new pseudo-terminal, or on one that is given."""
    opened = []

    def serve(*units, link="rtu:pty?baud=115200", by_thread=None, **more):
        loop = asyncio.get_running_loop()
        started = loop.time()
        server = SerialLineServer(
            devices(*units or (1,)), parse_link(link), lambda: loop.time() - started, **more
        )
        server.open(by_thread=by_thread)
        opened.append(server)
        return server

    yield serve
    for server in opened:
        server.close()


def exchange(device, request, most=300, timeout_s=0.25):
    """(answer, seconds until its last byte)."""
    with serial.Serial(device, 19200, timeout=timeout_s) as port:
        begun = time.monotonic()
        port.write(request)
        found, last = b"", begun
        while len(found) < most and (more := port.read(1) + port.read(port.in_waiting)):
            found, last = found + more, time.monotonic()
        return found, last - begun


async def asked(server, unit, pdu, size):
    """The PDU of the answer, and how long it took."""
    frame = rtu_framed(unit, bytes.fromhex(pdu))
    answer, took_s = await asyncio.to_thread(exchange, server.address.device, frame, size, 2.0)
    return answer[1:-2].hex(), took_s


async def test_two_units_share_a_line(line):
    server = line(1, 2)
    assert (await asked(server, 1, "06 0001 0011", 8))[0] == "0600010011"
    assert (await asked(server, 2, "06 0001 0022", 8))[0] == "0600010022"
    assert (await asked(server, 1, "03 0001 0001", 7))[0] == "03020011"
    assert (await asked(server, 2, "03 0001 0001", 7))[0] == "03020022"


async def test_a_broadcast_reaches_both_and_nobody_answers(line):
    server = line(1, 2)
    frame = rtu_framed(0, bytes.fromhex("06 0001 0033"))
    answer, _ = await asyncio.to_thread(exchange, server.address.device, frame)
    assert answer == b""
    assert [(await asked(server, unit, "03 0001 0001", 7))[0] for unit in (1, 2)] == [
        "03020033"
    ] * 2


async def test_noise_before_a_request_costs_nothing_but_itself(line):
    server = line(1)
    frame = b"\xff\x01\x10" + rtu_framed(1, bytes.fromhex("03 0001 0001"))
    answer, _ = await asyncio.to_thread(exchange, server.address.device, frame, 7, 2.0)
    assert answer.hex(" ") == "01 03 02 00 00 b8 44"


async def test_two_requests_in_one_piece_are_both_answered_in_order(line):
    server = line(1, 2)
    frames = rtu_framed(1, bytes.fromhex("03 0001 0001")) + rtu_framed(2, b"\x07")
    answer, _ = await asyncio.to_thread(exchange, server.address.device, frames, 12, 2.0)
    assert (answer[0], answer[7], len(answer)) == (1, 2, 12)


# (8 + 5 + 2N) characters of 11 bits and one T3.5 between request and answer: V1.02 clause 2.5.1.
@pytest.mark.parametrize(
    ("baud", "registers", "least_ms"),
    [
        (9600, 1, 17.187500 + 4.010417),
        (9600, 60, 152.395833 + 4.010417),
        (19200, 125, 150.677083 + 2.005208),
        (115200, 125, 25.112847 + 1.750),
    ],
)
async def test_an_answer_takes_no_less_than_its_line_would(line, baud, registers, least_ms):
    server = line(1, link=f"rtu:pty?baud={baud}")
    pdu, took_s = await asked(server, 1, f"03 0000 {registers:04X}", 5 + 2 * registers)
    assert len(pdu) == 2 * (2 + 2 * registers)
    assert took_s * 1e3 >= least_ms


@pytest.mark.parametrize(
    ("settings", "shown"),
    [
        ("parity=even&stop=1", "parity=none&stop=2"),
        ("parity=odd&stop=2", "parity=odd&stop=2"),
        ("parity=none&stop=1", "parity=none&stop=1"),
    ],
)
async def test_where_a_pseudo_terminal_is_found_names_settings_that_it_takes(line, settings, shown):
    server = line(1, link=f"rtu:pty?baud=9600&{settings}")
    assert str(server.address).endswith(f"?baud=9600&{shown}")
    assert server.times.character_s == server.address.serial.bits_per_character / 9600


async def test_a_client_may_come_and_go(line):
    server = line(1)
    for _ in range(3):
        assert (await asked(server, 1, "03 0001 0001", 7))[0] == "03020000"


@pytest.mark.parametrize("by_thread", [False, True])
async def test_a_port_that_is_given_is_served(line, by_thread):
    ours, theirs = os.openpty()
    try:
        server = line(1, link=f"rtu:{os.ttyname(theirs)}", by_thread=by_thread)
        frame = rtu_framed(1, bytes.fromhex("03 0001 0001"))
        os.write(ours, frame)
        found = b""
        while len(found) < 7:
            found += await asyncio.to_thread(os.read, ours, 100)
        assert found.hex(" ") == "01 03 02 00 00 b8 44"
        server.close()
    finally:
        os.close(ours)
        os.close(theirs)


async def test_a_port_that_goes_is_told(line):
    ours, theirs = os.openpty()
    lost = asyncio.get_running_loop().create_future()
    name = os.ttyname(theirs)
    line(1, link=f"rtu:{name}", lost=lost.set_result)
    os.close(theirs)
    os.close(ours)
    error = await asyncio.wait_for(lost, 5)
    assert isinstance(error, GaswitnessError)
    assert f"{name} has gone" in str(error)


async def test_a_port_that_goes_unwatched_breaks_nothing(line):
    ours, theirs = os.openpty()
    server = line(1, link=f"rtu:{os.ttyname(theirs)}")
    os.close(theirs)
    os.close(ours)
    await asyncio.sleep(0.05)
    server.close()
    server.close()


async def test_closing_takes_the_line_away_and_sends_nothing_more(line):
    server = line(1, link="rtu:pty?baud=1200")
    with serial.Serial(server.address.device, 9600, timeout=0) as port:
        port.write(rtu_framed(1, bytes.fromhex("03 0001 0001")))
        await asyncio.sleep(0.02)
        server.close()
        await asyncio.sleep(0.2)
    with pytest.raises(serial.SerialException):
        serial.Serial(server.address.device)


async def test_a_converter_that_hears_itself_makes_no_panel_answer_itself(line, monkeypatch):
    # A pseudo-terminal passed off as a port; its other end sends back all that it gets.
    monkeypatch.setattr(serial_line_port, "is_pseudo_terminal", lambda device: False)
    ours, theirs = os.openpty()
    os.set_blocking(ours, False)
    sent = []

    def echo():
        sent.append(os.read(ours, 300))
        os.write(ours, sent[-1])

    loop = asyncio.get_running_loop()
    try:
        server = line(1, link=f"rtu:{os.ttyname(theirs)}?baud=115200")
        loop.add_reader(ours, echo)
        frame = rtu_framed(1, bytes.fromhex("06 0001 0007"))
        for asked in (1, 2):
            os.write(ours, frame)
            await asyncio.sleep(0.15)
            assert b"".join(sent) == frame * asked
        assert server.line.stations[1].diagnostics.messages == 2
        server.close()
    finally:
        loop.remove_reader(ours)
        os.close(ours)
        os.close(theirs)


def test_a_port_that_is_not_there_is_told_plainly():
    with pytest.raises(GaswitnessError, match="cannot open /dev/no-such-port"):
        open_port(parse_link("rtu:///dev/no-such-port"))


def test_a_port_that_another_program_has_is_told_plainly():
    ours, theirs = os.openpty()
    with (
        serial.Serial(os.ttyname(theirs), exclusive=True),
        pytest.raises(GaswitnessError, match=r"/dev/\S+: another program has it\. Is it"),
    ):
        open_port(parse_link(f"rtu://{os.ttyname(theirs)}"))
    os.close(ours)
    os.close(theirs)


def test_pseudo_terminals_are_known_from_ports(tmp_path):
    ours, theirs = os.openpty()
    link = tmp_path / "line"
    link.symlink_to(os.ttyname(theirs))
    try:
        assert is_pseudo_terminal(str(link))
        assert not is_pseudo_terminal("/dev/ttyUSB0")
        assert not is_pseudo_terminal("/dev/ttyS0")
        assert not is_pseudo_terminal("COM3")
    finally:
        os.close(ours)
        os.close(theirs)


async def test_a_unit_that_lines_do_not_give_is_told(devices):
    with pytest.raises(GaswitnessError, match="write one from 1 to 247"):
        SerialLineServer(devices(248), parse_link("rtu:pty"), lambda: 0.0)


class Late:
    """Answers 100 ms late, a stray byte first."""

    at_rest = False
    idle_limit_s = None

    def shape(self, finished):
        return [Outgoing(0.0, b"\x55"), Outgoing(0.1, finished.response)]


async def test_what_a_shaper_gives_goes_out_when_it_says(line):
    server = line(1, shaper=Late())
    frame = rtu_framed(1, bytes.fromhex("03 0001 0001"))
    answer, took_s = await asyncio.to_thread(exchange, server.address.device, frame, 8, 2.0)
    assert answer.hex(" ") == "55 01 03 02 00 00 b8 44"
    assert took_s >= 0.1
