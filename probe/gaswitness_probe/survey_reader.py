"""How a survey asks: each question again, announced and counted, where nothing usable came back,
with control reads between, so that loss, silence at one address and a dead link are told apart."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import BUSY_EXCEPTIONS, LOSSES, Deviation, spaced
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.frames import read_request
from gaswitness_sitefile.points import Table

TRIES: Final = 3
MALFORMED_TRIES: Final = 8
"""While each reply breaks the protocol: a link that damages one in five would else, somewhere in a
long points list, damage as many as TRIES in a row, and the panel would be blamed."""

BUSY_WAITS_S: Final = (0.5, 1.0, 2.0, 4.0)
"""A good panel may be busy for a while, after start-up for instance."""

DEAD_BEFORE_GIVING_UP: Final = 2
"""Questions in a row, each asked as often as it may be, with nothing usable at all between."""

Announce = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one question: the exchange that counts, and those that had to be repeated.

    `exchange` is None where the link was given up before. `controls`: (answered, asked) control
    reads between the repeats.
    """

    exchange: Exchange | None
    spoilt: tuple[Exchange, ...] = ()
    controls: tuple[int, int] = (0, 0)
    given_up: str = ""

    @property
    def ok(self) -> bool:
        """Whether the panel gave what was asked."""
        return self.exchange is not None and self.exchange.ok

    @property
    def payload(self) -> bytes:
        """The data bytes of a good answer to a read."""
        if self.exchange is None:
            raise ValueError("the link was given up")
        return self.exchange.payload

    @property
    def refused(self) -> int | None:
        """The exception code with which the panel refused; None where it did not, or was busy."""
        code = None if self.exchange is None else self.exchange.exception_code
        return None if code in BUSY_EXCEPTIONS else code

    @property
    def broken(self) -> bool:
        """Whether every try got a reply that breaks the protocol."""
        return not self.ok and bool(self.spoilt) and all(_malformed(e) for e in self.spoilt)

    @property
    def lost(self) -> bool:
        """Whether nothing can be concluded: silence, loss, a busy panel, or a mixture."""
        return not self.ok and self.refused is None and not self.broken

    @property
    def at_s(self) -> float | None:
        """When the answer was there."""
        return None if self.exchange is None else self.exchange.received_s

    @property
    def frames(self) -> str:
        """The frames in hex, for people."""
        if self.exchange is None:
            return ""
        sent = spaced(self.exchange.request) or "nothing sent"
        return f"sent {sent}, received {spaced(self.exchange.response) or 'nothing'}"

    @property
    def words(self) -> str:
        """What came of it, for people."""
        if self.exchange is None:
            return f"not asked: {self.given_up}"
        if self.ok or self.refused is not None:
            return self.exchange.words
        answered, asked = self.controls
        text = f"{len(self.spoilt)} of {len(self.spoilt)} tries failed, last: {self.exchange.words}"
        if answered and self.exchange.problem is not None:
            text += f"; a control read between was answered {answered} of {asked} times"
        return text


def _malformed(exchange: Exchange) -> bool:
    return exchange.problem is not None and exchange.problem.deviation not in LOSSES


class Reader:
    """Asks through `client` on behalf of a survey."""

    def __init__(self, client: Client, clock: Clock, announce: Announce) -> None:
        self.clock = clock
        self.repeats = 0
        self.given_up = ""
        self._client = client
        self._announce = announce
        self._control = b""
        self._dead = self._dead_tries = 0
        self._busy_waits = list(BUSY_WAITS_S)

    async def read(self, table: Table, address: int, count: int) -> Answer:
        """Read `count` addresses of the table from `address` on."""
        what = f"{count} x {table.value} from {address}"
        return await self.ask(read_request(table, address, count), what, may_be_control=True)

    async def ask(self, pdu: bytes, what: str, *, may_be_control: bool = False) -> Answer:
        """Put one question, up to TRIES times while nothing usable comes back."""
        spoilt: list[Exchange] = []
        answered = asked = 0
        while not self.given_up:
            exchange = await self._once(pdu)
            if exchange.problem is None and exchange.exception_code not in BUSY_EXCEPTIONS:
                self._dead = self._dead_tries = 0
                if may_be_control and exchange.ok:
                    self._control = pdu
                return Answer(exchange, tuple(spoilt), (answered, asked))
            spoilt.append(exchange)
            if self._control and _silent(exchange):
                asked += 1
                answered += (await self._once(self._control)).ok
            if not await self._again(exchange, spoilt, what):
                self._take_note(exchange, len(spoilt), answered)
                return Answer(exchange, tuple(spoilt), (answered, asked))
        return Answer(None, given_up=self.given_up)

    async def _once(self, pdu: bytes) -> Exchange:
        if not self._client.connected:
            await self.clock.sleep_until(self._client.free_s)
        return await self._client.ask(pdu)

    async def _again(self, exchange: Exchange, spoilt: list[Exchange], what: str) -> bool:
        tried = len(spoilt)
        tries = MALFORMED_TRIES if all(map(_malformed, spoilt)) else TRIES
        if exchange.exception_code is not None:
            if not self._busy_waits:
                return False
            wait_s = self._busy_waits.pop(0)
            self._announce(f"the panel is busy ({what}): asking again in {wait_s:g} s")
            await self.clock.sleep_until(self.clock.now() + wait_s)
        elif tried >= tries:
            return False
        else:
            self._announce(f"{exchange.words} ({what}): try {tried + 1} of {tries}")
        self.repeats += 1
        return True

    def _take_note(self, exchange: Exchange, tried: int, answered: int) -> None:
        """Give the link up where nothing usable has come for a while."""
        if answered or exchange.exception_code is not None:
            self._dead = self._dead_tries = 0
            return
        self._dead += 1
        self._dead_tries += tried
        if self._dead >= DEAD_BEFORE_GIVING_UP:
            self.given_up = f"the link was given up after {self._dead_tries} failed tries in a row"
            self._announce(self.given_up)


def _silent(exchange: Exchange) -> bool:
    return exchange.problem is not None and exchange.problem.deviation is Deviation.NO_REPLY
