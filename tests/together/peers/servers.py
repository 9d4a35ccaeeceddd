"""Servers of other makes that hold the demo's map as it is at rest, the heartbeat beating. Each
runs on a thread of its own; `with` gives the port. None of this is the product's.
"""

import asyncio
import ctypes
import errno
import logging
import os
import select
import socket
import struct
import threading
from contextlib import contextmanager

from peers.clients import libmodbus
from pymodbus.pdu.device import ModbusDeviceIdentification
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
from pyModbusTCP.server import DataBank, DeviceIdentification, ModbusServer

BEAT_S = 0.1


def words(form, *values):
    data = struct.pack(form, *values)
    return list(struct.unpack(f">{len(data) // 2}H", data))


def low_first(registers):
    return [registers[at ^ 1] for at in range(len(registers))]


def at(first, values):
    return dict(enumerate(values, first))


INPUTS = [0] * 59
INPUTS[24:26] = [420, 0]  # AT-501, CO2 of clean air, low word first
INPUTS[26] = 2090  # AT-601, oxygen by hundredths
HOLDING = [
    *[0, 3],  # heartbeat, map revision
    *words(">16s", b"GDP-1"),
    *[0x2026, 0x0417],  # serial number in BCD
    *words("<Q", 30017),
    0,
]
SETPOINTS = [
    *words(">8f", 25, 35, 25, 35, 25, 35, 10, 20),
    *low_first(words(">4f", 10, 20, 10, 20)),
    *words(">4h", 100, 200, 200, 1000),
    *words(">2i", 500, 1000),
    *low_first(words(">2I", 5000, 15000)),
    *[1950, 1800, 2350],
]
COILS = [1, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0]
"""K1 to K4, V1, V2, F1 to F4, B1 to B3, S1, S2: those that are energised at rest are."""

AT_REST = {
    1: at(0, COILS) | at(32, [0, 0, 0]),
    2: at(0, [0] * 90),
    3: at(0, HOLDING) | at(100, SETPOINTS),
    4: at(0, INPUTS),
}
WHO = {0: b"Virtual", 1: b"Demonstration panel", 2: b"3"}


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


@contextmanager
def beating(beat):
    """Call `beat(count)` ten times a second, on a thread."""
    over = threading.Event()

    def run():
        count = 0
        while not over.wait(BEAT_S):
            count += 1
            beat(count)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(5)


class Bank(DataBank):
    """The library's memory, all of it there, with the map's holes cut out: None is exception 02."""

    def __init__(self):
        super().__init__()
        for function, keep in {1: "coils", 2: "discrete_inputs", 3: "holding_registers",
                               4: "input_registers"}.items():  # fmt: skip
            for address, value in AT_REST[function].items():
                getattr(self, f"set_{keep}")(address, [value])

    def get_coils(self, address, number=1, srv_info=None):
        return _mapped(1, address, number) and super().get_coils(address, number, srv_info)

    def get_discrete_inputs(self, address, number=1, srv_info=None):
        held = super().get_discrete_inputs(address, number, srv_info)
        return held if _mapped(2, address, number) else None

    def get_holding_registers(self, address, number=1, srv_info=None):
        held = super().get_holding_registers(address, number, srv_info)
        return held if _mapped(3, address, number) else None

    def get_input_registers(self, address, number=1, srv_info=None):
        held = super().get_input_registers(address, number, srv_info)
        return held if _mapped(4, address, number) else None


def _mapped(function, address, number):
    return all(one in AT_REST[function] for one in range(address, address + number)) or None


@contextmanager
def pymodbustcp():
    bank = Bank()
    who = DeviceIdentification(vendor_name=WHO[0], product_code=WHO[1], major_minor_revision=WHO[2])
    server = ModbusServer("127.0.0.1", free_port(), no_block=True, data_bank=bank, device_id=who)
    server.start()
    try:
        with beating(lambda count: bank.set_holding_registers(0, [count])):
            yield server.port
    finally:
        server.stop()


def _stretches(table):
    """[(first address, values)] of the table, a hole between each two."""
    found = []
    for address, value in sorted(table.items()):
        if found and address == found[-1][0] + len(found[-1][1]):
            found[-1][1].append(value)
        else:
            found.append((address, [value]))
    return found


@contextmanager
def pymodbus():
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
    kinds = {1: (bool, DataType.BITS), 2: (bool, DataType.BITS),
             3: (int, DataType.REGISTERS), 4: (int, DataType.REGISTERS)}  # fmt: skip
    blocks = tuple(
        [
            SimData(first, values=[form(value) for value in values], datatype=kind)
            for first, values in _stretches(AT_REST[function])
        ]
        for function, (form, kind) in kinds.items()
    )
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()

    def on_loop(call):
        return asyncio.run_coroutine_threadsafe(call, loop).result(10)

    async def start():
        who = ModbusDeviceIdentification(info=WHO)
        server = ModbusTcpServer(
            SimDevice(1, simdata=blocks), identity=who, address=("127.0.0.1", 0)
        )
        await server.serve_forever(background=True)
        return server

    server = on_loop(start())
    try:
        with beating(lambda n: on_loop(server.async_setValues(1, 3, 0, [n]))):
            yield server.transport.sockets[0].getsockname()[1]
    finally:
        on_loop(server.shutdown())
        loop.call_soon_threadsafe(loop.stop)
        thread.join(5)
        loop.close()


class Mapping(ctypes.Structure):
    """modbus_mapping_t of libmodbus 3.1."""

    _fields_ = [(name, ctypes.c_int) for name in (
        "nb_bits", "start_bits", "nb_input_bits", "start_input_bits",
        "nb_input_registers", "start_input_registers", "nb_registers", "start_registers",
    )] + [
        ("bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input_registers", ctypes.POINTER(ctypes.c_uint16)),
        ("registers", ctypes.POINTER(ctypes.c_uint16)),
    ]  # fmt: skip


def _filled_mapping(library):
    """The address of a mapping with the demo's map, and the mapping."""
    sizes = [max(AT_REST[function]) + 1 for function in (1, 2, 3, 4)]
    made = library.modbus_mapping_new_start_address(
        0, sizes[0], 0, sizes[1], 0, sizes[2], 0, sizes[3]
    )
    mapping = Mapping.from_address(made)
    tables = {1: mapping.bits, 2: mapping.input_bits, 3: mapping.registers,
              4: mapping.input_registers}  # fmt: skip
    for function, table in tables.items():
        for address, value in AT_REST[function].items():
            table[address] = value
    return made, mapping


@contextmanager
def _answering(library, context, connected, over):
    """The library's own loop of receive and reply, for one client after another."""
    # before it refuses a quantity it sleeps for its response time-out, half a second otherwise
    library.modbus_set_response_timeout(context, 0, 10_000)
    made, mapping = _filled_mapping(library)

    def run():
        request = (ctypes.c_uint8 * 260)()
        while not over.is_set() and connected():
            while not over.is_set():
                size = library.modbus_receive(context, request)
                if size > 0:
                    library.modbus_reply(context, request, size, ctypes.c_void_p(made))
                elif size < 0 and ctypes.get_errno() != errno.ETIMEDOUT:
                    break
            library.modbus_close(context)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        with beating(lambda count: mapping.registers.__setitem__(0, count)):
            yield thread
    finally:
        thread.join(5)
        library.modbus_mapping_free(ctypes.c_void_p(made))
        library.modbus_free(context)


@contextmanager
def libmodbus_server():
    library, over = libmodbus(), threading.Event()
    context = ctypes.c_void_p(library.modbus_new_tcp(b"127.0.0.1", 0))
    listener = ctypes.c_int(library.modbus_tcp_listen(context, 5))
    port = socket.socket(fileno=listener.value)

    def connected():
        return library.modbus_tcp_accept(context, ctypes.byref(listener)) >= 0

    with _answering(library, context, connected, over):
        try:
            yield port.getsockname()[1]
        finally:
            over.set()
            port.shutdown(socket.SHUT_RDWR)
    port.close()


@contextmanager
def cable():
    """The names of both ends of a line: two pseudo-terminals, and a thread that carries bytes."""
    import tty

    pairs = [os.openpty() for _ in range(2)]
    for _, end in pairs:
        tty.setraw(end)
    middles, over = [middle for middle, _ in pairs], threading.Event()

    def carry():
        while not over.is_set():
            for middle in select.select(middles, [], [], 0.05)[0]:
                os.write(middles[1 - middles.index(middle)], os.read(middle, 4096))

    thread = threading.Thread(target=carry)
    thread.start()
    try:
        yield tuple(os.ttyname(end) for _, end in pairs)
    finally:
        over.set()
        thread.join(5)
        for descriptor in [one for pair in pairs for one in pair]:
            os.close(descriptor)


@contextmanager
def libmodbus_on_a_line(baud):
    """The device that a client opens."""
    library, over = libmodbus(), threading.Event()
    with cable() as (ours, theirs):
        context = ctypes.c_void_p(
            library.modbus_new_rtu(ours.encode(), baud, ctypes.c_char(b"N"), 8, 1)
        )
        library.modbus_set_slave(context, 1)
        library.modbus_set_indication_timeout(context, 0, 50_000)

        def connected():
            return library.modbus_connect(context) == 0

        with _answering(library, context, connected, over):
            try:
                yield theirs
            finally:
                over.set()


SERVERS = {"pyModbusTCP": pymodbustcp, "pymodbus": pymodbus, "libmodbus": libmodbus_server}
