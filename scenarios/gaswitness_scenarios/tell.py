"""Telling a running served panel what to do, and what its link is to do. One connection to its
control channel.
"""

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass

from gaswitness_scenarios.control import ControlError, Message
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_sitefile.link_fault import LinkFault
from gaswitness_sitefile.link_fault_text import written_fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """What it is told, in this order: `steps` of a script by number, `rest` to undo what was done,
    `keys` pressed, link faults named in `clear` ended (kinds, or `all`), and `faults` begun.

    `script`: name of the one whose steps are meant; None where there is only one.
    """

    steps: tuple[int, ...] = ()
    script: str | None = None
    rest: bool = False
    keys: tuple[str, ...] = ()
    clear: tuple[str, ...] = ()
    faults: tuple[LinkFault, ...] = ()

    @property
    def of_link(self) -> bool:
        """Whether it is only about the link; asked for nothing, it tells of that."""
        return not (self.steps or self.rest or self.keys)


def tell_panel(host: str, port: int, telling: Telling) -> tuple[str, ...]:
    """Tell it; what it answered, in lines for people.

    Raises ControlError where nobody answers, or the panel refuses.
    """
    return asyncio.run(_tell(host, port, telling))


async def _tell(host: str, port: int, telling: Telling) -> tuple[str, ...]:
    client = await ControlClient.connect(host, port)
    lines = []
    try:
        for command in _commands(telling, client.hello):
            answer = await client.ask(command)
            if answer.get("looked") is not None:
                lines.append(f"step {command['number']}: {'yes' if answer['looked'] else 'no'}")
        if telling.of_link or telling.clear or telling.faults:
            answer = await client.ask({"command": "faults"})
            lines += answer["faults"] or ["no faults"]
    finally:
        await client.close()
    return tuple(lines or ["done"])


def _commands(telling: Telling, hello: Message) -> Iterator[Message]:
    if telling.steps:
        sha256 = _script(telling.script, hello)
        for number in telling.steps:
            yield {"command": "do", "script": sha256, "number": number}
    if telling.rest:
        yield {"command": "rest"}
    for key in telling.keys:
        yield {"command": "press", "key": key}
    for kind in telling.clear:
        yield {"command": "clear", "kind": kind}
    for fault in telling.faults:
        yield {"command": "fault", "fault": written_fault(fault)}


def _script(name: str | None, hello: Message) -> str:
    held = {str(one["name"]): str(one["sha256"]) for one in hello["scripts"]}
    names = ", ".join(held) or "none"
    if name is None and len(held) == 1:
        return next(iter(held.values()))
    if name is None:
        raise ControlError(f"name with --script which script the steps are of: {names}")
    if name not in held:
        raise ControlError(f"the panel does not hold the script {name}, but {names}")
    return held[name]
