"""Clients of other makes behind one small face: `bits` and `registers` read, `coil`, `coils`,
`register` and `write` write. Addresses are PDU addresses, unit 1. None of this is the product's.

Lines are pseudo-terminals, which have no parity bit: some systems refuse to set one.
"""

import asyncio
import ctypes
import ctypes.util
import socket

import minimalmodbus
import serial
from pymodbus import FramerType
from pymodbus.client import AsyncModbusTcpClient, ModbusSerialClient, ModbusTcpClient
from pyModbusTCP.client import ModbusClient
from umodbus.client import tcp as umodbus_tcp
from umodbus.client.serial import rtu as umodbus_rtu

UNIT = 1
TIMEOUT_S = 5.0


def libmodbus():
    """The C library; None where the machine has none."""
    found = ctypes.util.find_library("modbus")
    if found is None:
        return None
    library = ctypes.CDLL(found, use_errno=True)
    library.modbus_new_tcp.restype = library.modbus_new_rtu.restype = ctypes.c_void_p
    library.modbus_mapping_new_start_address.restype = ctypes.c_void_p
    return library


class Pymodbus:
    """The synchronous client, over whatever it was made for."""

    def __init__(self, client):
        self.client = client
        assert client.connect()

    @classmethod
    def over_tcp(cls, host, port):
        return cls(ModbusTcpClient(host, port=port, timeout=TIMEOUT_S, retries=0))

    @classmethod
    def rtu_over_tcp(cls, host, port):
        framer = FramerType.RTU
        return cls(ModbusTcpClient(host, port=port, framer=framer, timeout=TIMEOUT_S, retries=0))

    @classmethod
    def over_a_line(cls, device, baud):
        settings = {"baudrate": baud, "timeout": TIMEOUT_S, "retries": 0}
        return cls(ModbusSerialClient(device, **settings))

    def done(self, answer):
        assert not answer.isError(), answer
        return answer

    def bits(self, function, address, count):
        read = {1: self.client.read_coils, 2: self.client.read_discrete_inputs}[function]
        bits = self.done(read(address, count=count, device_id=UNIT)).bits
        return [int(bit) for bit in bits[:count]]

    def registers(self, function, address, count):
        read = {3: self.client.read_holding_registers, 4: self.client.read_input_registers}
        return self.done(read[function](address, count=count, device_id=UNIT)).registers

    def coil(self, address, on):
        self.done(self.client.write_coil(address, on, device_id=UNIT))

    def coils(self, address, values):
        self.done(self.client.write_coils(address, values, device_id=UNIT))

    def register(self, address, value):
        self.done(self.client.write_register(address, value, device_id=UNIT))

    def write(self, address, values):
        self.done(self.client.write_registers(address, values, device_id=UNIT))

    def close(self):
        self.client.close()


class _Blocking:
    """An asynchronous client, each call of it run to its end on a loop of its own."""

    def __init__(self, loop, client):
        self._loop, self._client = loop, client

    def __getattr__(self, name):
        call = getattr(self._client, name)
        if name == "close":
            return call
        return lambda *given, **named: self._loop.run_until_complete(call(*given, **named))


class AsyncPymodbus(Pymodbus):
    """The asynchronous client."""

    def __init__(self, host, port):
        self.loop = asyncio.new_event_loop()

        async def made():
            return AsyncModbusTcpClient(host, port=port, timeout=TIMEOUT_S, retries=0)

        super().__init__(_Blocking(self.loop, self.loop.run_until_complete(made())))

    def close(self):
        async def over():
            self.client.close()
            await asyncio.sleep(0)

        self.loop.run_until_complete(over())
        self.loop.close()


class PyModbusTcp:
    def __init__(self, host, port):
        self.client = ModbusClient(host, port, unit_id=UNIT, timeout=TIMEOUT_S)
        assert self.client.open()

    def done(self, answer):
        assert answer, self.client.last_except_as_txt
        return answer

    def bits(self, function, address, count):
        read = {1: self.client.read_coils, 2: self.client.read_discrete_inputs}[function]
        return [int(bit) for bit in self.done(read(address, count))]

    def registers(self, function, address, count):
        read = {3: self.client.read_holding_registers, 4: self.client.read_input_registers}
        return self.done(read[function](address, count))

    def coil(self, address, on):
        self.done(self.client.write_single_coil(address, on))

    def coils(self, address, values):
        self.done(self.client.write_multiple_coils(address, values))

    def register(self, address, value):
        self.done(self.client.write_single_register(address, value))

    def write(self, address, values):
        self.done(self.client.write_multiple_registers(address, values))

    def close(self):
        self.client.close()


class Umodbus:
    """Builds and reads frames; the socket or line is the caller's."""

    def __init__(self, module, line):
        self.module, self.line = module, line

    @classmethod
    def over_tcp(cls, host, port):
        return cls(umodbus_tcp, socket.create_connection((host, port), TIMEOUT_S))

    @classmethod
    def over_a_line(cls, device, baud):
        line = serial.Serial(device, baud, timeout=TIMEOUT_S)
        return cls(umodbus_rtu, line)

    def done(self, adu):
        return self.module.send_message(adu, self.line)

    def bits(self, function, address, count):
        made = {1: self.module.read_coils, 2: self.module.read_discrete_inputs}[function]
        return self.done(made(UNIT, address, count))

    def registers(self, function, address, count):
        made = {3: self.module.read_holding_registers, 4: self.module.read_input_registers}
        return self.done(made[function](UNIT, address, count))

    def coil(self, address, on):
        self.done(self.module.write_single_coil(UNIT, address, int(on)))

    def coils(self, address, values):
        self.done(self.module.write_multiple_coils(UNIT, address, [int(on) for on in values]))

    def register(self, address, value):
        self.done(self.module.write_single_register(UNIT, address, value))

    def write(self, address, values):
        self.done(self.module.write_multiple_registers(UNIT, address, values))

    def close(self):
        self.line.close()


class MinimalModbus:
    """A master for serial lines alone."""

    def __init__(self, device, baud):
        line = serial.Serial(device, baud, timeout=TIMEOUT_S)
        self.client = minimalmodbus.Instrument(line, UNIT)

    def bits(self, function, address, count):
        return self.client.read_bits(address, count, functioncode=function)

    def registers(self, function, address, count):
        return self.client.read_registers(address, count, functioncode=function)

    def coil(self, address, on):
        self.client.write_bit(address, int(on))

    def coils(self, address, values):
        self.client.write_bits(address, [int(on) for on in values])

    def register(self, address, value):
        self.client.write_register(address, value, functioncode=6)

    def write(self, address, values):
        self.client.write_registers(address, values)

    def close(self):
        self.client.serial.close()


class Libmodbus:
    """The C library by its own functions."""

    def __init__(self, library, context):
        self.library, self.context = library, ctypes.c_void_p(context)
        library.modbus_set_slave(self.context, UNIT)
        library.modbus_set_response_timeout(self.context, int(TIMEOUT_S), 0)
        assert library.modbus_connect(self.context) == 0

    @classmethod
    def over_tcp(cls, host, port):
        library = libmodbus()
        return cls(library, library.modbus_new_tcp(host.encode(), port))

    @classmethod
    def over_a_line(cls, device, baud):
        library = libmodbus()
        parity = ctypes.c_char(b"N")
        return cls(library, library.modbus_new_rtu(device.encode(), baud, parity, 8, 1))

    def done(self, name, kind, address, values):
        room = (kind * len(values))(*values)
        found = getattr(self.library, name)(self.context, address, len(values), room)
        assert found == len(values), f"{name} gave {found}, errno {ctypes.get_errno()}"
        return list(room)

    def bits(self, function, address, count):
        name = {1: "modbus_read_bits", 2: "modbus_read_input_bits"}[function]
        return self.done(name, ctypes.c_uint8, address, [0] * count)

    def registers(self, function, address, count):
        name = {3: "modbus_read_registers", 4: "modbus_read_input_registers"}[function]
        return self.done(name, ctypes.c_uint16, address, [0] * count)

    def coil(self, address, on):
        assert self.library.modbus_write_bit(self.context, address, int(on)) == 1

    def coils(self, address, values):
        self.done("modbus_write_bits", ctypes.c_uint8, address, [int(on) for on in values])

    def register(self, address, value):
        assert self.library.modbus_write_register(self.context, address, value) == 1

    def write(self, address, values):
        self.done("modbus_write_registers", ctypes.c_uint16, address, values)

    def close(self):
        self.library.modbus_close(self.context)
        self.library.modbus_free(self.context)


ON_TCP = {
    "pymodbus": Pymodbus.over_tcp,
    "pymodbus, asynchronous": AsyncPymodbus,
    "pyModbusTCP": PyModbusTcp,
    "umodbus": Umodbus.over_tcp,
    "libmodbus": Libmodbus.over_tcp,
}
ON_A_LINE = {
    "pymodbus": Pymodbus.over_a_line,
    "umodbus": Umodbus.over_a_line,
    "minimalmodbus": MinimalModbus,
    "libmodbus": Libmodbus.over_a_line,
}
