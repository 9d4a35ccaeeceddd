"""Virtual panels served until they are stopped, scripts played when asked or at once.

Nothing is probed or judged here.
"""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.control import FORMAT, Announcement, ControlError, Message, ScriptState
from gaswitness_scenarios.control_server import ControlServer
from gaswitness_scenarios.link_control import LinkControl
from gaswitness_scenarios.listening import Listening, refuse_unasked_reach
from gaswitness_scenarios.options import ServeOptions, Start
from gaswitness_scenarios.orders import Orders
from gaswitness_scenarios.play import play_portion
from gaswitness_scenarios.rest import settle_s
from gaswitness_scenarios.run import unit_of
from gaswitness_scenarios.script import Script, Step
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.units import Units
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.load import LoadedSite

Said = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class ServedSite:
    """A site to be served as a panel under `unit`; None: as its first link says, else 1."""

    site: LoadedSite
    unit: int | None = None

    @property
    def unit_id(self) -> int:
        """The unit id that it gets."""
        return unit_of(self.site.site) if self.unit is None else self.unit


def serve(
    panels: Sequence[ServedSite],
    scripts: Sequence[Script],
    options: ServeOptions,
    said: Said,
) -> None:
    """Serve until interrupted; `said` gets whole lines for people. Scripts are the first panel's.

    Raises GaswitnessError where a link cannot be had, leaves this computer unasked, or is lost,
    and where two panels have the same unit id.
    """
    refuse_unasked_reach(options)
    try:
        asyncio.run(_serve(panels, scripts, options, said))
    except KeyboardInterrupt:
        said("stopped")


async def _serve(
    panels: Sequence[ServedSite],
    scripts: Sequence[Script],
    options: ServeOptions,
    said: Said,
) -> None:
    clock = LoopClock(options.speed)
    virtual = [VirtualPanel(panel.site.site, seed=options.seed) for panel in panels]
    plan = _link_faults(panels, virtual, options, clock)
    stage = _Stage(virtual[0], scripts, clock, said, plan)
    await stage.control.listen()
    try:
        said_by_panel = Announcement(stage.control.host, stage.control.port, options.speed)
        devices = [
            VirtualDevice(panel, unit=one.unit_id, extra_identity=said_by_panel.objects())
            for panel, one in zip(virtual, panels, strict=True)
        ]
        listening = await Listening.opened(_units(devices, options), options, clock.now, plan)
        try:
            for address in listening.addresses:
                said(f"listening on {address}")
            said(f"control on tcp://{stage.control.host}:{stage.control.port}")
            said(f"speed {options.speed:g}")
            if len(devices) > 1:
                for device in devices:
                    said(f"unit {device.unit} is {device.panel.site.panel.tag}")
            if options.start is Start.NOW:
                await stage.play_all(settle_s(panels[0].site.site))
            await _first_trouble(stage.broken, listening.lost)
        finally:
            await listening.close()
    finally:
        await stage.control.close()


def _link_faults(
    panels: Sequence[ServedSite],
    virtual: Sequence[VirtualPanel],
    options: ServeOptions,
    clock: LoopClock,
) -> FaultPlan:
    """The faults that act from the start: each site's on its own unit, the options' on all."""
    by_unit = {one.unit_id: panel for one, panel in zip(panels, virtual, strict=True)}
    plan = FaultPlan(options.seed, panels=by_unit, speed=options.speed, now=clock.now)
    for one in panels:
        for fault in one.site.site.faults_of_link:
            plan.begin(fault if len(panels) == 1 else fault.of_unit(one.unit_id), 0.0)
    for fault in options.faults:
        plan.begin(fault, 0.0)
    return plan


def _units(devices: Sequence[VirtualDevice], options: ServeOptions) -> Units:
    try:
        return Units(devices, options.unknown_unit)
    except ValueError as error:
        raise GaswitnessError(f"{error}: give each its own, SITE@UNIT") from error


async def _first_trouble(*ends: asyncio.Future[None]) -> None:
    """Wait until one of these ends, and raise what it ended with."""
    done, _ = await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
    for end in done:
        end.result()


class _Stage:
    """The served panel and the scripts that may be played on it, one at a time."""

    def __init__(
        self,
        panel: VirtualPanel,
        scripts: Sequence[Script],
        clock: LoopClock,
        said: Said,
        faults: FaultPlan,
    ) -> None:
        self._panel = panel
        self._faults = faults
        self._clock = clock
        self._said = said
        self._scripts = {script.sha256: script for script in scripts}
        self._state = dict.fromkeys(self._scripts, ScriptState.WAITING)
        self._playing: asyncio.Task[None] | None = None
        link = LinkControl(faults, clock.now, said)
        orders = Orders(panel, self._scripts, clock.now, faults, said)
        self.control = ControlServer(
            self._greeting, self._start, clock.now, link.command, orders.command
        )
        self.broken: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    async def play_all(self, pause_s: float) -> None:
        for sha256, script in self._scripts.items():
            self._state[sha256] = ScriptState.PLAYING
            await self._play(script, self._clock.now())
            await self._clock.sleep_until(self._clock.now() + pause_s)

    def _greeting(self) -> Message:
        scripts = [
            {"name": script.name, "sha256": sha256, "state": self._state[sha256]}
            for sha256, script in self._scripts.items()
        ]
        return {
            "gaswitness_control": FORMAT,
            "panel_s": self._clock.now(),
            "scripts": scripts,
            "speed": self._clock.speed,
        }

    def _start(self, sha256: str) -> float:
        script = self._scripts.get(sha256)
        if script is None:
            raise ControlError(f"there is no script {sha256[:12]} here")
        if self._state[sha256] is not ScriptState.WAITING:
            raise ControlError(f"the script {script.name} has been started already")
        if ScriptState.PLAYING in self._state.values():
            raise ControlError("another script is being played")
        self._state[sha256] = ScriptState.PLAYING
        zero_s = self._clock.now()
        self._playing = asyncio.create_task(self._play(script, zero_s))
        self._playing.add_done_callback(self._over)
        return zero_s

    def _over(self, task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) and not self.broken.done():
            self.broken.set_exception(error)

    async def _play(self, script: Script, zero_s: float) -> None:
        self._said(f"{self._clock.now():10.1f} s  {script.name} begins: {script.title}")
        told = _Broadcast(script, self.control, self._said)
        await play_portion(
            script.whole, self._panel, self._clock, told, zero_s, faults=self._faults
        )
        self._state[script.sha256] = ScriptState.PLAYED
        at_s = self._clock.now()
        self.control.tell({"event": "played", "script": script.sha256, "at_s": at_s})
        self._said(f"{at_s:10.1f} s  {script.name} has been played")


class _Broadcast:
    """Tells whoever watches the control channel, and the terminal, of each step."""

    def __init__(self, script: Script, control: ControlServer, said: Said) -> None:
        self._script = script
        self._control = control
        self._said = said

    def begun(self, number: int, step: Step, at_s: float) -> None:
        self._tell("begun", number, at_s)
        self._said(f"{at_s:10.1f} s  {step.words}")

    def done(
        self, number: int, step: Step, begun_s: float, done_s: float, *, looked: bool | None = None
    ) -> None:
        self._tell("done", number, begun_s, done_s, looked=looked)
        if looked is not None:
            self._said(f"{done_s:10.1f} s  {step.words}: {'yes' if looked else 'no'}")

    def skipped(self, number: int, step: Step, at_s: float, reason: str) -> None:
        raise RuntimeError(f"step {number} ({step.words}) was left out at {at_s}: {reason}")

    def remark(self, text: str, at_s: float) -> None:
        self._said(f"{at_s:10.1f} s  {text}")

    def _tell(
        self,
        event: str,
        number: int,
        begun_s: float,
        done_s: float | None = None,
        *,
        looked: bool | None = None,
    ) -> None:
        self._control.tell(
            {
                "event": event,
                "script": self._script.sha256,
                "number": number,
                "begun_s": begun_s,
                "done_s": done_s,
                "looked": looked,
            }
        )
