"""The virtual panel as a Modbus server: from the PDU of a request to that of the answer.

Sans-I/O. Each function checks in the order of its own state diagram in the MODBUS Application
Protocol Specification V1.1b3 (figures 11 to 30), which is not always that of figure 9.
"""

import struct
from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import Final

from gaswitness_simulator.identity import identification, identity_of
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.records import Queues, RecordFiles
from gaswitness_simulator.refusal import (
    DEVICE_FAILURE,
    ILLEGAL_ADDRESS,
    ILLEGAL_FUNCTION,
    ILLEGAL_VALUE,
    Refused,
)
from gaswitness_simulator.table import TableImage
from gaswitness_sitefile.points import Table

MOST_BITS_READ: Final = 2000
MOST_REGISTERS_READ: Final = 125
MOST_COILS_WRITTEN: Final = 1968
MOST_REGISTERS_WRITTEN: Final = 123
MOST_REGISTERS_WRITTEN_WITH_READ: Final = 121
COIL_ON: Final = 0xFF00
DEVICE_IDENTIFICATION: Final = 0x0E

_ADDRESS_AND_COUNT: Final = struct.Struct(">HH")
_WITH_BYTES: Final = struct.Struct(">HHB")
_MASKS: Final = struct.Struct(">HHH")
_WRITE_AND_READ: Final = struct.Struct(">HHHHB")
_IDENTIFY: Final = struct.Struct(">BBB")
_AS_DIGITS: Final = bytes((0x30, 0x31)) + bytes(254)


class VirtualDevice:
    """A panel under one unit id. `extra_identity`: identification objects 80 to FF.

    Until the register image is made after power-up, reads and writes get exception 04.
    """

    def __init__(
        self,
        panel: VirtualPanel,
        *,
        unit: int = 1,
        extra_identity: Mapping[int, bytes] = MappingProxyType({}),
    ) -> None:
        self.panel = panel
        self.unit = unit
        self.identity = identity_of(panel.site, extra_identity)
        self._now_s = 0.0
        self._functions: dict[int, Callable[[bytes], bytes]] = {
            0x01: partial(self._read_bits, Table.COIL),
            0x02: partial(self._read_bits, Table.DISCRETE_INPUT),
            0x03: partial(self._read_registers, Table.HOLDING),
            0x04: partial(self._read_registers, Table.INPUT),
            0x05: self._write_coil,
            0x06: self._write_register,
            0x0F: self._write_coils,
            0x10: self._write_registers,
            0x16: self._mask_register,
            0x17: self._write_and_read,
            0x2B: self._identify,
        }
        files = RecordFiles(panel.site.map.files, None if panel.log is None else panel.log.words)
        if panel.site.map.files:
            self._functions |= {0x14: files.read, 0x15: files.write}
        if panel.site.map.queues:
            self._functions[0x18] = Queues(panel.site.map.queues).read

    def answer(self, unit: int, pdu: bytes, at_s: float) -> bytes | None:
        """The answer's PDU; None is silence: another unit, no request at all, the power off."""
        self.panel.advance(at_s)
        if unit != self.unit or not pdu or not self.panel.powered:
            return None
        self._now_s = at_s
        try:
            function = self._functions.get(pdu[0])
            if function is None:
                raise Refused(ILLEGAL_FUNCTION)
            return function(pdu)
        except Refused as refused:
            return bytes((pdu[0] | 0x80, refused.code))

    def _read_bits(self, table: Table, pdu: bytes) -> bytes:
        address, count = _fields(pdu, _ADDRESS_AND_COUNT)
        _demand(1 <= count <= MOST_BITS_READ, ILLEGAL_VALUE)
        image = self._readable(table, address, count)
        bits = image.read(address, count)[::-1].translate(_AS_DIGITS)
        size = (count + 7) // 8
        return bytes((pdu[0], size)) + int(bits, 2).to_bytes(size, "little")

    def _read_registers(self, table: Table, pdu: bytes) -> bytes:
        address, count = _fields(pdu, _ADDRESS_AND_COUNT)
        _demand(1 <= count <= MOST_REGISTERS_READ, ILLEGAL_VALUE)
        image = self._readable(table, address, count)
        return bytes((pdu[0], 2 * count)) + image.read(address, count)

    def _write_coil(self, pdu: bytes) -> bytes:
        address, value = _fields(pdu, _ADDRESS_AND_COUNT)
        _demand(value in (0, COIL_ON), ILLEGAL_VALUE)
        self._writable(Table.COIL, address, 1)
        self._write(Table.COIL, address, b"\1" if value else b"\0")
        return pdu

    def _write_register(self, pdu: bytes) -> bytes:
        address, _ = _fields(pdu, _ADDRESS_AND_COUNT)
        self._writable(Table.HOLDING, address, 1)
        self._write(Table.HOLDING, address, pdu[3:5])
        return pdu

    def _write_coils(self, pdu: bytes) -> bytes:
        address, count, size = _fields(pdu, _WITH_BYTES, more=True)
        data = pdu[6:]
        right = 1 <= count <= MOST_COILS_WRITTEN and size == (count + 7) // 8 == len(data)
        _demand(right, ILLEGAL_VALUE)
        self._writable(Table.COIL, address, count)
        bits = int.from_bytes(data, "little")
        self._write(Table.COIL, address, bytes(bits >> i & 1 for i in range(count)))
        return pdu[:5]

    def _write_registers(self, pdu: bytes) -> bytes:
        address, count, size = _fields(pdu, _WITH_BYTES, more=True)
        data = pdu[6:]
        right = 1 <= count <= MOST_REGISTERS_WRITTEN and size == 2 * count == len(data)
        _demand(right, ILLEGAL_VALUE)
        self._writable(Table.HOLDING, address, count)
        self._write(Table.HOLDING, address, data)
        return pdu[:5]

    def _mask_register(self, pdu: bytes) -> bytes:
        address, keep, put = _fields(pdu, _MASKS)
        image = self._writable(Table.HOLDING, address, 1)
        now = int.from_bytes(image.read(address, 1), "big")
        changed = (now & keep) | (put & ~keep & 0xFFFF)
        self._write(Table.HOLDING, address, changed.to_bytes(2, "big"))
        return pdu

    def _write_and_read(self, pdu: bytes) -> bytes:
        read_at, read_count, address, count, size = _fields(pdu, _WRITE_AND_READ, more=True)
        data = pdu[10:]
        right = (
            1 <= read_count <= MOST_REGISTERS_READ
            and 1 <= count <= MOST_REGISTERS_WRITTEN_WITH_READ
            and size == 2 * count == len(data)
        )
        _demand(right, ILLEGAL_VALUE)
        holding = self.panel.image.tables[Table.HOLDING]
        reads, takes = holding.readable(read_at, read_count), holding.accepts(address, count)
        _demand(reads and takes, ILLEGAL_ADDRESS)
        _demand(self.panel.image.made, DEVICE_FAILURE)
        self._write(Table.HOLDING, address, data)
        return bytes((0x17, 2 * read_count)) + holding.read(read_at, read_count)

    def _identify(self, pdu: bytes) -> bytes:
        _demand(len(pdu) >= 2, ILLEGAL_VALUE)
        _demand(pdu[1] == DEVICE_IDENTIFICATION, ILLEGAL_FUNCTION)
        _, code, first = _fields(pdu, _IDENTIFY)
        return identification(self.identity, code, first)

    def _readable(self, table: Table, address: int, count: int) -> TableImage:
        image = self.panel.image.tables[table]
        _demand(image.readable(address, count), ILLEGAL_ADDRESS)
        _demand(self.panel.image.made, DEVICE_FAILURE)
        return image

    def _writable(self, table: Table, address: int, count: int) -> TableImage:
        image = self.panel.image.tables[table]
        _demand(image.accepts(address, count), ILLEGAL_ADDRESS)
        _demand(self.panel.image.made, DEVICE_FAILURE)
        return image

    def _write(self, table: Table, address: int, data: bytes) -> None:
        for stimulus in self.panel.image.write(table, address, data):
            self.panel.apply(stimulus, self._now_s)


def _fields(pdu: bytes, form: struct.Struct, *, more: bool = False) -> tuple[int, ...]:
    """The numbers after the function code; exception 03 where the PDU is too short or too long."""
    over = len(pdu) - 1 - form.size
    if over < 0 or (over and not more):
        raise Refused(ILLEGAL_VALUE)
    return form.unpack_from(pdu, 1)


def _demand(met: bool, code: int) -> None:  # noqa: FBT001  a condition is what it takes
    if not met:
        raise Refused(code)
