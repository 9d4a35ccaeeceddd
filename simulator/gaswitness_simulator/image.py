"""The register image: what Modbus clients see of the panel, made anew at each refresh (rule 2).

Only what changed is made anew. Knows tables and addresses; of Modbus framing it knows nothing.
"""

from collections import defaultdict
from collections.abc import Iterable

from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.show import Shows
from gaswitness_simulator.slot import STORED, Part, Shared, Slot, Whole
from gaswitness_simulator.state import PanelState
from gaswitness_simulator.stimulus import Stimulus
from gaswitness_simulator.table import TableImage
from gaswitness_sitefile.points import Point, PointType, Table
from gaswitness_sitefile.site import Site


class RegisterImage:
    """Four tables of bytes. `made` is false from power-up until the first refresh after a scan.

    Where two rows claim an address the later one has it, but bits share their register.
    """

    def __init__(self, site: Site, state: PanelState) -> None:
        self.made = False
        self._state = state
        self._shows = Shows(site, state)
        self.tables = {table: TableImage(table, site.map.gaps_of(table)) for table in Table}
        self._slots_of: defaultdict[str, list[tuple[Table, Slot]]] = defaultdict(list)
        self._beating: list[tuple[Table, Slot]] = []
        self._beats = -1
        self._dirty: dict[Slot, Table] = {}
        self._restless: dict[str, tuple[float, bool, bool] | None] = {}
        self._readings: defaultdict[str, list[tuple[Table, Slot]]] = defaultdict(list)
        self._scan = -2
        for point in site.points:
            self._place(point)
        for table in self.tables.values():
            table.settle()
            for slot in table.slots():
                table.put(slot, slot.render())
        self.stir_all()

    def stir(self, *subjects: str) -> None:
        """Say that what is shown of the subjects may have changed."""
        for subject in subjects:
            for table, slot in self._slots_of[subject]:
                self._dirty[slot] = table
            if subject in self._state.channels:
                self._restless[subject] = None

    def stir_all(self) -> None:
        self.stir(*self._slots_of, *self._state.channels)

    def forget(self) -> None:
        """Have no image: the power is off."""
        self.made = False

    def refresh(self, at_s: float) -> None:
        """Make the image of `at_s` from the state as it is."""
        scan = self._state.scanning.now
        if self._scan != scan or not self.made:
            self._scan = scan
            for tag in tuple(self._restless):
                self._refresh_reading(tag)
        self._beat(at_s)
        for slot, table in tuple(self._dirty.items()):
            if slot.written == scan:
                continue
            slot.written = None
            self.tables[table].put(slot, slot.render())
            del self._dirty[slot]
        self.made = True

    def write(self, table: Table, address: int, data: bytes) -> list[Stimulus]:
        """Take what a client writes, where the table `accepts` it. Says what it asks of the panel.

        What was written shows until the next scan has made up its mind.
        """
        asked: list[Stimulus] = []
        for slot, stimuli in self.tables[table].write(address, data):
            asked += stimuli
            if not slot.stored:
                slot.written = self._state.scanning.now
                self._dirty[slot] = table
        return asked

    def _refresh_reading(self, tag: str) -> None:
        """Show the channel's reading of the last scan, where it is another than before."""
        channel = self._state.channels[tag]
        measured = channel.measured(self._scan)
        seen = (measured, measured > channel.top, measured < channel.bottom)
        before = self._restless[tag]
        if seen != before:
            for table, slot in self._readings[tag]:
                self._dirty[slot] = table
            if before is not None and seen[1:] != before[1:]:
                for table, slot in self._slots_of[tag]:
                    self._dirty[slot] = table
            self._restless[tag] = seen
        if self._rests(channel):
            del self._restless[tag]

    def _rests(self, channel: ChannelState) -> bool:
        """Whether the reading stays as it is until something is done to the panel."""
        if channel.fault or channel.kept is not None:
            return True
        at_s = channel.scanning.at_s(self._scan)
        return not channel.facts.noise and at_s >= channel.air.settled_s

    def _beat(self, at_s: float) -> None:
        beats = self._shows.beats(at_s)
        if beats != self._beats:
            self._beats = beats
            for table, slot in self._beating:
                self._dirty[slot] = table

    def _place(self, point: Point) -> None:
        image = self.tables[point.table]
        if not point.table.of_bits and point.type in (PointType.BIT_IN_WORD, PointType.BIT_FIELD):
            slot: Slot = self._shared(image, point)
        else:
            slot = Whole(point, self._shows.renderer(point))
        image.place(slot)
        for subject in self._subjects(point):
            if subject in STORED:
                continue
            if subject == "heartbeat":
                self._beating.append((point.table, slot))
            elif point.what == "reading":
                self._readings[subject].append((point.table, slot))
            self._slots_of[subject].append((point.table, slot))

    def _shared(self, image: TableImage, point: Point) -> Shared:
        there = image.slot_at(point.address)
        slot = there if isinstance(there, Shared) else Shared(point.address)
        swap = 8 if point.order.bytes_swapped else 0
        for bit, shows in point.facts():
            number = (point.bit or 0) if bit is None else bit
            part = Part(number ^ swap, shows, point.access, self._shows.flag(point, shows))
            slot.add(part)
        return slot

    @staticmethod
    def _subjects(point: Point) -> Iterable[str]:
        return {shows.partition(".")[0] for _, shows in point.facts()}
