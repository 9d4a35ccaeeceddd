"""What the other reader of a survey did, taken down as it does it, and played again from that."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from gaswitness_probe.clock import Clock
from gaswitness_probe.errors import LinkError, NoConnection
from gaswitness_probe.kept_exchange import OutOfStepError
from gaswitness_probe.survey_second import Second, SecondReading
from gaswitness_sitefile.points import Table

Keep = Callable[[dict[str, Any], float], None]
"""Takes the body of an entry `second`, and its instant in seconds of the run."""


class KeptSecond:
    """Another reader, each of whose doings is told to `keep`."""

    def __init__(self, second: Second, clock: Clock, keep: Keep) -> None:
        self.name = second.name
        self._second = second
        self._clock = clock
        self._keep = keep

    async def open(self) -> None:
        """Connect. Raises NoConnection."""
        try:
            await self._second.open()
        except LinkError as error:
            self._opened(str(error))
            raise
        self._opened("")

    def _opened(self, trouble: str) -> None:
        body = {"name": self.name, "opened": not trouble, "trouble": trouble}
        self._keep(body, self._clock.now())

    async def read(self, table: Table, address: int, count: int) -> SecondReading:
        """Read once."""
        found = await self._second.read(table, address, count)
        self._keep(reading_body(table, address, count, found), self._clock.now())
        return found

    async def close(self) -> None:
        """Close."""
        await self._second.close()


def reading_body(table: Table, address: int, count: int, found: SecondReading) -> dict[str, Any]:
    """The body of the entry `second` for one read."""
    return {
        "table": table.value,
        "address": address,
        "count": count,
        "words": None if found.words is None else list(found.words),
        "sent": found.sent.hex(),
        "received": found.received.hex(),
        "trouble": found.trouble,
        "refused": found.refused,
    }


def reading_of(body: Mapping[str, Any]) -> SecondReading:
    """The reading that an entry holds."""
    words = body["words"]
    return SecondReading(
        None if words is None else tuple(words),
        bytes.fromhex(body["sent"]),
        bytes.fromhex(body["received"]),
        body["trouble"],
        body["refused"],
    )


class SecondAgain:
    """The other reader as a record has it: the same doings in the same order.

    Raises OutOfStepError where something else is asked than was then.
    """

    def __init__(self, name: str, kept: Iterator[Mapping[str, Any]]) -> None:
        self.name = name
        self._kept = kept

    async def open(self) -> None:
        """Connect as then. Raises NoConnection where it then did."""
        body = self._next()
        if "opened" not in body:
            raise OutOfStepError("the other reader read where it is now to connect")
        if not body["opened"]:
            raise NoConnection(body["trouble"])

    async def read(self, table: Table, address: int, count: int) -> SecondReading:
        """What it read then."""
        body = self._next()
        asked = (body.get("table"), body.get("address"), body.get("count"))
        if asked != (table.value, address, count):
            raise OutOfStepError(
                f"the other reader is now asked for {count} x {table.value} from {address}, and "
                "was asked for something else"
            )
        return reading_of(body)

    async def close(self) -> None:
        """Nothing to close."""

    def finished(self) -> None:
        """Raises OutOfStepError where it did more than it was asked for."""
        if next(self._kept, None) is not None:
            raise OutOfStepError("the other reader was asked more often")

    def _next(self) -> Mapping[str, Any]:
        body = next(self._kept, None)
        if body is None:
            raise OutOfStepError("the other reader was asked less often")
        return body
