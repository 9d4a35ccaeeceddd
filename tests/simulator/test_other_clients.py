"""Clients of other makes read every mapped value of a served panel over a real socket."""

import asyncio
import contextlib
import ctypes
import ctypes.util
import math
import struct
import threading

import pytest
from pymodbus.client import ModbusTcpClient
from pyModbusTCP.client import ModbusClient

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, GasTo, InputSet, Step
from gaswitness_simulator.tcp import serve_tcp

ORDERS = ("ABCD", "CDAB", "BADC", "DCBA")
KINDS = {
    "int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "int64": "q", "uint64": "Q",
    "float32": "f", "float64": "d", "bcd16": "", "bcd32": "",
}  # fmt: skip
TABLES = ("coil", "discrete input", "holding register", "input register")
GAS = 34.5


def width(kind):
    return {"bcd16": 1, "bcd32": 2}.get(kind) or struct.calcsize(KINDS[kind]) // 2


@pytest.fixture(scope="module")
def points(a_point):
    """Every numeric type in every order in both register tables, and what else points may be."""
    rows = []
    for table in TABLES[2:]:
        address = 10
        for kind in KINDS:
            for order in ORDERS:
                name = f"{table[0]}-{kind}-{order}"
                rows.append(
                    a_point(name, table, address, kind, "AT-1.reading", order=order, scale=0.5)
                )
                address += width(kind)
        rows += [
            a_point(f"{table[0]}-text", table, address, "string", "constant",
                    length=4, value="GDP-1"),
            a_point(f"{table[0]}-state", table, address + 4, "enumeration", "AT-1.state",
                    codes={0: "normal", 3: "A1", 9: "fault"}),
            a_point(f"{table[0]}-bit", table, address + 5, "bit in word", "AT-1.A1", bit=11),
            a_point(f"{table[0]}-field", table, address + 6, "bit field", "bits",
                    bits={0: "panel.fault", 7: "DI-1.active", 15: "K1.energised"}),
        ]  # fmt: skip
    for table in TABLES[:2]:
        shows = ("AT-1.A1", "AT-1.fault", "AT-2.fault", "K1.energised", "K1.active", "DI-1.active")
        rows += [a_point(f"{table[0]}{n}", table, 30 + n, "bit", s) for n, s in enumerate(shows)]
    return rows


EXPECTED_BITS = [True, False, True, True, False, True]


@pytest.fixture(scope="module")
def served(make_site, a_channel, a_cell, points):
    """(host, port) of a panel with a story behind it, on a thread and loop of its own."""
    site = make_site(
        channels=[a_channel("AT-1"), a_channel("AT-2")],
        inputs=[{"tag": "DI-1"}],
        outputs=[{"tag": "K1", "kind": "relay", "normally_energised": True}],
        matrix=[a_cell("AT-1.A1 AND AT-2.A1", "K1")],
        points=points,
    )
    panel = VirtualPanel(site)
    for stimulus in (
        GasTo("AT-1", Step(GAS)),
        ChannelFault("AT-2", on=True),
        InputSet("DI-1", on=True),
    ):
        panel.apply(stimulus, 1.0)
    panel.advance(5.0)
    loop, where, ready = asyncio.new_event_loop(), [], threading.Event()

    async def run():
        server = await serve_tcp(VirtualDevice(panel), "127.0.0.1", 0, lambda: 10.0)
        stop = asyncio.Event()
        where.extend((server.host, server.port, stop))
        ready.set()
        await stop.wait()
        await server.close()

    thread = threading.Thread(target=lambda: loop.run_until_complete(run()))
    thread.start()
    assert ready.wait(5)
    yield where[0], where[1]
    loop.call_soon_threadsafe(where[2].set)
    thread.join(5)
    loop.close()


def in_order(order, registers):
    """The bytes of a value, most significant first."""
    words = registers[::-1] if order in ("CDAB", "DCBA") else registers
    data = struct.pack(f">{len(words)}H", *words)
    return struct.pack(f"<{len(words)}H", *words) if order in ("BADC", "DCBA") else data


def check_registers(points, read):
    """`read(table, address, count)` -> registers; every register point against what it must say."""
    checked = 0
    for row in points:
        table, kind, address = row["table"], row["type"], row["address"]
        if table not in TABLES[2:]:
            continue
        if kind in KINDS:
            data = in_order(row["order"], read(table, address, width(kind)))
            raw = int(data.hex()) if "bcd" in kind else struct.unpack(">" + KINDS[kind], data)[0]
            assert raw * 0.5 == GAS, row["name"]
        elif kind == "string":
            text = struct.pack(">4H", *read(table, address, 4))
            assert text == b"GDP-1\0\0\0", row["name"]
        else:
            expected = {"enumeration": 3, "bit in word": 1 << 11, "bit field": 0x8081}[kind]
            assert read(table, address, 1) == [expected], row["name"]
        checked += 1
    assert checked == 2 * (4 * len(KINDS) + 4)


def test_pymodbustcp_reads_every_value(served, points):
    client = ModbusClient(*served, unit_id=1, timeout=5)
    assert client.open()
    reads = {
        "holding register": client.read_holding_registers,
        "input register": client.read_input_registers,
    }
    check_registers(points, lambda table, address, count: reads[table](address, count))
    assert client.read_coils(30, 6) == EXPECTED_BITS
    assert client.read_discrete_inputs(30, 6) == EXPECTED_BITS
    assert client.read_holding_registers(5, 2) is None
    assert client.last_except == 2
    client.close()


def test_pymodbus_reads_every_value(served, points):
    host, port = served
    client = ModbusTcpClient(host, port=port, timeout=5, retries=0)
    assert client.connect()
    reads = {
        "holding register": client.read_holding_registers,
        "input register": client.read_input_registers,
    }

    def read(table, address, count):
        answer = reads[table](address, count=count, device_id=1)
        assert not answer.isError()
        return answer.registers

    check_registers(points, read)
    assert client.read_coils(30, count=6, device_id=1).bits[:6] == EXPECTED_BITS
    assert client.read_discrete_inputs(30, count=6, device_id=1).bits[:6] == EXPECTED_BITS
    assert client.read_holding_registers(5, count=2, device_id=1).exception_code == 2
    identity = client.read_device_information(read_code=2, object_id=0, device_id=1).information
    assert identity[4].startswith(b"Virtual panel")
    client.close()


def test_pymodbus_converts_floats_as_meant(served, points):
    host, port = served
    client = ModbusTcpClient(host, port=port, timeout=5, retries=0)
    assert client.connect()
    for order, word_order in (("ABCD", "big"), ("CDAB", "little")):
        row = next(p for p in points if p["name"] == f"h-float32-{order}")
        answer = client.read_holding_registers(row["address"], count=2, device_id=1)
        value = client.convert_from_registers(
            answer.registers, client.DATATYPE.FLOAT32, word_order=word_order
        )
        assert math.isclose(value * 0.5, GAS)
    client.close()


@pytest.fixture
def libmodbus(served):
    found = ctypes.util.find_library("modbus")
    if found is None:
        pytest.skip("libmodbus is not installed on this machine")
    library = ctypes.CDLL(found)
    library.modbus_new_tcp.restype = ctypes.c_void_p
    context = ctypes.c_void_p(library.modbus_new_tcp(served[0].encode(), served[1]))
    library.modbus_set_slave(context, 1)
    assert library.modbus_connect(context) == 0
    yield library, context
    library.modbus_close(context)
    library.modbus_free(context)


def test_libmodbus_reads_every_value(libmodbus, points):
    library, context = libmodbus
    functions = {
        "holding register": library.modbus_read_registers,
        "input register": library.modbus_read_input_registers,
    }

    def read(table, address, count):
        room = (ctypes.c_uint16 * count)()
        assert functions[table](context, address, count, room) == count
        return list(room)

    check_registers(points, read)
    for function in (library.modbus_read_bits, library.modbus_read_input_bits):
        room = (ctypes.c_uint8 * 6)()
        assert function(context, 30, 6, room) == 6
        assert [bool(bit) for bit in room] == EXPECTED_BITS
    room = (ctypes.c_uint16 * 2)()
    assert library.modbus_read_registers(context, 5, 2, room) == -1


def test_clients_of_three_makes_at_once(served):
    host, port = served
    with contextlib.ExitStack() as closing:
        clients = []
        for _ in range(3):
            one, other = ModbusClient(host, port, timeout=5), ModbusTcpClient(host, port=port)
            closing.callback(one.close)
            closing.callback(other.close)
            assert one.open()
            assert other.connect()
            clients.append((one, other))
        for one, other in clients * 3:
            assert one.read_coils(30, 6) == EXPECTED_BITS
            assert other.read_coils(30, count=6, device_id=1).bits[:6] == EXPECTED_BITS
