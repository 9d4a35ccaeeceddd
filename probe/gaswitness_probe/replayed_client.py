"""A client that asks nobody: it answers from the exchanges of a record, in their order and at their
times. With it a survey can be made anew from the record alone. No I/O, no event loop."""

from collections.abc import Coroutine, Iterable
from typing import Any, NoReturn, TypeVar

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import spaced
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.kept_exchange import OutOfStepError, request_pdu
from gaswitness_probe.survey_clock import ClockAgain
from gaswitness_sitefile.link import Pace

Result = TypeVar("Result")


class _Nowhere:
    async def open(self) -> None:
        return

    async def send(self, data: bytes) -> None:  # noqa: ARG002  # as a transport has it
        _nobody()

    async def receive(self) -> bytes:
        _nobody()

    async def close(self) -> None:
        return


def _nobody() -> NoReturn:
    raise OutOfStepError("there is nobody to ask: the record is all there is")


class ReplayedClient(Client):
    """Gives each request the answer that it got then; `rtu`: the frames' kind.

    `ask` and `told` raise OutOfStepError where another request is due, or none.
    """

    def __init__(
        self,
        exchanges: Iterable[Exchange],
        *,
        unit: int,
        clock: ClockAgain,
        pace: Pace,
        rtu: bool,
    ) -> None:
        super().__init__(_Nowhere(), unit=unit, clock=clock, pace=pace)
        self._rtu = rtu
        self._replayed = clock
        self._kept = iter(exchanges)

    @property
    def connected(self) -> bool:
        """Always: what it was then shows in the answers."""
        return True

    @property
    def free_s(self) -> float:
        """The pace was kept then."""
        return self._replayed.latest_s

    async def open(self) -> None:
        """Nothing to open."""

    async def close(self) -> None:
        """Nothing to close."""

    def told(self, exchange: Exchange) -> None:
        """An exchange that was made for something else: it counts, and its time has passed."""
        self.statistics.count(exchange, exchange.received_s - exchange.sent_s)
        self._replayed.reached(exchange.sent_s)
        self._replayed.reached(exchange.received_s)

    async def ask(self, pdu: bytes) -> Exchange:
        """What came of asking this."""
        exchange = self._next(pdu)
        while exchange.sign:
            exchange = self._next(pdu)
        asked = request_pdu(exchange, rtu=self._rtu)
        if asked != pdu:
            raise OutOfStepError(
                f"entry {exchange.seq} asked {spaced(asked)}, where {spaced(pdu)} is due"
            )
        return exchange

    def _next(self, pdu: bytes) -> Exchange:
        exchange = next(self._kept, None)
        if exchange is None:
            raise OutOfStepError(f"the record ends where {spaced(pdu)} is due to be asked")
        self.told(exchange)
        return exchange

    def finished(self) -> None:
        """Raises OutOfStepError where there are exchanges that nobody asked for."""
        exchange = next(self._kept, None)
        if exchange is not None:
            raise OutOfStepError(f"nothing would have asked what entry {exchange.seq} asks")


def at_once(work: Coroutine[Any, Any, Result]) -> Result:
    """The result of work that waits for nobody, without an event loop."""
    try:
        work.send(None)
    except StopIteration as over:
        found: Result = over.value
        return found
    work.close()
    raise OutOfStepError("the work waits for something that no record holds")
