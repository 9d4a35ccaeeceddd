"""The panel's own log of what happened (rule 30).

Says what changed between two scans; knows no registers.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from gaswitness_simulator.cause import Reader
from gaswitness_simulator.state import PanelState
from gaswitness_sitefile.event_log import CODE_OF, FILE_ENTRY, FILE_HEAD, subject_codes
from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS
from gaswitness_sitefile.mode_facts import CHANNEL_MODES, FORCED
from gaswitness_sitefile.site import Site

Watched = list[tuple[str, Reader]]
OUTLASTS_POWER: Final = "inhibit"
TENTHS: Final = 10


@dataclass(frozen=True, slots=True)
class Event:
    """`at_s`: of the scan that found it, in seconds of the panel. `what`: one of EVENTS."""

    at_s: float
    subject: str
    what: str


class EventLog:
    """The newest `entries` events; `count`: how many there were in all. `heard` gets each one."""

    def __init__(
        self,
        site: Site,
        state: PanelState,
        entries: int,
        heard: Callable[[Event], None] | None = None,
    ) -> None:
        self.count = 0
        self._heard = heard
        self._kept: deque[Event] = deque(maxlen=entries)
        self._subjects = subject_codes(
            [one.tag for one in site.channels],
            [one.tag for one in site.inputs],
            [one.tag for one in site.outputs],
        )
        self._watched = dict(_watched(site, state))
        self._order = {subject: at for at, subject in enumerate(self._watched)}
        self._last = {subject: [False] * len(facts) for subject, facts in self._watched.items()}
        self._touched: set[str] = set()

    def touch(self, *subjects: str) -> None:
        """Say that facts of these may have changed."""
        self._touched.update(subjects)

    def note(self, at_s: float, subject: str, what: str) -> None:
        """Something that happened and is no fact."""
        event = Event(at_s, subject, what)
        self.count += 1
        self._kept.appendleft(event)
        if self._heard is not None:
            self._heard(event)

    def take(self, at_s: float) -> bool:
        """Note what changed of all that was touched. Says whether anything did."""
        before = self.count
        for subject in sorted(self._touched & self._order.keys(), key=self._order.__getitem__):
            last = self._last[subject]
            for index, (what, reader) in enumerate(self._watched[subject]):
                on = reader()
                if on != last[index]:
                    last[index] = on
                    self.note(at_s, subject, f"{what} {'on' if on else 'off'}")
        self._touched.clear()
        return self.count != before

    def power(self, at_s: float, *, on: bool) -> None:
        """The power went or came: what it took is forgotten, and not told fact by fact."""
        self.note(at_s, "panel", "power on" if on else "power off")
        for subject, facts in self._watched.items():
            kept = zip(self._last[subject], facts, strict=True)
            self._last[subject] = [was and what == OUTLASTS_POWER for was, (what, _) in kept]
        self._touched.update(self._order)

    def newest(self, number: int) -> Event | None:
        """Entry `number`, 1 the newest; None where there is none yet."""
        return self._kept[number - 1] if number <= len(self._kept) else None

    def subject_code(self, event: Event) -> int:
        return self._subjects[event.subject]

    def words(self, size: int) -> bytes:
        """The log as a file of so many 16-bit words."""
        held = min(len(self._kept), (size - FILE_HEAD) // FILE_ENTRY)
        words = [self.count % 0x10000, held]
        for number in range(held):
            event = self._kept[number]
            tenths = round(event.at_s * TENTHS) % 0x1_0000_0000
            code = CODE_OF[event.what]
            words += [code, self.subject_code(event), tenths >> 16, tenths & 0xFFFF]
        return b"".join(word.to_bytes(2, "big") for word in words).ljust(2 * size, b"\0")


def _watched(site: Site, state: PanelState) -> Iterator[tuple[str, Watched]]:
    """The facts of each subject that the log tells, in the order in which a scan finds them."""
    for channel in site.channels:
        exposures = () if channel.exposure is None else channel.exposure.limits
        bus = () if site.bus is None or site.bus.scan is None else BUS_FLAGS
        facts = ("fault", *bus, "inhibit", *CHANNEL_MODES, *channel.levels, *exposures)
        yield channel.tag, [(what, state.shown(f"{channel.tag}.{what}")) for what in facts]
    for one in site.inputs:
        yield one.tag, [("active", state.shown(f"{one.tag}.active"))]
    for output in site.outputs:
        facts = (FORCED, "active", *(("muted",) if output.mutable else ()))
        yield output.tag, [(what, state.shown(f"{output.tag}.{what}")) for what in facts]
    life = () if state.living is None else LIFE_FLAGS
    own = [(what, state.shown(f"panel.{what}")) for what in life]
    yield (
        "panel",
        [("warm_up", lambda: state.warm_up), ("fault", lambda: state.own_fault), *own],
    )
