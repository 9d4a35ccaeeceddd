"""Telling a running served panel what its link is to do. One connection to its control channel."""

import asyncio
from collections.abc import Sequence

from gaswitness_scenarios.control import Message
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_sitefile.link_fault import LinkFault
from gaswitness_sitefile.link_fault_text import written_fault


def tell_link(
    host: str, port: int, *, clear: Sequence[str] = (), faults: Sequence[LinkFault] = ()
) -> tuple[str, ...]:
    """End the link faults named in `clear` (kinds, or `all`), then begin `faults`; those that act.

    Raises ControlError where nobody answers, or the panel refuses.
    """
    commands: list[Message] = [{"command": "clear", "kind": kind} for kind in clear]
    commands += [{"command": "fault", "fault": written_fault(fault)} for fault in faults]
    return asyncio.run(_tell(host, port, commands))


async def _tell(host: str, port: int, commands: Sequence[Message]) -> tuple[str, ...]:
    client = await ControlClient.connect(host, port)
    try:
        for command in commands:
            await client.ask(command)
        answer = await client.ask({"command": "faults"})
    finally:
        await client.close()
    return tuple(answer["faults"])
