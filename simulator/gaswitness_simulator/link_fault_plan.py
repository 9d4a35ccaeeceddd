"""The link faults that act now, and what becomes of each finished answer under them.

Pure: it sends nothing and waits for nothing; who serves the link asks it. The same seed, faults and
requests give the same bytes.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from random import Random
from types import MappingProxyType
from typing import Final

from gaswitness_simulator.link_fault_answer import ANSWERS, Asked
from gaswitness_simulator.link_fault_delivery import DELIVERIES, Delivery
from gaswitness_simulator.link_fault_frame import Frame, asked_pdu, taken_apart
from gaswitness_simulator.link_fault_image import OldImages
from gaswitness_simulator.link_fault_noise import SPOILS
from gaswitness_simulator.outgoing import Admission, Finished, Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.link_fault import (
    OF_CONNECTIONS,
    Closes,
    ConnectionLimit,
    Echo,
    FaultKind,
    HalfOpen,
    IdleLimit,
    LinkFault,
    Merged,
    NeedsGap,
    ReadLimit,
    Resets,
    Stale,
    Torn,
    WrongCrc,
    WrongLength,
    WrongProtocol,
    WrongTransaction,
)

ONLY_IN: Final = MappingProxyType(
    {WrongCrc: "rtu", WrongTransaction: "mbap", WrongProtocol: "mbap", WrongLength: "mbap"}
)
"""Kinds that frames of one framing alone can have."""

ON_SILENCE: Final = (Echo, Closes, Resets, HalfOpen)
"""Kinds that act where the panel says nothing, too."""

REGISTER_READS: Final = frozenset({0x03, 0x04, 0x17})


@dataclass(slots=True)
class _Acting:
    """A fault under way: since when, how many answers it has met, and how many more it may."""

    fault: LinkFault
    since_s: float
    draw: Random
    old: OldImages
    met: int = 0
    left: int | None = None

    def over(self, at_s: float) -> bool:
        for_s = self.fault.lasting.for_s
        return self.left == 0 or (for_s is not None and at_s >= self.since_s + for_s)

    def strikes(self) -> bool:
        """Whether it acts on this answer, which is one of those that it may act on."""
        lasting = self.fault.lasting
        self.met += 1
        if self.met % lasting.every:
            return False
        if lasting.percent < 100 and self.draw.random() * 100 >= lasting.percent:
            return False
        if self.left is not None:
            self.left -= 1
        return True


@dataclass(slots=True)
class _Line:
    """What is remembered of a connection or line. Times are in seconds of the link."""

    delivery: Delivery = field(default_factory=Delivery)
    last: bytes | None = None
    free_s: dict[int, float] = field(default_factory=dict)


class FaultPlan:
    """Link faults begun and cleared in the course of a run; the `Shaper` of every link.

    `panels` by unit id: those whose register images may be stale or torn. `speed`: seconds of the
    run in one of the link; delays, gaps and idle times are the link's, durations the run's. `now`
    gives the time of the run; without it, the time of the last answer counts. `at_rest`: every
    answer goes out as it is.
    """

    def __init__(
        self,
        seed: int = 0,
        *,
        panels: Mapping[int, VirtualPanel] = MappingProxyType({}),
        speed: float = 1.0,
        now: Callable[[], float] | None = None,
    ) -> None:
        self.at_rest = True
        self._seed = seed
        self._panels = panels
        self._speed = speed
        self._now = now
        self._acting: list[_Acting] = []
        self._begun = 0
        self._lines: dict[int, _Line] = {}
        self._answered_s: dict[int, float] = {}
        self._last_s = 0.0
        self._settled_s = 0.0

    def begin(self, fault: LinkFault, at_s: float) -> None:
        """Let the fault act from `at_s` on."""
        self.at_rest = False
        self._last_s = max(self._last_s, at_s)
        old = OldImages(self._panels)
        if isinstance(fault.kind, Stale):
            old.take(at_s)
        draw = Random(f"{self._seed}/{self._begun}")
        self._begun += 1
        self._acting.append(_Acting(fault, at_s, draw, old, left=fault.lasting.times))
        self._watch_images()

    def clear(self, kind: type[FaultKind] | None = None) -> int:
        """End all faults, or those of one kind; how many those were. Dead connections live again,
        and what is held back goes out before the next answer."""
        kept = [one for one in self._acting if kind and not isinstance(one.fault.kind, kind)]
        ended = len(self._acting) - len(kept)
        self._acting = kept
        if kind in (None, HalfOpen):
            for line in self._lines.values():
                line.delivery.dead = False
        self._watch_images()
        return ended

    def faults(self) -> tuple[LinkFault, ...]:
        """Those that act now, in the order in which they began."""
        self._drop_over(self._present_s())
        return tuple(one.fault for one in self._acting)

    @property
    def idle_limit_s(self) -> float | None:
        """After how many seconds without a byte from it a connection is closed; None is never."""
        kinds = [one.kind for one in self.faults()]
        return min(
            (kind.limit.low_s for kind in kinds if isinstance(kind, IdleLimit)), default=None
        )

    def connecting(self, connection: int, others: int) -> Admission:  # noqa: ARG002  the Protocol's
        """A connection comes while `others` are open."""
        for fault in self.faults():
            if isinstance(fault.kind, ConnectionLimit) and others >= fault.kind.most:
                oldest = fault.kind.how == "oldest" and others > 0
                return Admission.DROP_OLDEST if oldest else Admission.REFUSE
        return Admission.ACCEPT

    def gone(self, connection: int) -> None:
        """The connection is closed."""
        self._lines.pop(connection, None)

    def shape(self, finished: Finished) -> list[Outgoing]:
        """What goes out for the answer, in order."""
        line = self._lines.setdefault(finished.connection, _Line())
        previous, line.last = line.last, finished.response or line.last
        link_s = finished.at_s / self._speed
        self._last_s = max(self._last_s, finished.at_s)
        self.at_rest = self._is_at_rest(link_s)
        if self.at_rest:
            return [] if finished.response is None else [Outgoing(0.0, finished.response)]
        sent = self._shaped(finished, line, previous, link_s)
        self._drop_over(finished.at_s)
        return sent

    def _is_at_rest(self, link_s: float) -> bool:
        if self._acting or link_s < self._settled_s:
            return False
        deliveries = (line.delivery for line in self._lines.values())
        return not any(one.dead or one.held for one in deliveries)

    def _shaped(
        self, finished: Finished, line: _Line, previous: bytes | None, link_s: float
    ) -> list[Outgoing]:
        if line.delivery.dead:
            return []
        asked = asked_pdu(finished)
        self._drop_over(finished.at_s)
        met = [one for one in self._acting if self._meets(one, finished, asked, link_s)]
        striking = [one for one in met if one.strikes()]
        if striking or line.delivery.held:
            data = _spoilt(self._answered(finished, asked, previous, striking), striking)
            pieces = [] if data is None else [Outgoing(0.0, data)]
            pieces = _delivered(pieces, finished.request, line, striking)
        else:
            pieces = [] if finished.response is None else [Outgoing(0.0, finished.response)]
        sent = self._in_order(pieces, finished, line, link_s)
        if sent:
            self._answered_s[finished.unit] = link_s + sent[-1].delay_s
            self._settled_s = max(self._settled_s, link_s + sent[-1].delay_s)
        return sent

    def _meets(self, one: _Acting, finished: Finished, asked: bytes, link_s: float) -> bool:
        """Whether the fault may act on the answer at all."""
        kind, scope = one.fault.kind, one.fault.scope
        if isinstance(kind, OF_CONNECTIONS):
            return False
        if finished.response is None and not isinstance(kind, ON_SILENCE):
            return False
        if ONLY_IN.get(type(kind), finished.framing) != finished.framing:
            return False
        if scope.unit not in (None, finished.unit):
            return False
        if scope.connection not in (None, finished.connection):
            return False
        if scope.function is not None and asked[:1] != bytes((scope.function,)):
            return False
        if isinstance(kind, ReadLimit):
            return asked[:1] in _FUNCTIONS and int.from_bytes(asked[3:5], "big") > kind.most
        if isinstance(kind, NeedsGap):
            return link_s - self._answered_s.get(finished.unit, -1e9) < kind.least.low_s
        return True

    def _answered(
        self, finished: Finished, asked: bytes, previous: bytes | None, striking: list[_Acting]
    ) -> bytes | None:
        """The frame that the panel sends; None is silence."""
        response = finished.response
        frame = None if response is None else taken_apart(finished.framing, response)
        if frame is None:
            return response
        before = None if previous is None else taken_apart(finished.framing, previous)
        true, context = frame, Asked(asked, before)
        for one in striking:
            if isinstance(one.fault.kind, Stale):
                frame = replace(frame, pdu=one.old.stale(finished.unit, asked, frame.pdu))
            elif isinstance(one.fault.kind, Torn):
                frame = replace(frame, pdu=one.old.torn(finished.unit, asked, frame.pdu))
        made: Frame | None = frame
        for kind, act in ANSWERS.items():
            for one in striking:
                if made is not None and isinstance(one.fault.kind, kind):
                    made = act(one.fault.kind, made, context, one.draw)
        if made is true:
            return response
        return None if made is None else made.encoded()

    def _in_order(
        self, pieces: list[Outgoing], finished: Finished, line: _Line, link_s: float
    ) -> list[Outgoing]:
        """Nothing overtakes what went out before on the connection; nor, on a line, of the unit."""
        key = finished.unit if finished.framing == "rtu" else -1
        free_s = line.free_s.get(key, link_s)
        waits_s = max(0.0, free_s - link_s - pieces[0].delay_s) if pieces else 0.0
        sent = []
        for one in pieces:
            free_s = max(free_s, link_s + waits_s + one.delay_s)
            delay_s = max(0.0, free_s - link_s)
            sent.append(one if delay_s == one.delay_s else replace(one, delay_s=delay_s))
        line.free_s[key] = free_s
        return sent

    def _drop_over(self, at_s: float) -> None:
        left = [one for one in self._acting if not one.over(at_s)]
        if len(left) < len(self._acting):
            self._acting = left
            self._watch_images()

    def _present_s(self) -> float:
        return self._last_s if self._now is None else self._now()

    def _watch_images(self) -> None:
        torn = any(isinstance(one.fault.kind, Torn) for one in self._acting)
        for panel in self._panels.values():
            panel.image.keep_before(on=torn)


_FUNCTIONS: Final = frozenset(bytes((function,)) for function in REGISTER_READS)


def _spoilt(data: bytes | None, striking: list[_Acting]) -> bytes | None:
    if not data:
        return data
    for kind, spoil in SPOILS.items():
        for one in striking:
            if isinstance(one.fault.kind, kind):
                data = spoil(one.fault.kind, data, one.draw)
    return data


def _delivered(
    pieces: list[Outgoing], request: bytes, line: _Line, striking: list[_Acting]
) -> list[Outgoing]:
    line.delivery.request = request
    merging = False
    for kind, deliver in DELIVERIES.items():
        for one in striking:
            if isinstance(one.fault.kind, kind):
                merging = merging or kind is Merged
                pieces = deliver(one.fault.kind, pieces, line.delivery, one.draw)
    if line.delivery.held and not merging:
        held, line.delivery.held = line.delivery.held, b""
        pieces = [Outgoing(0.0, held), *pieces]
    return pieces
