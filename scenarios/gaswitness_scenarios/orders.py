"""Single things that a served panel is told to do over its control channel: a step of a script it
holds, a key, or to undo all that was done. The channel itself is not here.
"""

from collections.abc import Callable, Mapping
from typing import Final, get_args

from gaswitness_scenarios.control import ControlError, Message
from gaswitness_scenarios.play import do_step
from gaswitness_scenarios.restore import built, undoing
from gaswitness_scenarios.script import Key, Script, Step
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel

KEYS: Final = get_args(Key)


class Orders:
    """Does what it is told at once, and remembers it, so that it can be undone."""

    def __init__(
        self,
        panel: VirtualPanel,
        scripts: Mapping[str, Script],
        now: Callable[[], float],
        faults: FaultPlan,
        said: Callable[[str], None],
    ) -> None:
        self._panel = panel
        self._scripts = scripts
        self._now = now
        self._faults = faults
        self._said = said
        self._done: list[Step] = []

    def command(self, command: Message) -> Message:
        """The answer to `do`, `rest` or `press`. Raises ControlError where it cannot be done."""
        name = str(command["command"])
        match name:
            case "do":
                step = self._step(command)
                return {"answer": name, "looked": self._do(step)}
            case "press":
                key = command.get("key")
                if key not in KEYS:
                    raise ControlError(f"{key!r} is no key: {', '.join(KEYS)}")
                for step in built(self._panel.site, [{"press": key}]):
                    self._do(step)
            case _:
                for step in undoing(self._panel.site, self._done):
                    self._do(step)
                self._done.clear()
        return {"answer": name}

    def _step(self, command: Message) -> Step:
        sha256 = str(command.get("script", ""))
        script = self._scripts.get(sha256)
        if script is None:
            raise ControlError(f"there is no script {sha256[:12]} here")
        number = command.get("number")
        if not isinstance(number, int) or not 1 <= number <= len(script.steps):
            raise ControlError(f"{script.name} has steps 1 to {len(script.steps)}, not {number!r}")
        return script.steps[number - 1]

    def _do(self, step: Step) -> bool | None:
        at_s = self._now()
        looked = do_step(step, self._panel, at_s, faults=self._faults)
        self._done.append(step)
        answer = "" if looked is None else f": {'yes' if looked else 'no'}"
        self._said(f"{at_s:10.1f} s  {step.words}{answer}")
        return looked
