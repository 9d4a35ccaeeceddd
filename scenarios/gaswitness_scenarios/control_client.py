"""The asking end of the control channel. What the events mean for a run is not here."""

import asyncio
import contextlib

from gaswitness_scenarios.control import (
    FORMAT,
    LONGEST_LINE,
    ControlError,
    Message,
    read_message,
    write_message,
)


class ControlClient:
    """One connection to a control channel; use it as an async context."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._events: list[Message] = []
        self.hello: Message = {}

    @classmethod
    async def connect(cls, host: str, port: int, timeout_s: float = 5.0) -> "ControlClient":
        """Raises ControlError in words where nobody or somebody else answers."""
        where = f"tcp://{host}:{port}"
        try:
            async with asyncio.timeout(timeout_s):
                streams = await asyncio.open_connection(host, port, limit=LONGEST_LINE)
                client = cls(*streams)
                client.hello = await client._next()
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
            message = await self._next()
            if "error" in message:
                raise ControlError(f"the virtual panel refuses: {message['error']}")
            if "answer" in message:
                return message
            self._events.append(message)

    async def event(self) -> Message:
        """The next event. Raises ControlError where the channel ends."""
        return self._events.pop(0) if self._events else await self._next()

    async def close(self) -> None:
        self._writer.close()
        with contextlib.suppress(OSError):
            await self._writer.wait_closed()

    async def _next(self) -> Message:
        try:
            message = await read_message(self._reader)
        except OSError as error:
            raise ControlError(f"the control channel broke: {error}") from error
        if message is None:
            raise ControlError("the virtual panel closed its control channel")
        return message
