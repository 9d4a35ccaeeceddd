"""The register image: what Modbus clients see of the panel, made anew at each refresh (rule 2).

Only what changed is made anew. Knows tables and addresses; of Modbus framing it knows nothing.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from gaswitness_simulator.channel import ChannelState
from gaswitness_simulator.encode import Encoder, value_encoder
from gaswitness_simulator.event_log import EventLog
from gaswitness_simulator.show import Shows
from gaswitness_simulator.slot import STORED, Part, Shared, Slot, Whole
from gaswitness_simulator.state import PanelState
from gaswitness_simulator.stimulus import Stimulus
from gaswitness_simulator.table import TableImage
from gaswitness_sitefile.points import NUMERIC, Point, PointType, Table
from gaswitness_sitefile.site import Site


@dataclass(slots=True)
class Mover:
    """A channel whose reading moves, and where it is shown.

    `writers`: (bytes, start, end, encoder) of points alone at their addresses, which are set
    straight away. `others`: those that are made anew as everything else is.
    """

    channel: ChannelState
    writers: list[tuple[bytearray, int, int, Encoder]] = field(default_factory=list)
    others: list[tuple[Table, Slot]] = field(default_factory=list)
    over: bool = False
    under: bool = False


class RegisterImage:
    """Four tables of bytes. `made` is false from power-up until the first refresh after a scan.

    Where two rows claim an address the later one has it, but bits share their register. `before`:
    the tables as they were before the last refresh, where that is kept.
    """

    def __init__(self, site: Site, state: PanelState, log: EventLog | None = None) -> None:
        self.made = False
        self.before: dict[Table, bytes] = {}
        self._keeps_before = False
        self._state = state
        self._shows = Shows(site, state, log)
        self.tables = {table: TableImage(table, site.map.gaps_of(table)) for table in Table}
        self._slots_of: defaultdict[str, list[tuple[Table, Slot]]] = defaultdict(list)
        self._beating: list[tuple[Table, Slot]] = []
        self._beats = -1
        self._dirty: dict[Slot, Table] = {}
        self._movers = {tag: Mover(channel) for tag, channel in state.channels.items()}
        self._restless: dict[str, Mover] = {}
        self._scan = -2
        self._alone: list[tuple[Point, Slot]] = []
        for point in site.points:
            self._place(point)
        for table in self.tables.values():
            table.settle()
            for slot in table.slots():
                table.put(slot, slot.render())
        for point, slot in self._alone:
            self._follow_reading(point, slot)
        self.stir_all()

    def stir(self, *subjects: str) -> None:
        """Say that what is shown of the subjects may have changed."""
        for subject in subjects:
            for table, slot in self._slots_of[subject]:
                self._dirty[slot] = table
            if subject in self._state.channels:
                self._restless[subject] = self._movers[subject]

    def stir_all(self) -> None:
        self.stir(*self._slots_of, *self._state.channels)

    def forget(self) -> None:
        """Have no image: the power is off."""
        self.made = False

    def copies(self) -> dict[Table, bytes]:
        """The bytes of all tables, as they are."""
        return {table: image.copy() for table, image in self.tables.items()}

    def keep_before(self, *, on: bool) -> None:
        """Keep, or no longer, what the image was before each refresh."""
        self._keeps_before = on
        self.before = self.copies() if on else {}

    def refresh(self, at_s: float) -> None:
        """Make the image of `at_s` from the state as it is."""
        if self._keeps_before:
            self.before = self.copies()
        scan = self._state.scanning.now
        if self._scan != scan or not self.made:
            self._scan = scan
            self._refresh_readings(scan)
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

    def _refresh_readings(self, scan: int) -> None:
        """Show the readings of the last scan, of those channels where they may have changed."""
        resting = []
        for tag, mover in self._restless.items():
            channel = mover.channel
            if channel.kept is not None:
                resting.append(tag)
                continue
            measured = channel.measured(scan)
            over, under = measured > channel.top, measured < channel.bottom
            reading = channel.top if over else channel.bottom if under else measured
            if not channel.fault:
                for data, start, end, encode in mover.writers:
                    data[start:end] = encode(reading)
                for table, slot in mover.others:
                    self._dirty[slot] = table
            if over is not mover.over or under is not mover.under:
                mover.over, mover.under = over, under
                for table, slot in self._slots_of[tag]:
                    self._dirty[slot] = table
            if channel.rests(channel.scanning.at_s(scan)):
                resting.append(tag)
        for tag in resting:
            del self._restless[tag]

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
            self._alone.append((point, slot))
        image.place(slot)
        for subject in self._subjects(point):
            if subject in STORED:
                continue
            if subject == "heartbeat":
                self._beating.append((point.table, slot))
            self._slots_of[subject].append((point.table, slot))

    def _follow_reading(self, point: Point, slot: Slot) -> None:
        """Let the point move with its channel's reading, where it shows that."""
        if point.what not in ("reading", "current") or point.type not in NUMERIC:
            return
        place = self.tables[point.table].place_of(slot)
        mover = self._movers[point.subject]
        if place is None or slot.writable or point.what == "current":
            mover.others.append((point.table, slot))
        else:
            mover.writers.append((*place, value_encoder(point)))

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
