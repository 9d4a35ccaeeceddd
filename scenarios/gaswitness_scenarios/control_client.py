"""The asking end of the control channel. What the events mean for a run is not here."""

import asyncio
import contextlib
from typing import Final

from gaswitness_scenarios.control import (
    FORMAT,
    LONGEST_LINE,
    ControlError,
    Message,
    read_message,
    write_message,
)

ANSWER_WITHIN_S: Final = 5.0


class ControlClient:
    """One connection to a control channel; use it as an async context."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._events: list[Message] = []
        self.hello: Message = {}

    @classmethod
    async def connect(cls, host: str, port: int) -> "ControlClient":
        """Raises ControlError in words where nobody or somebody else answers."""
        where = f"tcp://{host}:{port}"
        try:
            async with asyncio.timeout(ANSWER_WITHIN_S):
                streams = await asyncio.open_connection(host, port, limit=LONGEST_LINE)
                client = cls(*streams)
                client.hello = await client._next(ANSWER_WITHIN_S)
        except (OSError, TimeoutError) as error:
            raise ControlError(
                f"the virtual panel announces a control channel at {where}, but it does not "
                f"answer ({error or 'no answer in time'}): run both on the same computer"
            ) from error
        if client.hello.get("gaswitness_control") != FORMAT:
            await client.close()
            raise ControlError(
                f"the control channel at {where} speaks format "
                f"{client.hello.get('gaswitness_control')!r}, this program {FORMAT}: "
                "use the same version on both sides"
            )
        return client

    async def ask(self, command: Message) -> Message:
        """The answer to a command. Raises ControlError where it is an error."""
        write_message(self._writer, command)
        while True:
            message = await self._next(ANSWER_WITHIN_S)
            if "error" in message:
                raise ControlError(f"the virtual panel refuses: {message['error']}")
            if "answer" in message:
                return message
            self._events.append(message)

    async def event(self, within_s: float) -> Message:
        """The next event. Raises ControlError where the channel ends, or none comes within
        `within_s` seconds of the loop."""
        return self._events.pop(0) if self._events else await self._next(within_s)

    async def close(self) -> None:
        self._writer.close()
        with contextlib.suppress(OSError):
            await self._writer.wait_closed()

    async def _next(self, within_s: float) -> Message:
        try:
            async with asyncio.timeout(within_s):
                message = await read_message(self._reader)
        except TimeoutError as error:
            raise ControlError(
                f"the virtual panel's control channel has been silent for {within_s:.0f} s"
            ) from error
        except OSError as error:
            raise ControlError(f"the control channel broke: {error}") from error
        if message is None:
            raise ControlError("the virtual panel closed its control channel")
        return message
