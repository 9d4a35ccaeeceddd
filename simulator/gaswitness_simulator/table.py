"""One table of the register image: bytes by address, and which addresses may be read and written.

Addresses are PDU addresses. A register takes two bytes, a bit one (0 or 1).
"""

from collections.abc import Iterator
from typing import Final

from gaswitness_simulator.slot import Slot
from gaswitness_simulator.stimulus import Stimulus
from gaswitness_sitefile.points import Gaps, Table

MOST_KNOWN: Final = 1024
"""Pairs of address and count that are remembered, lest someone who asks for all fill the memory."""


class TableImage:
    """`place` slots, `settle` once, then read and write."""

    def __init__(self, table: Table, gaps: Gaps) -> None:
        self._grain = 1 if table.of_bits else 2
        self._gaps = gaps
        self._slots: dict[int, Slot] = {}
        self._data = bytearray()
        self._readable = b""
        self._known: dict[tuple[int, int], bool] = {}

    def place(self, slot: Slot) -> None:
        """Give the slot its addresses, taking them from an earlier one."""
        for address in range(slot.address, slot.address + slot.width):
            self._slots[address] = slot

    def settle(self) -> None:
        """Lay out the bytes, once all slots are placed."""
        end = max(self._slots, default=-1) + 1
        first = min(self._slots, default=0)
        self._data = bytearray(end * self._grain)
        filled = self._gaps is Gaps.ZEROS
        self._readable = bytes(
            self._slots[address].readable if address in self._slots else filled and address >= first
            for address in range(end)
        )

    def slot_at(self, address: int) -> Slot | None:
        return self._slots.get(address)

    def slots(self) -> Iterator[Slot]:
        """Every slot that still has an address, once each."""
        return iter(dict.fromkeys(self._slots.values()))

    def put(self, slot: Slot, data: bytes) -> None:
        """Set the slot's bytes, where the addresses are its own."""
        size = self._grain
        if slot.width == 1:
            if self._slots[slot.address] is slot:
                self._data[slot.address * size : (slot.address + 1) * size] = data
            return
        for i in range(slot.width):
            address = slot.address + i
            if self._slots[address] is slot:
                self._data[address * size : (address + 1) * size] = data[i * size : (i + 1) * size]

    def place_of(self, slot: Slot) -> tuple[bytearray, int, int] | None:
        """(bytes, start, end) of a slot that has all its addresses to itself."""
        addresses = range(slot.address, slot.address + slot.width)
        if any(self._slots[address] is not slot for address in addresses):
            return None
        return self._data, addresses.start * self._grain, addresses.stop * self._grain

    def readable(self, address: int, count: int) -> bool:
        """Whether the panel answers a read of these addresses."""
        found = self._known.get((address, count))
        if found is None:
            wanted = self._readable[address : address + count]
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            found = self._known[address, count] = len(wanted) == count and all(wanted)
        return found

    def read(self, address: int, count: int) -> bytes:
        """The bytes at readable addresses."""
        return bytes(self._data[address * self._grain : (address + count) * self._grain])

    def copy(self) -> bytes:
        """All bytes from address 0 on."""
        return bytes(self._data)

    def accepts(self, address: int, count: int) -> bool:
        """Whether the panel takes a write to these addresses: each writable, each point whole."""
        for at in range(address, address + count):
            slot = self._slots.get(at)
            if slot is None or not slot.writable:
                return False
            if slot.address < address or slot.address + slot.width > address + count:
                return False
        return True

    def write(self, address: int, data: bytes) -> Iterator[tuple[Slot, list[Stimulus]]]:
        """Write bytes to addresses that the table accepts: each slot, and what that asks."""
        count = len(data) // self._grain
        for slot in dict.fromkeys(self._slots[at] for at in range(address, address + count)):
            start = (slot.address - address) * self._grain
            new = data[start : start + slot.width * self._grain]
            kept, asked = slot.write(self.read(slot.address, slot.width), new)
            self.put(slot, kept)
            yield slot, asked
