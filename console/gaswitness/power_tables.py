"""A power budget at a terminal: cable and devices as tables, then what matters most, last.

Layout only; words come from `power_words`. Readable at 80 columns and in a pipe.
"""

import re
from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gaswitness.cautions import POWER
from gaswitness.paragraphs import paragraphs, plain_table, titled
from gaswitness.power_words import (
    NOWHERE,
    battery_words,
    case_words,
    conclusion,
    drop_out_words,
    own_warnings,
    supply_words,
    worst_words,
)
from gaswitness_simulator.bus_power import PANEL_NODE, Consumer, loads_of, segment_currents
from gaswitness_simulator.power_budget import Case, PowerBudget, margins
from gaswitness_sitefile.bus import PANEL, Segment
from gaswitness_sitefile.rules.rule import DesignWarning


def print_power(
    console: Console, budget: PowerBudget, panel: str, warnings: Sequence[DesignWarning]
) -> None:
    """Print it, `console.width` columns wide; in a pipe without blanks at the ends of lines."""
    with console.capture() as captured:
        for part in _parts(budget, panel, warnings):
            console.print(part)
    text = captured.get()
    console.file.write(text if console.is_terminal else re.sub(r" +$", "", text, flags=re.M))
    console.file.flush()


def _parts(
    budget: PowerBudget, panel: str, warnings: Sequence[DesignWarning]
) -> Iterator[RenderableType]:
    yield Text(f"Power on the detector bus of {panel}", style="bold")
    yield from titled("Cable, from the panel out", _cable(budget))
    yield from titled("Volts at the devices, with everything on", _devices(budget))
    yield Padding(paragraphs(_notes(budget)), (0, 0, 0, 2))
    yield from titled("Supply", paragraphs(supply_words(budget)))
    yield from titled("Battery", paragraphs(battery_words(budget)))
    said = [*own_warnings(budget), *(f"{one.what} [{one.rule}]" for one in warnings)]
    if said:
        yield from titled("Warnings", paragraphs(said))
    for case in budget.cases:
        if case.short:
            yield from titled(f"Drops out {case_words(case)}", paragraphs(drop_out_words(case)))
    yield from titled("Worst", paragraphs(worst_words(budget)))
    yield Text(f"\nCaution: {POWER}", style="dim")
    yield Text(f"\n{conclusion(budget)}", style="bold")


def _cable(budget: PowerBudget) -> Table:
    headings = ("from", "to", "m", "mm2", "class", "°C", "loop ohm")
    table = plain_table(*headings, "A at rest", "A in alarm", left=2)
    rest, alarm = (_segment_words(budget, case) for case in budget.cases[:2])
    segment_of = {segment.to: segment for segment in budget.bus.segments}
    for index, node in enumerate(budget.tree):
        segment = segment_of[node.name]
        start = PANEL if node.feeder == PANEL_NODE else budget.tree[node.feeder].name
        mark = " + isolator" if segment.isolator else ""
        cells = _wire(budget, segment)
        table.add_row(
            start, node.name + mark, *cells, f"{node.loop_ohm:.3f}", rest[index], alarm[index]
        )
    return table


def _wire(budget: PowerBudget, segment: Segment) -> tuple[str, str, str, str]:
    cable = budget.bus.cable_of(segment)
    kind = "maker's" if cable.ohm_per_km is not None else str(cable.conductor_class)
    return (
        f"{segment.length_m:g}",
        f"{cable.cross_section_mm2:g}",
        kind,
        f"{cable.temperature_c:g}",
    )


def _segment_words(budget: PowerBudget, case: Case) -> list[str]:
    volts = case.settled.as_wired
    if volts is None:
        return ["-"] * len(budget.tree)
    loads = loads_of(budget.tree, case.consumers)
    return [f"{current:.3f}" for current in segment_currents(budget.tree, loads, volts)]


def _devices(budget: PowerBudget) -> Table:
    short = {False: "mains", True: "battery"}
    columns = [f"{short[c.on_battery]} {'alarm' if c.full_alarm else 'rest'}" for c in budget.cases]
    table = plain_table("device", "address", "least", *columns, "margin", "")
    by_case = [{one.consumer.name: one for one in margins(case)} for case in budget.cases]
    address_of = {device.tag: str(device.address) for device in budget.bus.devices}
    for one in _every(budget):
        found = [of_case.get(one.name) for of_case in by_case]
        known = min((m.margin_v for m in found if m is not None), default=None)
        least = None if _is_in(budget.collapsing, one) else known
        table.add_row(
            one.name if one.name in address_of else f"  {one.name}",
            address_of.get(one.name, ""),
            f"{one.least_v:g}",
            *("-" if m is None else f"{m.volts:.2f}" for m in found),
            "-" if least is None else f"{least:.2f}",
            Text(_fate(budget, one, known), style="bold red"),
        )
    return table


def _is_in(cases: Iterable[Case], one: Consumer) -> bool:
    return any(one.name == other.name for case in cases for other in case.consumers)


def _fate(budget: PowerBudget, one: Consumer, margin_v: float | None) -> str:
    drop_outs = [drop for case in budget.cases for drop in case.settled.drop_outs]
    if any(one.name in (drop.name, *drop.took) for drop in drop_outs):
        return "drops out"
    return "recovers" if margin_v is not None and margin_v < 0 else ""


def _notes(budget: PowerBudget) -> Iterator[str]:
    yield "A detector's outputs stand below it, while they are energised."
    found = [one for case in budget.cases for one in margins(case)]
    if any(_fate(budget, one.consumer, one.margin_v) == "recovers" for one in found):
        yield "recovers: has its voltage again once others have dropped out."
    if budget.collapsing:
        yield f"A case without figures has {NOWHERE}: its voltage collapses with everything on."


def _every(budget: PowerBudget) -> list[Consumer]:
    """Every consumer of any case, each output behind the device that carries it."""
    found = {one.name: one for case in budget.cases for one in case.consumers}
    carried = {
        one.name: dict.fromkeys(
            name
            for case in budget.cases
            for other in case.consumers
            if other.name == one.name
            for name in other.carries
        )
        for one in found.values()
    }
    devices = [device.tag for device in budget.bus.devices]
    return [found[name] for tag in devices for name in (tag, *carried[tag])]
