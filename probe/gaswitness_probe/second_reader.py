"""The second reader: pymodbus' client on any link, each read once, its frames kept. The only place
that knows pymodbus; our own frames, checks and decoding know nothing of it."""

import asyncio
import logging
from typing import Final

import pymodbus
from pymodbus import FramerType
from pymodbus.client import (
    AsyncModbusSerialClient,
    AsyncModbusTcpClient,
    AsyncModbusTlsClient,
)
from pymodbus.client.base import ModbusBaseClient
from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerSocket

from gaswitness_probe.deviation import exception_words
from gaswitness_probe.errors import NoConnection
from gaswitness_probe.rtu_framing import UNKNOWN_LINE, silence_s
from gaswitness_probe.serial_line import port_parity
from gaswitness_probe.survey_second import SecondReading
from gaswitness_probe.tls import tls_context
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import TLS, LinkAddress, SerialLine, TlsFiles
from gaswitness_sitefile.points import Table

_LOGGER: Final = "pymodbus.logging"


class SecondReader:
    """One unit at a link's address. Never open while another connection of ours is.

    pymodbus takes what a strict client refuses (another unit's count, a lying byte count): its
    answers are compared, never trusted for themselves.
    """

    def __init__(self, address: LinkAddress, unit: int, pace: Pace) -> None:
        self.name = f"pymodbus {pymodbus.__version__}"
        self._address = address
        self._unit = unit
        self._timeout_s = pace.timeout_s
        self._silence_s = silence_s(address.serial or UNKNOWN_LINE) if address.rtu_framed else 0.0
        self._client: ModbusBaseClient | None = None
        self._sent = self._received = b""
        # what it has to say comes back from here in words; on the terminal it would be noise
        logging.getLogger(_LOGGER).addHandler(logging.NullHandler())

    async def open(self) -> None:
        """Connect. Raises NoConnection."""
        await self.close()
        client = self._made()
        _never_raising(client)
        if not await client.connect():
            client.close()
            raise NoConnection(f"{self.name} finds no connection to {self._address}")
        self._client = client

    def _made(self) -> ModbusBaseClient:
        address = self._address
        if address.on_serial_line:
            line = address.serial or SerialLine()
            return AsyncModbusSerialClient(
                address.device,
                baudrate=line.baud,
                parity=port_parity(address.device, line),
                stopbits=line.stop,
                timeout=self._timeout_s,
                reconnect_delay=0,
                retries=0,
                trace_packet=self._traced,
            )
        if address.scheme == TLS:
            secured = AsyncModbusTlsClient(
                address.host,
                port=address.port,
                sslctx=tls_context(address.tls or TlsFiles()),
                timeout=self._timeout_s,
                reconnect_delay=0,
                retries=0,
                trace_packet=self._traced,
            )
            # its TLS framer takes each segment for a frame; under TLS lies plain Modbus/TCP
            secured.ctx.framer = FramerSocket(secured.ctx.framer.decoder)
            return secured
        return AsyncModbusTcpClient(
            address.host,
            port=address.port,
            framer=FramerType.RTU if address.rtu_framed else FramerType.SOCKET,
            timeout=self._timeout_s,
            reconnect_delay=0,
            retries=0,
            trace_packet=self._traced,
        )

    def _traced(self, sending: bool, data: bytes) -> bytes:  # noqa: FBT001  # pymodbus calls it
        if sending:
            self._sent += data
        else:
            self._received = data
        return data

    async def read(self, table: Table, address: int, count: int) -> SecondReading:
        """Read once."""
        client = self._client
        if client is None:
            raise NoConnection(f"{self.name} is not connected")
        await asyncio.sleep(self._silence_s)
        self._sent = self._received = b""
        ask = {
            Table.COIL: client.read_coils,
            Table.DISCRETE_INPUT: client.read_discrete_inputs,
            Table.HOLDING: client.read_holding_registers,
            Table.INPUT: client.read_input_registers,
        }[table]
        try:
            reply = await ask(address, count=count, device_id=self._unit)
        except (ModbusException, OSError) as error:
            return SecondReading(None, self._sent, self._received, str(error))
        if reply.isError():
            words = exception_words(reply.exception_code)
            return SecondReading(None, self._sent, self._received, words, refused=True)
        values = tuple(map(int, reply.bits[:count] if table.of_bits else reply.registers))
        if len(values) != count:
            words = f"took what came for a reply of {len(values)} values, where {count} were asked"
            return SecondReading(None, self._sent, self._received, words)
        return SecondReading(values, self._sent, self._received)

    async def close(self) -> None:
        """Close; does nothing where it is closed."""
        client, self._client = self._client, None
        if client is not None:
            client.close()
            # its transport closes in the loop's next turns; a port must be free before we go on
            await asyncio.sleep(0.01)


def _never_raising(client: ModbusBaseClient) -> None:
    """What it cannot decode it raises into the event loop, which ends the connection and prints a
    traceback: here those bytes go, and the request ends as unanswered."""
    take = client.ctx.callback_data

    def guarded(data: bytes, addr: tuple[str, int] | None = None) -> int:
        try:
            return take(data, addr=addr)
        except ModbusException:
            return len(data)

    client.ctx.callback_data = guarded  # type: ignore[method-assign]  # no hook is offered
