"""Link faults of what the panel's register image holds: answers told from an old image, and values
of several registers that are half old. What the image is made from is not known here.
"""

from collections.abc import Mapping
from typing import Final

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.points import NUMERIC, Table

TABLE_READ: Final = {
    0x01: Table.COIL,
    0x02: Table.DISCRETE_INPUT,
    0x03: Table.HOLDING,
    0x04: Table.INPUT,
    0x17: Table.HOLDING,
}
Images = Mapping[Table, bytes]


class OldImages:
    """The images of panels as they were, by unit id."""

    def __init__(self, panels: Mapping[int, VirtualPanel]) -> None:
        self._panels = panels
        self._taken: dict[int, Images] = {}
        self._later: dict[int, dict[Table, frozenset[int]]] = {}

    def take(self, at_s: float) -> None:
        """Keep the images of `at_s`; of panels that have none yet, the first that is read."""
        self._taken.clear()
        for unit, panel in self._panels.items():
            panel.advance(at_s)
            if panel.image.made:
                self._taken[unit] = panel.image.copies()

    def stale(self, unit: int, asked: bytes, answered: bytes) -> bytes:
        """The answer's PDU as of the image that was kept."""
        panel = self._panel(unit)
        if panel is None or not _is_read(asked, answered):
            return answered
        image = self._taken.setdefault(unit, panel.image.copies())
        return answered[:2] + _read(image[TABLE_READ[asked[0]]], asked)

    def torn(self, unit: int, asked: bytes, answered: bytes) -> bytes:
        """The answer's PDU, in values of several registers all but the first from before."""
        panel = self._panel(unit)
        if panel is None or not _is_read(asked, answered) or TABLE_READ[asked[0]].of_bits:
            return answered
        table = TABLE_READ[asked[0]]
        before = panel.image.before.get(table)
        if before is None:
            return answered
        old, new = _read(before, asked), bytearray(answered[2:])
        first = int.from_bytes(asked[1:3], "big")
        for address in self._later_of(unit, panel)[table]:
            at = 2 * (address - first)
            if 0 <= at < len(new):
                new[at : at + 2] = old[at : at + 2]
        return answered[:2] + bytes(new)

    def _panel(self, unit: int) -> VirtualPanel | None:
        found = self._panels.get(unit)
        if found is None and unit in (0, 255):
            return next(iter(self._panels.values()), None)
        return found

    def _later_of(self, unit: int, panel: VirtualPanel) -> dict[Table, frozenset[int]]:
        """By table, the addresses of numbers that are not their first."""
        if unit not in self._later:
            wide = [one for one in panel.site.points if one.type in NUMERIC and one.width > 1]
            self._later[unit] = {
                table: frozenset(
                    address
                    for one in wide
                    if one.table is table
                    for address in range(one.address + 1, one.address + one.width)
                )
                for table in Table
            }
        return self._later[unit]


def _is_read(asked: bytes, answered: bytes) -> bool:
    return len(asked) >= 5 and asked[0] in TABLE_READ and answered[:1] == asked[:1]


def _read(data: bytes, asked: bytes) -> bytes:
    """The data bytes of the answer to a read, from a copy of the table."""
    first, count = int.from_bytes(asked[1:3], "big"), int.from_bytes(asked[3:5], "big")
    if not TABLE_READ[asked[0]].of_bits:
        return data[2 * first : 2 * (first + count)]
    bits = sum((on & 1) << at for at, on in enumerate(data[first : first + count]))
    return bits.to_bytes((count + 7) // 8, "little")
