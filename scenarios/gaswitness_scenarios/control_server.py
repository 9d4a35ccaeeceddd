"""The serving end of the control channel: its connections and who watches. Panels are not here."""

import asyncio
from collections.abc import Callable

from gaswitness_scenarios.control import (
    LONGEST_LINE,
    ControlError,
    Message,
    read_message,
    write_message,
)


class ControlServer:
    """Serves the channel. `start` is given the script's digest and begins to play it, and returns
    its panel time zero; `link` answers the commands about link faults, `order` those to do single
    things. All raise ControlError in words where that cannot be."""

    def __init__(
        self,
        greeting: Callable[[], Message],
        start: Callable[[str], float],
        now: Callable[[], float],
        link: Callable[[Message], Message],
        order: Callable[[Message], Message] | None = None,
    ) -> None:
        self._greeting = greeting
        self._start = start
        self._now = now
        self._link = link
        self._order = order
        self._history: list[Message] = []
        self._watching: set[asyncio.StreamWriter] = set()
        self._open: set[asyncio.StreamWriter] = set()
        self._server: asyncio.Server | None = None
        self.host, self.port = "", 0

    async def listen(self, host: str = "127.0.0.1", port: int = 0) -> None:
        self._server = await asyncio.start_server(self._serve, host, port, limit=LONGEST_LINE)
        self.host, self.port = self._server.sockets[0].getsockname()[:2]

    async def close(self) -> None:
        if self._server is not None:
            self._server.close()
            for writer in list(self._open):
                writer.close()
            await self._server.wait_closed()

    def tell(self, event: Message) -> None:
        """Send an event to everyone who watches, now or later."""
        self._history.append(event)
        for writer in list(self._watching):
            write_message(writer, event)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._open.add(writer)
        try:
            write_message(writer, self._greeting())
            # A line that is no command ends the connection: a browser may be made to post here.
            while (answer := self._answer(await read_message(reader))) is not None:
                write_message(writer, answer)
                if "answer" not in answer:
                    break
                if answer["answer"] == "watch":
                    for event in self._history:
                        write_message(writer, event)
                    self._watching.add(writer)
                await writer.drain()
        except (OSError, ControlError) as error:
            write_message(writer, {"error": str(error)})
        except asyncio.CancelledError:
            # The program ends. Passed on, it would make asyncio print a traceback (Python 3.11).
            return
        finally:
            self._watching.discard(writer)
            self._open.discard(writer)
            writer.close()

    def _answer(self, command: Message | None) -> Message | None:
        if command is None:
            return None
        match command.get("command"):
            case "state":
                return self._greeting() | {"answer": "state"}
            case "watch":
                return {"answer": "watch", "panel_s": self._now()}
            case "start":
                try:
                    zero_s = self._start(str(command.get("script", "")))
                except ControlError as error:
                    return {"answer": "start", "error": str(error)}
                return {"answer": "start", "zero_s": zero_s, "panel_s": self._now()}
            case "fault" | "clear" | "faults" as name:
                return _tried(str(name), self._link, command)
            case "do" | "rest" | "press" as name if self._order is not None:
                return _tried(str(name), self._order, command)
            case other:
                known = "start, watch, state, do, rest, press, fault, clear, faults"
                return {"error": f"{other!r} is no command: {known}"}


def _tried(name: str, answer: Callable[[Message], Message], command: Message) -> Message:
    try:
        return answer(command)
    except ControlError as error:
        return {"answer": name, "error": str(error)}
