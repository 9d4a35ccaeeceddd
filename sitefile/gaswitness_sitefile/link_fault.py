"""Link faults as data: what a virtual panel's link is told to do wrong, to whom and for how long.

Facts only. What each does to bytes is the simulator's affair; how they are written is
`link_fault_text`'s.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any, Final, get_args

SECONDS: Final = "s"


@dataclass(frozen=True, slots=True)
class Delay:
    """So long, in seconds: evenly spread from `low_s` to `high_s`, or `heavy`-tailed.

    A heavy-tailed one is log-normal with median `low_s` and sigma 1 (one in 100 is above ten
    medians), and never longer than `high_s`.
    """

    low_s: float
    high_s: float
    heavy: bool = False

    def __str__(self) -> str:
        if self.heavy:
            return f"about {self.low_s:g}..{self.high_s:g} s"
        spread = "" if self.low_s == self.high_s else f"..{self.high_s:g}"
        return f"{self.low_s:g}{spread} s"


def _number(unit: str, least: float = 0, most: float = 1e6) -> dict[str, Any]:
    """Facts of a number: the unit written behind it ("" where it stands alone), and its bounds."""
    return {"unit": unit, "least": least, "most": most}


def _choice(*words: str) -> dict[str, Any]:
    return {"words": words}


@dataclass(frozen=True, slots=True)
class Silent:
    """No answer comes."""


@dataclass(frozen=True, slots=True)
class Late:
    """The answer comes late: by a fixed time, one between two, or one with a heavy tail."""

    delay: Delay = field(default=Delay(1.0, 1.0), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class Bytewise:
    """The answer comes byte by byte, so far apart."""

    apart: Delay = field(default=Delay(0.005, 0.005), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class Split:
    """The answer comes in pieces cut anywhere, so far apart."""

    pieces: int = field(default=2, metadata=_number("pieces", 2, 256))
    apart: Delay = field(default=Delay(0.05, 0.05), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class Merged:
    """The answer is held back until the next one, and both go out in one piece."""


@dataclass(frozen=True, slots=True)
class Truncated:
    """The end of the frame is missing."""

    count: int = field(default=2, metadata=_number("bytes", 1, 260))


@dataclass(frozen=True, slots=True)
class Longer:
    """The answer carries more than it says; length and CRC of the frame are right."""

    count: int = field(default=2, metadata=_number("bytes", 1, 200))


@dataclass(frozen=True, slots=True)
class Shorter:
    """The answer carries less than it says; length and CRC of the frame are right."""

    count: int = field(default=2, metadata=_number("bytes", 1, 200))


@dataclass(frozen=True, slots=True)
class Flipped:
    """Bits of the frame are flipped on the way, anywhere."""

    count: int = field(default=1, metadata=_number("bits", 1, 3))


@dataclass(frozen=True, slots=True)
class WrongCrc:
    """The CRC is wrong (RTU frames)."""


@dataclass(frozen=True, slots=True)
class Stray:
    """Stray bytes stand before the frame, in the midst of it, or after it."""

    count: int = field(default=1, metadata=_number("bytes", 1, 64))
    where: str = field(default="before", metadata=_choice("before", "between", "after"))


@dataclass(frozen=True, slots=True)
class Echo:
    """The request comes back before its answer, as from an adapter with local echo."""


@dataclass(frozen=True, slots=True)
class WrongUnit:
    """The answer has this unit id, or the one after its own."""

    unit: int | None = field(default=None, metadata=_number("", 0, 255))


@dataclass(frozen=True, slots=True)
class WrongFunction:
    """The answer has this function code, or another reading function's."""

    function: int | None = field(default=None, metadata=_number("", 0, 255))


@dataclass(frozen=True, slots=True)
class WrongTransaction:
    """The answer has this transaction id, or the one after its own (Modbus/TCP frames)."""

    transaction: int | None = field(default=None, metadata=_number("", 0, 0xFFFF))


@dataclass(frozen=True, slots=True)
class WrongProtocol:
    """The header's protocol id is this, not 0 (Modbus/TCP frames)."""

    protocol: int = field(default=1, metadata=_number("", 1, 0xFFFF))


@dataclass(frozen=True, slots=True)
class WrongLength:
    """The header's length field is this, or one too great (Modbus/TCP frames)."""

    length: int | None = field(default=None, metadata=_number("", 0, 0xFFFF))


@dataclass(frozen=True, slots=True)
class Previous:
    """Each request gets the answer of the one before it: as it was, or relabelled as its own.

    Relabelled, it has the request's transaction and unit id.
    """

    how: str = field(default="as-it-was", metadata=_choice("as-it-was", "relabelled"))


@dataclass(frozen=True, slots=True)
class Twice:
    """The answer comes twice, so far apart."""

    apart: Delay = field(default=Delay(0.0, 0.0), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class Exceptional:
    """Every answer is this exception; functionless, it has lost the function it is of."""

    code: int = field(default=4, metadata=_number("", 0, 255))
    how: str = field(default="", metadata=_choice("", "functionless"))


@dataclass(frozen=True, slots=True)
class Busy:
    """Every answer is exception 06, server device busy."""


@dataclass(frozen=True, slots=True)
class Closes:
    """The panel closes the connection: in place of the answer, after it, or in the midst of it."""

    when: str = field(default="instead", metadata=_choice("instead", "after", "midway"))


@dataclass(frozen=True, slots=True)
class Resets:
    """The panel breaks the connection (RST): in place of the answer, after it, or midway."""

    when: str = field(default="instead", metadata=_choice("instead", "after", "midway"))


@dataclass(frozen=True, slots=True)
class HalfOpen:
    """The connection is dead from its next request on, and nobody says so."""


@dataclass(frozen=True, slots=True)
class ConnectionLimit:
    """So many connections at most: one more is refused, or takes the place of the oldest."""

    most: int = field(default=1, metadata=_number("connections", 0, 1000))
    how: str = field(default="refuse", metadata=_choice("refuse", "oldest"))


@dataclass(frozen=True, slots=True)
class IdleLimit:
    """A connection that says nothing for so long is closed."""

    limit: Delay = field(default=Delay(30.0, 30.0), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class ReadLimit:
    """A read of more registers gets this exception, or silence."""

    most: int = field(default=60, metadata=_number("registers", 1, 124))
    code: int = field(default=3, metadata=_number("", 0, 255))
    how: str = field(default="", metadata=_choice("", "silent"))


@dataclass(frozen=True, slots=True)
class NeedsGap:
    """A request that comes sooner than this after the last answer goes unanswered."""

    least: Delay = field(default=Delay(0.1, 0.1), metadata=_number(SECONDS))


@dataclass(frozen=True, slots=True)
class Stale:
    """Reads show the register image as it was when this began."""


@dataclass(frozen=True, slots=True)
class Torn:
    """A value of several registers shows its first from now, the others from before the refresh."""


FaultKind = (
    Silent
    | Late
    | Bytewise
    | Split
    | Merged
    | Truncated
    | Longer
    | Shorter
    | Flipped
    | WrongCrc
    | Stray
    | Echo
    | WrongUnit
    | WrongFunction
    | WrongTransaction
    | WrongProtocol
    | WrongLength
    | Previous
    | Twice
    | Exceptional
    | Busy
    | Closes
    | Resets
    | HalfOpen
    | ConnectionLimit
    | IdleLimit
    | ReadLimit
    | NeedsGap
    | Stale
    | Torn
)

KINDS: Final[Mapping[str, type[FaultKind]]] = MappingProxyType(
    {
        "silent": Silent,
        "late": Late,
        "bytewise": Bytewise,
        "split": Split,
        "merged": Merged,
        "truncated": Truncated,
        "longer": Longer,
        "shorter": Shorter,
        "flipped": Flipped,
        "wrong-crc": WrongCrc,
        "stray": Stray,
        "echo": Echo,
        "wrong-unit": WrongUnit,
        "wrong-function": WrongFunction,
        "wrong-transaction": WrongTransaction,
        "wrong-protocol": WrongProtocol,
        "wrong-length": WrongLength,
        "previous": Previous,
        "twice": Twice,
        "exception": Exceptional,
        "busy": Busy,
        "close": Closes,
        "reset": Resets,
        "half-open": HalfOpen,
        "connection-limit": ConnectionLimit,
        "idle-limit": IdleLimit,
        "read-limit": ReadLimit,
        "needs-gap": NeedsGap,
        "stale": Stale,
        "torn": Torn,
    }
)
NAMES: Final[Mapping[type[FaultKind], str]] = MappingProxyType({k: n for n, k in KINDS.items()})

assert set(get_args(FaultKind)) == set(NAMES)

OF_CONNECTIONS: Final = (ConnectionLimit, IdleLimit)
"""Kinds that act on connections as such: they know no unit, function or share of answers."""


@dataclass(frozen=True, slots=True)
class Scope:
    """Whom a fault meets; None is all. `connection` counts from 1, in the order they were made."""

    unit: int | None = None
    connection: int | None = None
    function: int | None = None


@dataclass(frozen=True, slots=True)
class Lasting:
    """How long and how often. `for_s`: seconds of the run from its begin; `times`: so many answers;
    `percent` of the answers, by lot; `every`: of so many answers, the last alone.
    """

    for_s: float | None = None
    times: int | None = None
    percent: float = 100.0
    every: int = 1


@dataclass(frozen=True, slots=True)
class LinkFault:
    """One fault of a link."""

    kind: FaultKind
    scope: Scope = Scope()
    lasting: Lasting = Lasting()

    @property
    def name(self) -> str:
        """The kind's name, as it is written."""
        return NAMES[type(self.kind)]

    def of_unit(self, unit: int) -> "LinkFault":
        """The same for one unit alone, where it is not for another already."""
        if isinstance(self.kind, OF_CONNECTIONS) or self.scope.unit is not None:
            return self
        return replace(self, scope=replace(self.scope, unit=unit))

    @property
    def does(self) -> str:
        """What it does, in a sentence."""
        return summary(type(self.kind))


def summary(kind: type[FaultKind]) -> str:
    """What the kind does, in a sentence."""
    return " ".join((kind.__doc__ or "").partition("\n\n")[0].split())


def values_of(kind: type[FaultKind]) -> Mapping[str, Mapping[str, Any]]:
    """The kind's parameters by name: `unit`, `least`, `most` of a number, or `words` to choose."""
    return {one.name: one.metadata for one in fields(kind)}
