"""What brings a panel back to rest after steps that were broken off: the undoing of each of them.

Pure: steps in, steps out.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from gaswitness_scenarios.build import Builder
from gaswitness_scenarios.schedule import Scheduler
from gaswitness_scenarios.script import (
    AdapterOff,
    Bump,
    BusChange,
    Drift,
    Fault,
    Gas,
    Inhibit,
    Input,
    InTest,
    Leak,
    LinkCleared,
    LinkSpoilt,
    Loop,
    MainsSwitched,
    OutputTest,
    PanelFault,
    Power,
    Press,
    Purge,
    RoomAir,
    Step,
)
from gaswitness_scenarios.script_file import ScriptRecord
from gaswitness_simulator.stimulus_bus import (
    BusBreak,
    BusMend,
    BusNoise,
    BusShort,
    DeviceAddress,
    DeviceOff,
    DeviceType,
    TerminatorOff,
    WiresSwapped,
)
from gaswitness_sitefile.problems import Loc, Place
from gaswitness_sitefile.site import Site

Undoing = dict[str, Any]
"""A step of a script, as its file has it."""


def undoing(site: Site, done: Iterable[Step], under_way: Step | None = None) -> tuple[Step, ...]:
    """The steps that undo what these did and did not undo themselves, each to be done at once.

    `under_way` may have been done or not: what it does is undone, what it undoes is undone again.

    The keys are not among them: what is latched is reset once the air is clean.
    """
    standing: dict[str, Undoing] = {}
    for step in done:
        name, undo = _undo(site, step)
        standing.pop(name, None)
        if undo is not None:
            standing[name] = undo
    name, undo = ("", None) if under_way is None else _undo(site, under_way)
    if undo is not None:
        standing[name] = undo
    return built(site, list(standing.values()))


def keys_after(site: Site, done: Iterable[Step]) -> tuple[Step, ...]:
    """Reset and accept, where anything was done that may have raised an alarm."""
    if not any(_undo(site, step)[0] or isinstance(step, Press) for step in done):
        return ()
    return built(site, [{"press": "reset"}, {"press": "accept"}])


def built(site: Site, steps: list[Undoing]) -> tuple[Step, ...]:
    """Steps from their records, outside any script. Raises ValueError where one is wrong."""
    if not steps:
        return ()
    record = ScriptRecord.model_validate(
        {"gaswitness_script": 1, "title": "back to rest", "steps": steps}
    )
    scheduler = Scheduler(site, _nowhere)
    builder = Builder(site, "back to rest", Path(), _nowhere)
    found = tuple(step for one in scheduler.run(record) for step in builder.steps(one))
    problems = [*scheduler.problems, *builder.problems]
    if problems:
        raise ValueError("; ".join(problem.what for problem in problems))
    return found


def _nowhere(loc: Loc) -> Place:
    del loc
    return Place("back to rest", 1, 1)


def _undo(site: Site, step: Step) -> tuple[str, Undoing | None]:
    """What the step acts on, and what undoes it; None where it leaves nothing behind.

    The name is empty where the step does nothing to the panel.
    """
    match step:
        case Gas() | Fault() | Inhibit():
            return _undo_at_channel(site, step)
        case Input() | PanelFault() | Power() | MainsSwitched():
            return _undo_at_panel(step)
        case Leak() | Purge() | Drift() | Loop():
            return _undo_of_air(step)
        case BusChange():
            return _undo_of_bus(step)
        case OutputTest():
            undo = {"output_test": {"output": step.output, "on": "end"}}
            return f"output {step.output}", None if step.on is None else undo
        case InTest():
            return f"test {step.channel}", {"end_test_mode": step.channel} if step.on else None
        case LinkSpoilt():
            return "link", {"link_clear": "all"}
        case LinkCleared():
            return "link", None
        case _:
            return "", None


def _undo_at_channel(site: Site, step: Gas | Fault | Inhibit) -> tuple[str, Undoing | None]:
    tag = step.channel
    match step:
        case Gas():
            channel = site.channel_of[tag]
            if step.level == channel.clean_reading and channel.room is None:
                return f"gas {tag}", None
            to = "clean" if channel.room is None else "room"
            return f"gas {tag}", {"gas": {"channel": tag, "to": to}}
        case Bump():
            to = "clean" if not step.in_room else "room"
            return f"gas {step.channel}", {"gas": {"channel": step.channel, "to": to}}
        case AdapterOff() | RoomAir():
            return f"gas {step.channel}", None
        case Fault():
            key = "return" if step.drop_out else "fault_clear"
            return f"{key} {tag}", {key: tag} if step.on else None
        case Inhibit():
            return f"inhibit {tag}", {"uninhibit": tag} if step.on else None


def _undo_at_panel(
    step: Input | PanelFault | Power | MainsSwitched,
) -> tuple[str, Undoing | None]:
    match step:
        case Input():
            undo: Undoing = {"input": {"tag": step.tag, "active": "off"}}
            return f"input {step.tag}", undo if step.on else None
        case PanelFault():
            return "panel fault", {"panel_fault": "off"} if step.on else None
        case Power():
            return "power", None if step.on else {"power": "on"}
        case MainsSwitched():
            return "mains", None if step.on else {"mains": "on"}


def _undo_of_air(step: Leak | Purge | Drift | Loop) -> tuple[str, Undoing | None]:
    match step:
        case Leak():
            undo = {"leak": {"room": step.room, "gas": step.gas, "flow_m3_h": 0}}
            return f"leak {step.room} {step.gas}", undo if step.flow_m3_h else None
        case Purge():
            undo = {"purge": {"room": step.room, "flow_m3_h": 0}}
            return f"purge {step.room}", undo if step.flow_m3_h else None
        case Drift():
            good = (step.zero, step.span) == (0.0, 1.0)
            return f"sensor {step.channel}", None if good else {"calibrate": step.channel}
        case Loop():
            undo = {"loop": {"channel": step.channel}}
            return f"loop {step.channel}", None if step.current_ma is None else undo


def _undo_of_bus(step: BusChange) -> tuple[str, Undoing | None]:
    match step.change:
        case BusBreak(to, on) | BusShort(to, on):
            return f"cable {to}", {"bus": {"mend": to}} if on else None
        case BusMend(to):
            return f"cable {to}", None
        case DeviceOff(tag, on):
            return f"device {tag}", {"bus": {"put_back": tag}} if on else None
        case DeviceType(tag, wrong):
            return f"type {tag}", {"bus": {"right_type": tag}} if wrong else None
        case DeviceAddress(tag, address):
            undo = {"bus": {"own_address": tag}}
            return f"address {tag}", None if address is None else undo
        case WiresSwapped(tag):
            return f"wires {tag}", None
        case TerminatorOff(on):
            return "terminator", {"bus": {"terminator": "on"}} if on else None
        case BusNoise(percent):
            return "noise", {"bus": {"noise_percent": 0}} if percent else None
