"""The control channel's part about link faults: begin, end and tell them. No connections here."""

from collections.abc import Callable
from typing import Final

from gaswitness_scenarios.control import ControlError, Message
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_sitefile.link_fault_text import (
    parse_link_fault,
    parse_link_fault_kind,
    written_fault,
)

LINK_COMMANDS: Final = ("fault", "clear", "faults")


class LinkControl:
    """Begins and ends faults of `plan`; `said` gets a line for people."""

    def __init__(
        self, plan: FaultPlan, now: Callable[[], float], said: Callable[[str], None]
    ) -> None:
        self._plan = plan
        self._now = now
        self._said = said

    def command(self, message: Message) -> Message:
        """The answer: the faults that act now. Raises ControlError in words."""
        name = str(message["command"])
        try:
            if name == "fault":
                self._begin(str(message.get("fault", "")))
            elif name == "clear":
                self._clear(str(message.get("kind", "all")))
        except ValueError as error:
            raise ControlError(str(error)) from error
        faults = [written_fault(fault) for fault in self._plan.faults()]
        return {"answer": name, "faults": faults, "panel_s": self._now()}

    def _begin(self, text: str) -> None:
        fault = parse_link_fault(text)
        at_s = self._now()
        self._plan.begin(fault, at_s)
        self._said(f"{at_s:10.1f} s  link fault: {written_fault(fault)}")

    def _clear(self, name: str) -> None:
        ended = self._plan.clear(None if name == "all" else parse_link_fault_kind(name))
        self._said(f"{self._now():10.1f} s  link faults ended: {ended}")
