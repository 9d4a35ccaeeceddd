"""From samples to signals: what the samples of a point let one know, and when.

A sample asked at `s` and answered at `r` shows what the panel held at some instant from
`s - refresh` to `r`. Equal samples whose span is shorter than the panel's shortest dwell mean that
it held between them; elsewhere between samples nothing is known.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gaswitness_probe.history import Run, Seen, Value
from gaswitness_probe.signal import (
    FALSE,
    TRUE,
    UNKNOWN,
    Signal,
    Truth,
    Window,
    painted,
)


@dataclass(frozen=True, slots=True)
class Eyesight:
    """How sharply the map shows the panel: its refresh and its shortest dwell, in seconds."""

    refresh_s: float
    dwell_s: float

    def instant(self, seen: Seen) -> Window:
        """Where the instant lies at which the panel held what the sample shows."""
        return Window(seen.asked_s - self.refresh_s, seen.answered_s)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Samples in a row that say the same, near enough to each other to have held between them.

    `first` and `last`: where the instants of the first and the last sample lie.
    """

    value: Truth
    first: Window
    last: Window

    @property
    def known(self) -> Window | None:
        """Where the value is known to have held throughout; None for a single sample."""
        if self.first.high < self.last.low:
            return Window(self.first.high, self.last.low)
        return None


Meaning = Callable[[Value], Truth]


def stretches(runs: Sequence[Run], meaning: Meaning, eyesight: Eyesight) -> list[Stretch]:
    """The runs as stretches of what they mean."""
    found: list[Stretch] = []
    for run in runs:
        value = meaning(run.value)
        first, last = eyesight.instant(run.first), eyesight.instant(run.last)
        before = found[-1] if found else None
        if (
            before is not None
            and before.value is value
            and first.high - before.last.low < eyesight.dwell_s
        ):
            found[-1] = Stretch(value, before.first, last)
        else:
            found.append(Stretch(value, first, last))
    return found


def signal_of(parts: Sequence[Stretch]) -> Signal:
    """What the stretches let one know."""
    known = []
    for part in parts:
        held = part.known
        if held is not None and part.value is not UNKNOWN:
            known.append((held.low, held.high, part.value))
    return painted(known)


@dataclass(frozen=True, slots=True)
class Change:
    """A change seen between two stretches: it fell somewhere within `when`."""

    when: Window
    to: Truth


def changes(parts: Sequence[Stretch]) -> list[Change]:
    """Every change from known to the opposite, with the interval in which it fell.

    Unknown stretches in between widen the interval.
    """
    found = []
    before: Stretch | None = None
    for part in parts:
        if part.value is UNKNOWN:
            continue
        if before is not None and before.value is not part.value:
            found.append(Change(Window(before.last.low, part.first.high), part.value))
        before = part
    return found


def clash(part: Stretch, expected: Signal) -> float | None:
    """The first instant at which the stretch surely contradicts the expectation, or None.

    A sample contradicts it only where it is certain over all instants that the sample may speak
    of; between equal samples any instant will do, since the value held there.
    """
    if part.value is UNKNOWN:
        return None
    opposite = FALSE if part.value is TRUE else TRUE
    for sample in (part.first, part.last):
        if expected.throughout(opposite, sample.low, sample.high):
            first: float | None = sample.low
            break
    else:
        first = None
    held = part.known
    if held is not None:
        for piece in expected.within(*held):
            if piece.value is opposite:
                return piece.start if first is None else min(first, piece.start)
    return first
